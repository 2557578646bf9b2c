package integrity

import (
	"math"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// power returns the power of x between two frequencies, of a rate of one; NaN where x is too short.
func power(x []float64, low, high float64) float64 {
	s, err := spectrum.Of(x, spectrum.Config{RateHz: 1, Size: 4096, Window: spectrum.Hann(), Overlap: 0.5})
	if err != nil {
		return math.NaN()
	}
	return s.BandPower(low, high)
}

// lowBand is the part of the rate in which even a poor resampler changes little.
const lowBand = 0.1

// lowGain returns the gain of a wire in dB at low frequencies: of the stretches the median, for some may hold faults.
func (l *learner) lowGain(w wire, channel int) float64 {
	var ratios []float64
	for _, s := range l.stretches {
		received := s.b[channel]
		if w.known { // words clipped on the way have no gain
			received = make([]float64, anchorFrames)
			w.apply(received, s.a[w.from][mostReach-len(w.taps)/2-w.late:])
		}
		sent := power(s.sent(w), 0, lowBand)
		if ratio := power(received, 0, lowBand) / sent; sent > 0 && ratio > 0 {
			ratios = append(ratios, ratio)
		}
	}
	return pcm.PowerDB(spectrum.Median(ratios))
}

// sent returns what a wire carries, in step with what was received.
func (s stretch) sent(w wire) []float64 { return s.a[w.from][mostReach-w.late:][:anchorFrames] }

// cutTop returns which part of the power of the residual, received − gain·sent, lies above 0.4 of the rate: the median of the stretches.
func (l *learner) cutTop(w wire, channel int) float64 {
	gain := math.Copysign(pcm.Ratio(l.lowGain(w, channel)), w.sum())
	var shares []float64
	e := make([]float64, anchorFrames)
	for _, s := range l.stretches {
		floats.AddScaledTo(e, s.b[channel], -gain, s.sent(w))
		if all := power(e, 0, 0.5); all > 0 {
			shares = append(shares, power(e, 0.4, 0.5)/all)
		}
	}
	return spectrum.Median(shares)
}

// fractionOfFrame is by how much of a frame a place must miss an integer for the words to be resampled, and movedShare the share of the stretches
// that must: some may hold a fault. Judgement, no source; TestAWayThroughALowerRateIsResampling holds the first.
const fractionOfFrame, movedShare = 0.02, 0.25

// moved reports whether the received recording is offset from the sent one by a fraction of a frame.
func (l *learner) moved(w wire, channel int) bool {
	apart := 0
	lags := l.lags(w, channel)
	for _, lag := range lags {
		if math.Abs(lag-math.Round(lag)) > fractionOfFrame {
			apart++
		}
	}
	return float64(apart) > movedShare*float64(len(lags))
}

// drifts reports whether they are farther apart from each stretch to the next: frames lost or repeated move them only once.
func (l *learner) drifts(w wire, channel int) bool {
	const least = 0.1 // frames in all
	lags := l.lags(w, channel)
	var steps []float64
	for i := 1; i < len(lags); i++ {
		steps = append(steps, lags[i]-lags[i-1])
	}
	return len(steps) > 0 && math.Abs(spectrum.Median(steps))*float64(len(steps)) > least
}

// lags returns by how much what was sent is late in each stretch, in frames and parts.
func (l *learner) lags(w wire, channel int) []float64 {
	const slack = filterReach
	var lags []float64
	wide := make([]float64, 2*anchorFrames)
	for _, s := range l.stretches {
		copy(wide, s.a[w.from][mostReach-slack-w.late:][:anchorFrames+2*slack])
		m := spectrum.NewMatcher(s.b[channel], len(wide))
		lag, score := best(m, wide)
		if math.Abs(score) < leastScore || lag == 0 || lag >= 2*slack {
			continue
		}
		before, top, after := m.Products[lag-1], m.Products[lag], m.Products[lag+1]
		lags = append(lags, float64(s.offset+lag-slack)+0.5*(before-after)/(before-2*top+after))
	}
	return lags
}
