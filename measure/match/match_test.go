package match_test

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/measure"
	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// full widens the grids: more truths, 30 s at 48 kHz instead of 8 s at 24 kHz.
var full = flag.Bool("full", false, "wider grids, longer captures")

// ways is the grid of truths, small unless full.
func ways() []way {
	if !*full {
		return []way{
			{offset: 0.37}, {offset: -28765.4321, drift: 200e-6, gain: -0.5},
			{offset: 4321.5, drift: -200e-6, gain: 0.97, noise: 1e-3, seed: 3}, {noise: 1e-3, seed: 4}, {noise: 1e-5, seed: 5},
		}
	}
	var all []way
	for i, offset := range []float64{0, 0.5, -0.123, 4321.001, -300000.77} {
		for k, drift := range []float64{0, 0.05e-6, -12e-6, 200e-6} {
			for j, noise := range []float64{0, 1e-5, 1e-3} {
				gain := []float64{1, -0.5, 1.1, 0.97, -1.3}[(i+2*k+3*j)%5]
				all = append(all, way{offset: offset, drift: drift, gain: gain, noise: noise, seed: uint64(len(all))})
			}
		}
	}
	return all
}

func TestRecoversKnownTruth(t *testing.T) {
	rate, seconds, top := pcm.Rate(24000), 8, 9500.0
	if *full {
		rate, seconds, top = 48000, 30, 19000
	}
	m := newMusic(1, float64(seconds), top)
	a := m.capture(rate, int(rate)*seconds, way{bits: 24})
	for _, w := range ways() {
		if w.gain == 0 {
			w.gain = 1
		}
		w.bits = 24
		r, err := match.Compare(a, m.capture(rate, int(rate)*seconds, w))
		if err != nil {
			t.Errorf("%+v: %v", w, err)
			continue
		}
		for _, e := range []struct {
			what                 string
			err, standard, least float64
		}{
			{"offset in samples", r.OffsetSamples - w.offset, r.StandardErrors.OffsetSamples, 0.005},
			{"drift in ppm", r.DriftPPM - 1e6*w.drift, r.StandardErrors.DriftPPM, 0.02},
			{"gain in dB", r.GainDB - pcm.DB(math.Abs(w.gain)), r.StandardErrors.GainDB, 0.002},
		} {
			// The accuracy required; and the standard error must be right down to a thousandth of that.
			if math.Abs(e.err) > max(e.least, 3*e.standard) || math.Abs(e.err) > e.least/1000+4*e.standard {
				t.Errorf("%+v: %s off by %.3g ± %.3g", w, e.what, e.err, e.standard)
			}
		}
		if (w.gain < 0) != (r.Polarity == match.Inverted) || len(r.Texts) > 0 {
			t.Errorf("%+v: polarity %s, %q", w, r.Polarity, r.Texts)
		}
		// White noise of B referred to A, the part in the band, and both quantizers' steps.
		band := math.Min(20000, 0.92*rate.Hz()/2) - 20
		step := math.Ldexp(1, -23)
		predicted := (w.noise*w.noise+step*step/12)/(w.gain*w.gain) + step*step/12
		want := pcm.PowerDB(predicted * band / (rate.Hz() / 2) / meanSquare(a))
		if w.offset == 0 && w.drift == 0 && w.gain == 1 && w.noise == 0 { // both are rounded alike
			want = math.Inf(-1)
		}
		if r.NullDB != want && !(math.Abs(r.NullDB-want) <= 1) || w.noise == 0 && r.NullDB > -110 {
			t.Errorf("%+v: null %.2f dB, the noise predicts %.2f", w, r.NullDB, want)
		}
		t.Logf("offset %+.2g ± %.2g, drift %+.2g ± %.2g ppm, gain %+.2g ± %.2g dB, null %.2f (%.2f)", r.OffsetSamples-w.offset, r.StandardErrors.OffsetSamples,
			r.DriftPPM-1e6*w.drift, r.StandardErrors.DriftPPM, r.GainDB-pcm.DB(math.Abs(w.gain)), r.StandardErrors.GainDB, r.NullDB, want)
	}
}

func meanSquare(c pcm.Clip) float64 {
	sum := 0.0
	for _, ch := range c.Channels {
		for _, v := range ch {
			sum += v * v
		}
	}
	return sum / float64(c.Len()*len(c.Channels))
}

func TestPreparedPairNullsToItsNoise(t *testing.T) {
	const rate, seconds = 32000, 7
	m := newMusic(2, seconds, 12000)
	a := m.capture(rate, rate*seconds, way{bits: 24})
	b := m.capture(rate, rate*seconds, way{bits: 24, offset: 4800.37, drift: 30e-6, gain: -0.7})
	c := m.capture(rate, rate*seconds, way{bits: 24, offset: -2400.61, drift: -11e-6, gain: 1.2})
	sets := [][]pcm.Reader{{b, a, c}}
	if *full {
		sets = append(sets, []pcm.Reader{a, b}, []pcm.Reader{a, b, c})
	}
	for _, set := range sets {
		p, err := match.Prepare(set, match.Excerpt{StartS: 2, LengthS: 4})
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range p.Presentations[1:] {
			t.Logf("presentation %d: null %.1f dB, level %.2g dB, offset %.2g µs, gain %.3f dB, %s, %s", i+2, v.NullDB, v.LevelErrorDB, v.OffsetErrorUS, v.GainDB, v.Polarity, v.LevelBy)
			if v.NullDB > -105 || math.Abs(v.LevelErrorDB) > 1e-4 || math.Abs(v.OffsetErrorUS) > 1e-3 {
				t.Errorf("presentation %d of %d: null %.1f dB, level %.2g dB, offset %.2g µs", i+2, len(set), v.NullDB, v.LevelErrorDB, v.OffsetErrorUS)
			}
		}
	}
}

// The same capture sent through both ways of a pair: the truth is evaluated in closed form at the shifted
// instants and not quantized, so that only the processing can differ.
func TestBothWaysOfAPairTreatACaptureAlike(t *testing.T) {
	const rate, seconds = 48000, 5
	a := steady(rate, rate*seconds, 23950, way{}) // up to Nyquist, where an interpolator shows
	b := steady(rate, rate*seconds, 23950, way{offset: 1000.5, drift: 20e-6})
	p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 3})
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for c := range a.Channels {
		for i, v := range p.Presentations[0].Clip.Channels[c] {
			worst = math.Max(worst, math.Abs(v-p.Presentations[1].Clip.Channels[c][i]))
		}
	}
	t.Logf("largest difference %.1f dBFS, null %.1f dB", pcm.DB(worst), p.NullDB)
	if pcm.DB(worst) > -140 {
		t.Errorf("largest difference %.1f dBFS, want below −140", pcm.DB(worst))
	}
}

func TestIdenticalCapturesArePreparedBitExact(t *testing.T) {
	const rate = 32000
	a := newMusic(3, 5, 12000).capture(rate, 5*rate, way{bits: 24})
	p, err := match.Prepare([]pcm.Reader{a, a.Clone()}, match.Excerpt{})
	if err != nil {
		t.Fatal(err)
	}
	for c := range a.Channels {
		for i, v := range p.Presentations[0].Clip.Channels[c] {
			if v != p.Presentations[1].Clip.Channels[c][i] {
				t.Fatalf("channel %d, frame %d: %v and %v", c+1, i, v, p.Presentations[1].Clip.Channels[c][i])
			}
		}
	}
	if !p.Presentations[1].Identical || !p.Warned(match.Identical) {
		t.Errorf("identical %v, %q", p.Presentations[1].Identical, p.Texts)
	}
	r, err := match.Compare(a, a.Clone())
	if err != nil || !r.Identical || r.OffsetSamples != 0 {
		t.Errorf("identical %v, offset %v, error %v", r.Identical, r.OffsetSamples, err)
	}
}

// Of long captures not every block is transformed; they are identical only if no word differs anywhere.
func TestOneWordThatDiffersIsNotIdentical(t *testing.T) {
	const rate, seconds = 8000, 300
	a := newMusic(4, seconds, 3000).capture(rate, seconds*rate, way{bits: 24})
	for _, c := range []struct {
		changed int
		want    bool
	}{{0, true}, {1, false}, {2, false}, {3, false}, {4, false}} {
		b := pcm.NewClip(rate, len(a.Channels), a.Len())
		for k, ch := range a.Channels {
			copy(b.Channels[k][101:], ch)
		}
		if at := 60*rate + 2048*c.changed; c.changed > 0 {
			b.Channels[0][at] += 0x1p-23
		}
		r, err := match.Compare(a, b)
		if err != nil || r.Identical != c.want || r.OffsetSamples != 101 {
			t.Errorf("%d: identical %v, want %v; offset %v, error %v", c.changed, r.Identical, c.want, r.OffsetSamples, err)
		}
	}
}

func TestUnrelatedCapturesAreRefused(t *testing.T) {
	a := newMusic(10, 8, 9000).capture(24000, 8*24000, way{bits: 24})
	b := newMusic(11, 8, 9000).capture(24000, 8*24000, way{bits: 24})
	if r, err := match.Compare(a, b); !errors.Is(err, match.ErrUnrelated) {
		t.Errorf("error %v, offset %v, correlation %v", err, r.OffsetS, r.Correlation)
	}
}

func TestExchangedChannelsAndFaultsAreFound(t *testing.T) {
	const rate = 24000
	m := newMusic(12, 10, 9500)
	a := m.capture(rate, 10*rate, way{bits: 24})
	b := m.capture(rate, 10*rate, way{bits: 24, offset: 700.25})
	b.Channels[0], b.Channels[1] = b.Channels[1], b.Channels[0]
	for i := range 960 { // 20 ms lost
		b.Channels[0][5*rate+i], b.Channels[1][5*rate+i] = 0, 0
	}
	r, err := match.Compare(a, b)
	if err != nil || !r.ChannelsSwapped || math.Abs(r.OffsetSamples-700.25) > 0.005 {
		t.Errorf("swapped %v, offset %v, error %v", r.ChannelsSwapped, r.OffsetSamples, err)
	}
	if !r.Warned(fault.Dropout) {
		t.Errorf("no dropout among %q", r.Texts)
	}
}

// One steady tone gives every whole period nearly the same waveform: only attack and end show the place.
func TestSustainedTonesAreNotPlacedAPeriodApart(t *testing.T) {
	const rate, seconds, delay = 16000, 5, 411
	tones := []float64{97, 220}
	if *full {
		tones = append(tones, 440, 61, 1300)
	}
	for _, hz := range tones {
		var clips [2]pcm.Clip
		for k := range clips {
			c := pcm.NewClip(rate, 1, (seconds+1)*rate)
			random := rand.New(rand.NewPCG(uint64(k), uint64(hz)))
			for i := range c.Len() {
				c.Channels[0][i] = 1e-5 * random.NormFloat64()
				at := float64(i-k*delay) / rate
				if at < 0 || at > seconds {
					continue
				}
				for h := 1.0; h <= 3; h++ {
					c.Channels[0][i] += 0.3 / h * math.Min(1, at/0.003) * math.Sin(2*math.Pi*h*hz*at)
				}
			}
			clips[k] = c
		}
		r, err := match.Compare(clips[0], clips[1])
		if err != nil {
			t.Errorf("%v Hz: %v", hz, err)
			continue
		}
		// The place, not a period away; with nothing but three partials below 300 Hz the standard error must still be honest.
		off := math.Abs(r.OffsetSamples - delay)
		t.Logf("%v Hz: off by %.2g ± %.2g samples, null %.1f dB, %q", hz, off, r.StandardErrors.OffsetSamples, r.NullDB, r.Texts)
		if off > 0.005+3*r.StandardErrors.OffsetSamples || r.StandardErrors.OffsetSamples > 0.05 || r.NullDB > -45 {
			t.Errorf("%v Hz: offset %.3f, want %d; null %.1f dB; drift %.4f ppm, errors %+v; %q", hz, r.OffsetSamples, delay, r.NullDB, r.DriftPPM, r.StandardErrors, r.Texts)
		}
		// Elsewhere only a stretch without attack and end nulls as deep.
		if r.Confidence < 0.9 {
			t.Errorf("%v Hz: confidence %.3f, want it beyond doubt", hz, r.Confidence)
		}
	}
}

// Where nothing shows the place, the doubt must be said.
func TestAnEndlessToneIsSaidToFitElsewhere(t *testing.T) {
	var clips [2]pcm.Clip
	for k := range clips {
		c := pcm.NewClip(48000, 1, 5*48000)
		random := rand.New(rand.NewPCG(uint64(k), 5))
		for i := range c.Len() {
			c.Channels[0][i] = 0.3*math.Sin(2*math.Pi*220*float64(i-k*700)/48000) + 0.02*random.NormFloat64()
		}
		clips[k] = c
	}
	r, err := match.Compare(clips[0], clips[1])
	if err == nil && !r.Warned(match.OtherAlignment) {
		t.Errorf("offset %.2f, confidence %.3f, no doubt: %q", r.OffsetSamples, r.Confidence, r.Texts)
	}
}

// Two captures that share little are matched by gated loudness; the true peak, not the largest sample, keeps the ceiling.
func TestShallowPairIsMatchedByLoudnessUnderTheCeiling(t *testing.T) {
	m := newMusic(3, 8, 12000)
	a := m.capture(32000, 8*32000, way{seed: 1})
	b := m.capture(32000, 8*32000, way{offset: 300.4, gain: 0.7, noise: 0.012, seed: 2})
	p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 5, LoudnessLUFS: -3})
	if err != nil {
		t.Fatal(err)
	}
	if p.Presentations[1].LevelBy != "loudness" {
		t.Fatalf("null %.1f dB, matched by %s: the test needs a shallower pair", p.NullDB, p.Presentations[1].LevelBy)
	}
	var lufs, peak [2]float64
	for i, v := range p.Presentations {
		l, err := measure.Loudness(v.Clip)
		if err != nil {
			t.Fatal(err)
		}
		tp, err := measure.TruePeak(v.Clip)
		if err != nil {
			t.Fatal(err)
		}
		lufs[i], peak[i] = l.IntegratedLUFS, tp.DBTP
	}
	if math.Abs(lufs[1]-lufs[0]) > 0.02 {
		t.Errorf("loudness %v LUFS", lufs)
	}
	if top := math.Max(peak[0], peak[1]); top > -0.99 || top < -1.05 {
		t.Errorf("true peaks %v dBTP, want the larger at −1", peak)
	}
}

// A clock that changes by 50 ppm in the middle: an excerpt on one side of it is matched by its own drift, one across it is
// refused, and the clock named.
func TestWanderingClockIsMatchedWithinTheExcerptOrNamed(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	b := late(func(t float64) float64 { return 50e-6 * max(0, t-5) })(m, a)
	p, err := match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 1, LengthS: 3.5})
	if err != nil {
		t.Fatal(err)
	}
	v := p.Presentations[1]
	if math.Abs(v.OffsetErrorUS) > 0.1 || math.Abs(v.DriftPPM-5) > 0.1 || v.NullDB > -60 {
		t.Errorf("off by %.3f µs, drift %.3f ppm, null %.1f dB; want the drift of this stretch, 5 ppm", v.OffsetErrorUS, v.DriftPPM, v.NullDB)
	}
	_, err = match.Prepare([]pcm.Reader{a, b}, match.Excerpt{StartS: 3, LengthS: 4})
	if !errors.Is(err, match.ErrWandering) || !errors.Is(err, match.ErrUnfit) || !strings.Contains(err.Error(), "clock of capture 2 wanders") {
		t.Errorf("error %v", err)
	}
}
