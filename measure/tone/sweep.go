package tone

import (
	"fmt"
	"math"
	"math/cmplx"

	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// SweepResult is the response to an exponential sweep.
type SweepResult struct {
	Schema  string         `json:"schema"` // heardiff.sweep/1
	RateHz  int            `json:"rate_hz"`
	Seconds float64        `json:"seconds"`
	GrowthS float64        `json:"growth_s"` // the sweep's frequency grows e-fold in this time
	Channel []SweepChannel `json:"channel"`
	warning.Warnings
}

// SweepChannel is the part of a SweepResult about one channel.
type SweepChannel struct {
	Channel   int     `json:"channel"`
	LevelDBFS float64 `json:"level_dbfs"` // AES17, of the sweep as it passes 1 kHz
	// Response is 0 dB at 1 kHz, at 121 frequencies evenly spaced by ratio from 20 Hz to 20 kHz (or 0.45 of the rate).
	Response []ResponsePoint `json:"response"`
	// Harmonics 2 to 9, each relative to the linear response at the frequency that made it: the RMS over
	// evenly spaced ratios of frequency, and by frequency.
	Harmonics []SweepHarmonic `json:"harmonics"`
	DelayS    float64         `json:"delay_s"` // when the sweep passes 20 Hz in the recording
	Limits    []Limit         `json:"limits,omitempty"`
}

// ResponsePoint is a level at a frequency.
type ResponsePoint struct {
	Hz float64 `json:"hz"`
	DB float64 `json:"db"`
	// SEDB is the standard error that the capture's noise gives DB, here and at 1 kHz.
	SEDB float64 `json:"se_db"`
	// LimitDB is the level that the capture's noise alone reaches there once in twenty times: within clearDB of it or below, DB is an upper bound.
	LimitDB float64 `json:"limit_db"`
}

// perNeper is 20/ln 10.
const perNeper = 8.685889638065036

// SweepHarmonic is the harmonic of one order. Response is by the frequency of the sweep, not of the harmonic.
type SweepHarmonic struct {
	Order int     `json:"order"`
	DB    float64 `json:"db"`
	// LimitDB joins what the sweep's own beginning leaves there with the level that noise alone reaches once in twenty times, without
	// any distortion: near it and below DB is an upper bound.
	LimitDB  float64         `json:"limit_db"`
	Response []HarmonicPoint `json:"response"`
}

// HarmonicPoint is a harmonic at a frequency of the sweep. DB is NaN where the sweep's own beginning leaves half as much or more.
type HarmonicPoint struct {
	Hz float64 `json:"hz"`
	DB float64 `json:"db"`
	// LimitDB joins what the sweep's own beginning leaves there with the level that noise alone reaches once in twenty times.
	LimitDB float64 `json:"limit_db"`
}

// longestSweep is the most frames that are transformed at once: 134 million bytes of samples.
const longestSweep = 1 << 24

// Sweep measures a recording of the sweep of package signal. The linear response and each harmonic are separate in
// time once the sweep is undone: the n-th is L·ln(n) before the linear one.
//
// The error wraps ErrNoSignal where no channel holds such a sweep, or the recording is longer than 16.7 million frames.
//
// ref: A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application, and implementation",
// J. Audio Eng. Soc. 63(10), 2015, for the closed form of the inverse filter.
func Sweep(r pcm.Reader) (SweepResult, error) {
	f := r.Format()
	if r.Frames() > longestSweep {
		return SweepResult{}, fmt.Errorf("sweep: %w: %.0f s are too long, %.0f s are the most at this rate: cut the capture, or record a shorter sweep", ErrNoSignal, f.Rate.Seconds(r.Frames()), f.Rate.Seconds(longestSweep))
	}
	clip, err := pcm.Load(r, 0, -1)
	if err != nil {
		return SweepResult{}, fmt.Errorf("sweep: %w", err)
	}
	a, err := findActive(r)
	if err != nil {
		return SweepResult{}, fmt.Errorf("sweep: %w", err)
	}
	result := SweepResult{Schema: "heardiff.sweep/1", RateHz: int(f.Rate), Seconds: f.Rate.Seconds(r.Frames()), GrowthS: math.NaN()}
	holes := a.holes
	a.holes = 0
	result.Warn(a.warnings(f.Rate, math.Inf(1))...) // a response that is not flat moves the level
	if holes > 0 {
		result.Warn(warning.Newf(Dropouts, "%d tenths of a second lie 20 dB or more below the rest: the response has a notch there, or the signal dropped out", holes).Of(float64(holes), "tenths of a second"))
	}
	var ref reference
	for c, x := range clip.Channels {
		growth, ok := growthOf(x, f.Rate.Hz())
		if !ok {
			result.Warn(warning.Newf(measure.NoSignal, "channel %d: no exponential sweep found", c+1).In(c + 1))
			result.Channel = append(result.Channel, SweepChannel{Channel: c + 1, LevelDBFS: math.NaN(), DelayS: math.NaN()})
			continue
		}
		result.GrowthS = growth
		if ref.wire.growth != growth { // all channels have the same but for a fault
			ref = newReference(f.Rate, growth)
		}
		ch, jump, missed := deconvolve(x, f.Rate, ref)
		ch.Channel = c + 1
		result.Warn(jump.warnings(c + 1)...)
		result.Warn(lostWarning(c+1, missed, growth)...)
		result.Channel = append(result.Channel, ch)
	}
	if math.IsNaN(result.GrowthS) {
		return SweepResult{}, fmt.Errorf("sweep: %w: no exponential sweep found", ErrNoSignal)
	}
	return result, nil
}

// What a sweep's course of frequency must be. Judgement, no source; TestSweepSeparatesResponseAndHarmonics holds them.
const (
	leastCourse   = 8    // points
	leastRange    = 8.0  // ratio of the last frequency to the first: three octaves, or it is no sweep
	courseFromHz  = 200  // below it a block holds few periods
	courseUpTo    = 0.4  // of the rate: anti-alias filters lie above
	faintOfCourse = 0.01 // of the peak: a weaker line is noise
	mostSpread    = 0.1  // of the logarithm of the frequency about its line, median: a bin's width; music and noise have more
)

// growthOf reads L off the sweep's course of frequency, and rounds it to the integer number of periods of 20 Hz
// that every sweep of package signal has.
func growthOf(x []float64, rate float64) (seconds float64, ok bool) {
	t, logs := course(x, rate)
	if len(t) < leastCourse {
		return 0, false
	}
	if math.Abs(logs[len(logs)-1]-logs[0]) < math.Log(leastRange) {
		return 0, false
	}
	slope, spread := robustLine(t, logs)
	if slope <= 0 || spread > mostSpread {
		return 0, false
	}
	periods := math.Round(signal.SweepLowHz / slope)
	return periods / signal.SweepLowHz, periods >= 1
}

// course returns the log frequency of the strongest line of short blocks, 200 Hz to 0.4 of the rate, against time.
func course(x []float64, rate float64) (t, logs []float64) {
	size := spectrum.PowerOfTwo(int(rate / 24))
	top := floats.Norm(x, math.Inf(1))
	for from := 0; from+size <= len(x); from += size / 2 {
		s := spectrum.Once(x[from:from+size], rate, spectrum.Hann())
		line := s.Peak(floats.MaxIdx(s.Density))
		if line.Amplitude < faintOfCourse*top || line.FreqHz < courseFromHz || line.FreqHz > courseUpTo*rate {
			continue
		}
		t = append(t, (float64(from)+float64(size)/2)/rate)
		logs = append(logs, math.Log(line.FreqHz))
	}
	return t, logs
}

// robustLine returns the median slope between points half the list apart, and the median distance from that line.
func robustLine(x, y []float64) (slope, spread float64) {
	var slopes, residuals []float64
	half := len(x) / 2
	for i := range half {
		slopes = append(slopes, (y[i+half]-y[i])/(x[i+half]-x[i]))
	}
	slope = spectrum.Median(slopes)
	for i := range x {
		residuals = append(residuals, y[i]-slope*x[i])
	}
	centre := spectrum.Median(residuals)
	for i := range residuals {
		residuals[i] = math.Abs(residuals[i] - centre)
	}
	return slope, spectrum.Median(residuals)
}

// deconvolve undoes the sweep and cuts out the responses. The linear one is divided by that of the sweep itself,
// treated alike: the closed form of the inverse knows nothing of the sweep's ends, which would ripple by 0.3 dB.
func deconvolve(x []float64, rate pcm.Rate, ref reference) (c SweepChannel, jump sweepJump, missed []int) {
	low, high := signal.SweepLowHz, signal.SweepTop(rate)
	cut := undo(x, rate.Hz(), ref.wire.growth)
	linear, flat := cut.response(1), ref.wire.response(1)
	orders := orders{reference: ref, cut: cut, chain: linear.over(flat, low, high), low: low, high: high}
	for k := range linear.bins {
		if flat.bins[k] != 0 {
			linear.bins[k] /= complex(cmplx.Abs(flat.bins[k]), 0)
		}
	}
	orders.linear = linear
	c.DelayS = cut.peak / rate.Hz()
	if cut.peak > float64(len(x)) {
		c.DelayS -= float64(len(cut.impulse)) / rate.Hz()
	}
	oneKHz := linear.at(1000)
	c.LevelDBFS = pcm.DB(oneKHz)
	noise := orders.noise(1)
	relative := func(f float64) (rms, bins float64) { // to the response at 1 kHz
		rms, bins = noise.around(f)
		return rms / flat.at(f) / oneKHz, bins
	}
	reference, _ := relative(1000)
	for _, f := range ratios(low, high, 120) {
		level := linear.at(f) / oneKHz
		rms, bins := relative(f)
		c.Response = append(c.Response, ResponsePoint{Hz: f, DB: pcm.DB(level), SEDB: perNeper / math.Sqrt2 * math.Hypot(rms/level, reference), LimitDB: pcm.DB(beyond95(bins) * rms)})
	}
	c.Harmonics, missed = orders.harmonics()
	return c, cut.jump(linear, c.DelayS, high), missed
}

// ideal returns the sweep itself, at the rate of the recording.
func ideal(rate pcm.Rate, growth float64) []float64 {
	shape := signal.SweepShape{Rate: rate, GrowthS: growth, HighHz: signal.SweepTop(rate), BeginS: growth}
	x := make([]float64, int(rate.Hz()*growth*(2+math.Log(shape.HighHz/signal.SweepLowHz))))
	for i := range x {
		x[i] = shape.At(float64(i) / rate.Hz())
	}
	return x
}

// undo turns the recording of a sweep into impulse responses.
func undo(x []float64, rate, growth float64) cutter {
	// Twice the length, so that harmonics, which come out before the first frame, wrap into empty space.
	plan := spectrum.NewPlan(spectrum.PowerOfTwo(2 * len(x)))
	bins := plan.Forward(nil, x)
	for k := range bins {
		bins[k] *= inverseSweep(float64(k)*rate/float64(plan.Len()), growth) * complex(1/rate, 0)
	}
	impulse := plan.Inverse(nil, bins)
	peak := 0
	for i, v := range impulse {
		if math.Abs(v) > math.Abs(impulse[peak]) {
			peak = i
		}
	}
	return cutter{impulse: impulse, rate: rate, peak: float64(peak), growth: growth}
}

// ratios returns n + 1 frequencies from low to high, evenly spaced by ratio.
func ratios(low, high float64, n int) []float64 {
	list := make([]float64, n+1)
	for i := range list {
		list[i] = low * math.Pow(high/low, float64(i)/float64(n))
	}
	return list
}

// inverseSweep returns the transform of the inverse of the sweep at frequency f, 0 at DC.
func inverseSweep(f, growth float64) complex128 {
	if f <= 0 {
		return 0
	}
	cycles := f * growth * (1 - math.Log(f/signal.SweepLowHz))
	cycles -= math.Floor(cycles)
	return cmplx.Rect(2*math.Sqrt(f/growth), -2*math.Pi*cycles+math.Pi/4)
}

// cutter cuts the response of each order out of the impulse response.
type cutter struct {
	impulse            []float64
	rate, peak, growth float64
}

// response is a transfer function, sampled evenly from DC.
type response struct {
	bins  []complex128
	binHz float64
}

func (r response) at(f float64) float64 {
	k := f / r.binHz
	i := min(int(k), len(r.bins)-2)
	u := k - float64(i)
	return cmplx.Abs(r.bins[i])*(1-u) + cmplx.Abs(r.bins[i+1])*u
}

const longestTail = 0.5 // seconds after the peak: the response is smoothed by no more than 2 Hz

// response returns the transfer function of order n: the impulse response around L·ln(n) before the peak, from three tenths of the way to the
// next order before it to seven tenths of the way to the next after it. From shortFromHz on, a shorter stretch is taken for a harmonic.
func (c cutter) response(n int) response {
	before, after := c.window(n)
	cut, _ := c.cut(c.place(float64(n)), before, after)
	r := c.transform(cut)
	if n > 1 {
		half := c.shortWindow()
		cut, _ = c.cut(c.place(float64(n)), half, half)
		first := min(int(math.Ceil(shortFromHz/r.binHz)), len(r.bins))
		copy(r.bins[first:], c.transform(cut).bins[first:])
	}
	return r
}

// place returns the place of order n, in frames.
func (c cutter) place(n float64) float64 { return c.peak - c.growth*math.Log(n)*c.rate }

// window returns how many frames around order n belong to it. The part before its place matters too: a sweep that begins sharply
// rings before its peak, and cut short that would bend the low end of a response that is not flat (0.3 dB at 20 Hz by 0.1 s).
func (c cutter) window(n int) (before, after float64) {
	before = min(0.3*c.growth*math.Log(float64(n+1)/float64(n)), 0.5) * c.rate
	after = longestTail * c.rate
	if n > 1 {
		after = min(after, 0.7*c.growth*math.Log(float64(n)/float64(n-1))*c.rate)
	}
	return before, after
}

// windowSums are the sums of the squares and of the fourth powers of a window.
type windowSums struct{ squares, fourths float64 }

// frames returns the length that bears on the scatter of noise: a hertz of its spectrum holds an independent bin for each second of it.
func (s windowSums) frames() float64 { return s.squares * s.squares / s.fourths }

// cut returns the part of the impulse response from before to after around a frame, its edges raised cosines over
// half of what is before and a quarter of what is after, and the sums of that window.
func (c cutter) cut(centre, before, after float64) (cut []float64, sums windowSums) {
	cut = make([]float64, int(before+after))
	first := int(math.Floor(centre - before))
	for i := range cut {
		k := (first + i) % len(c.impulse)
		if k < 0 {
			k += len(c.impulse)
		}
		x := float64(i)
		edge := min(1, x/(before/2), (before+after-x)/(after/4))
		w := (1 - math.Cos(math.Pi*max(0, edge))) / 2
		cut[i] = c.impulse[k] * w
		sums.squares, sums.fourths = sums.squares+w*w, sums.fourths+w*w*w*w
	}
	return cut, sums
}

func (c cutter) transform(cut []float64) response {
	size := spectrum.PowerOfTwo(int(math.Ceil(longestTail*1.25*c.rate)) * 4) // padded, so that straight lines between bins will do
	return response{bins: spectrum.NewPlan(size).Forward(nil, cut), binHz: c.rate / float64(size)}
}

// SetFloor is Result.SetFloor for the harmonics of a sweep.
func (r *SweepResult) SetFloor(floor SweepResult) error {
	return setFloor(r.Channel, floor.Channel, [2]int{r.RateHz, floor.RateHz}, nil, func(c *SweepChannel, f SweepChannel) {
		by := shift(f.LevelDBFS - c.LevelDBFS)
		c.Limits = nil
		for k := range min(len(c.Harmonics), len(f.Harmonics)) {
			h, g := c.Harmonics[k], f.Harmonics[k]
			c.Limits = append(c.Limits, by.limit(fmt.Sprintf("harmonics[%d].db", k), h.DB, by.distortion(h.Order, greater(g.DB, g.LimitDB)), h.LimitDB))
		}
		r.Warn(by.warnings(c.Channel, c.LevelDBFS)...)
	})
}
