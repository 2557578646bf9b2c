package align

import (
	"math"

	"heardiff/measure/match/fit"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// interval returns how many frames the points of the track are apart, but for gaps.
func (f *Refinement) interval() float64 {
	var gaps []float64
	for i, p := range f.track[1:] {
		gaps = append(gaps, p.t-f.track[i].t)
	}
	return spectrum.Median(gaps)
}

// smoothed is where smooth loses 3 dB, in cycles per block: sin(5πf)/(5·sin πf) = 1/√2.
const smoothed = 0.0901

// Wander reports how far the clocks strayed.
func (f Alignment) Wander(rate pcm.Rate) Wander {
	w := Wander{RMSSamples: f.wanderRMS, PeakSamples: f.WanderMax, Significant: f.Wandering}
	n := len(f.track)
	if n < leastWanderTrack {
		w.RMSSamples, w.PeakSamples, w.BelowHz = math.NaN(), math.NaN(), math.NaN()
		return w
	}
	w.BelowHz = rate.Hz() * smoothed / f.interval()
	pieces := min(8, n/4)
	for i := range pieces {
		part := f.track[i*n/pieces : (i+1)*n/pieces]
		line := fit.New()
		for _, p := range part {
			line.Add(p.t, p.delay, p.weight)
		}
		_, drift := line.Solve()
		w.Pieces = append(w.Pieces, Piece{part[0].t / rate.Hz(), part[len(part)-1].t / rate.Hz(), 1e6 * (f.Drift + drift)})
	}
	return w
}

// Wander is how far the clocks strayed from a straight line. RMSSamples and PeakSamples are of an average over five of the
// blocks in which the delay is followed: they hold what is slower than BelowHz, where 3 dB are lost. What is faster
// shows in Residual.Timing.
type Wander struct {
	BelowHz     float64 `json:"below_hz"`
	RMSSamples  float64 `json:"rms_samples"`
	PeakSamples float64 `json:"peak_samples"`
	Significant bool    `json:"significant"`
	Pieces      []Piece `json:"pieces"`
}

// Piece is the drift in one stretch of A.
type Piece struct {
	FromS    float64 `json:"from_s"`
	ToS      float64 `json:"to_s"`
	DriftPPM float64 `json:"drift_ppm"`
}
