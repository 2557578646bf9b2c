package match_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"heardiff/measure"
	"heardiff/measure/interpolate"
	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// A fault of known size in one of two captures that otherwise differ by offset, drift and gain, with the noise of a good
// recorder in both.
const faultRate, faultSeconds = 24000, 9

var faultWay = way{offset: 350.25, drift: 5e-6, gain: 0.9, noise: 1e-5, seed: 5}

// faulty is what is done to a capture of music in the usual way.
type faulty func(m music, b pcm.Clip) pcm.Clip

func each(f func(v float64) float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for _, ch := range b.Channels {
			for i, v := range ch {
				ch[i] = f(v)
			}
		}
		return b
	}
}

// rough adds an error in proportion to each sample, as coarse coding makes.
func rough(share float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		random := rand.New(rand.NewPCG(8, 8))
		return each(func(v float64) float64 { return v * (1 + share*random.NormFloat64()) })(music{}, b)
	}
}

// late recaptures the music with a further delay in seconds.
func late(delay func(t float64) float64) faulty {
	return func(m music, b pcm.Clip) pcm.Clip {
		w := faultWay
		w.wander = delay
		return m.capture(b.Rate, b.Len(), w)
	}
}

// splice joins frames 0 to until−1 and those from next on.
func splice(until, next int) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for c, ch := range b.Channels {
			b.Channels[c] = append(slices.Clone(ch[:until]), ch[next:]...)
		}
		return b
	}
}

// peaking raises hz by db with quality q. ref: R. Bristow-Johnson, Audio EQ Cookbook.
func peaking(hz, db, q float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		a, w := math.Pow(10, db/40), 2*math.Pi*hz/b.Rate.Hz()
		alpha, cos := math.Sin(w)/(2*q), math.Cos(w)
		for _, ch := range b.Channels {
			var x1, x2, y1, y2 float64
			for i, x := range ch {
				y := ((1+alpha*a)*x - 2*cos*x1 + (1-alpha*a)*x2 + 2*cos*y1 - (1-alpha/a)*y2) / (1 + alpha/a)
				x2, x1, y2, y1 = x1, x, y1, y
				ch[i] = y
			}
		}
		return b
	}
}

// peakingDB is the gain of that filter at f Hz.
func peakingDB(rate, hz, db, q, f float64) float64 {
	a, w := math.Pow(10, db/40), 2*math.Pi*hz/rate
	alpha, cos := math.Sin(w)/(2*q), math.Cos(w)
	at := func(b0, b1, b2 float64) float64 {
		p := 2 * math.Pi * f / rate
		return math.Hypot(b0+b1*math.Cos(p)+b2*math.Cos(2*p), b1*math.Sin(p)+b2*math.Sin(2*p))
	}
	return pcm.DB(at(1+alpha*a, -2*cos, 1-alpha*a) / at(1+alpha/a, -2*cos, 1-alpha/a))
}

// lowpass ends the band between two fractions of Nyquist.
func lowpass(pass, stop float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		k, err := interpolate.New(interpolate.Config{Pass: pass, Stop: stop, ErrorDB: -100})
		if err != nil {
			panic(err)
		}
		out := pcm.NewClip(b.Rate, len(b.Channels), b.Len())
		if err := interpolate.NewStream(k, b).Read(out.Channels, 0, make([]float64, b.Len())); err != nil {
			panic(err)
		}
		return out
	}
}

func silence(from, n int) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for _, ch := range b.Channels {
			clear(ch[from : from+n])
		}
		return b
	}
}

// only applies to one channel, counted from 1, what do applies to all.
func only(channel int, do faulty) faulty {
	return func(m music, b pcm.Clip) pcm.Clip {
		done := do(m, b.Clone())
		b.Channels[channel-1] = done.Channels[channel-1]
		return b
	}
}

// held repeats a value for n frames.
func held(from, n int) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for _, ch := range b.Channels {
			for i := range n {
				ch[from+i] = ch[from]
			}
		}
		return b
	}
}

// repeat replaces n frames with the n frames before them.
func repeat(from, n int) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for _, ch := range b.Channels {
			copy(ch[from:from+n], ch[from-n:from])
		}
		return b
	}
}

// ticks adds n frames of noise, as a bad contact does.
func ticks(from, n int, peak float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		random := rand.New(rand.NewPCG(3, 3))
		for i := range n {
			v := peak * (2*random.Float64() - 1)
			for _, ch := range b.Channels {
				ch[from+i] += v
			}
		}
		return b
	}
}

// course makes the level follow db, a function of the time in seconds.
func course(db func(t float64) float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for _, ch := range b.Channels {
			for i := range ch {
				ch[i] *= pcm.Ratio(db(float64(i) / b.Rate.Hz()))
			}
		}
		return b
	}
}

// step raises the level by db from the fifth second on.
func step(db float64) faulty {
	return course(func(t float64) float64 {
		if t < 5 {
			return 0
		}
		return db
	})
}

// both does one thing after the other.
func both(first, then faulty) faulty {
	return func(m music, b pcm.Clip) pcm.Clip { return then(m, first(m, b)) }
}

func channelTwo(f func(v float64) float64) faulty {
	return func(_ music, b pcm.Clip) pcm.Clip {
		for i, v := range b.Channels[1] {
			b.Channels[1][i] = f(v)
		}
		return b
	}
}

func louderNoise(_ music, b pcm.Clip) pcm.Clip {
	w := faultWay
	w.noise = 1e-3
	return w.finish(b)
}

// faultCase is a fault, and the warning expected for it.
type faultCase struct {
	name string
	do   faulty
	want warned // the only warning but for a short overlap
	kind string // of the residual, "" = any
	full bool
}

func faults() []faultCase {
	const middle = faultRate * faultSeconds / 2
	return []faultCase{
		{name: "none", do: each(func(v float64) float64 { return v }), kind: "noise"},
		{name: "more noise in B", do: louderNoise, kind: "noise"},
		{name: "direct voltage", do: each(func(v float64) float64 { return v + 0.02 }), kind: "noise", full: true},
		{name: "clock that swings by 1 µs", do: late(func(t float64) float64 { return 1e-6 * math.Sin(2*math.Pi*t/4) }), want: warned{code: match.ClockWanders}, kind: "timing"},
		{name: "clock that changes by 5 ppm", do: late(func(t float64) float64 { return 5e-6 * max(0, t-4.5) }), want: warned{code: match.ClockWanders}, kind: "timing", full: true},
		{name: "hum on the clock, 100 ns at 60 Hz", do: late(func(t float64) float64 { return 1e-7 * math.Sin(2*math.Pi*60*t) }), kind: "timing", full: true},
		{name: "300 frames lost", do: splice(middle, middle+300), want: warned{code: match.Jumps, value: -300, within: 0.5}},
		{name: "8 frames lost", do: splice(middle, middle+8), want: warned{code: match.Jumps, value: -8, within: 0.5}, full: true},
		{name: "1 frame lost", do: splice(middle, middle+1), want: warned{code: match.Jumps, value: -1, within: 0.5}},
		{name: "1000 frames repeated", do: splice(middle, middle-1000), want: warned{code: match.Jumps, value: 1000, within: 0.5}, full: true},
		{name: "two seconds cut out, as at a loop point", do: splice(middle, middle+2*faultRate), want: warned{code: match.Jumps, value: -48000, within: 0.5}, full: true},
		{name: "20 ms lost to silence", do: silence(middle, faultRate/50), want: warned{code: fault.Dropout}},
		{name: "channel 1 lost for a second", do: only(1, silence(middle, faultRate)), want: warned{code: fault.Dropout, channel: 1}},
		{name: "channel 2 dies halfway", do: only(2, silence(middle, middle)), want: warned{code: fault.Dropout, channel: 2}, full: true},
		{name: "0.1 dB louder from 5 s on", do: step(0.1), want: warned{code: fault.LevelStep, value: 0.1, within: 0.005, atS: 5}},
		{name: "channel 2 0.2 dB softer from 5 s on", do: only(2, step(-0.2)), want: warned{code: fault.LevelStep, channel: 2, value: -0.2, within: 0.005, atS: 5}, full: true},
		{name: "0.02 dB louder from 5 s on is let pass", do: step(0.02), full: true},
		{name: "0.3 dB louder by and by", do: course(func(t float64) float64 { return 0.3 * t / faultSeconds }), want: warned{code: fault.LevelDrift, value: 0.3, within: 0.3}, full: true},
		{name: "0.1 dB louder from 5 s on, behind a filter", do: both(peaking(200, 3, 1), step(0.1)), want: warned{code: fault.LevelStep, value: 0.1, within: 0.05}, full: true},
		{name: "clipped", do: each(func(v float64) float64 { return max(-0.2, min(0.2, v)) }), want: warned{code: measure.Clipped}, kind: "distortion"},
		{name: "clipped softly, before the recorder's noise", do: func(m music, b pcm.Clip) pcm.Clip {
			b = each(func(v float64) float64 { return 0.3 * math.Tanh(v/0.3) })(m, b)
			return way{noise: 1e-5, seed: 9}.finish(b)
		}, want: warned{code: fault.Compressed, value: 50, within: 50}, full: true},
		{name: "square-law distortion", do: each(func(v float64) float64 { return v + 0.02*v*v }), kind: "distortion", full: true},
		{name: "an error that follows the music, 30 dB down", do: rough(0.0316), want: warned{code: fault.FollowsMusic, value: -30.5, within: 0.5}, kind: "distortion"},
		{name: "an error that follows the music, 50 dB down", do: rough(0.0032), want: warned{code: fault.FollowsMusic, value: -50.5, within: 0.5}, kind: "distortion", full: true},
		{name: "one that follows it 60 dB down is let pass", do: rough(0.001), kind: "distortion", full: true},
		{name: "0.3 dB at 1 kHz", do: peaking(1000, 0.3, 1), want: warned{code: match.ResponseDiffers}, kind: "response", full: true},
		{name: "0.05 dB at 3 kHz is let pass", do: peaking(3000, 0.05, 1), kind: "response", full: true},
		{name: "ends at 8 kHz", do: lowpass(7750.0/12000, 8250.0/12000), want: warned{code: fault.BandLimit, value: 8500, within: 500}},
		{name: "channel 2 inverted", do: channelTwo(func(v float64) float64 { return -v }), want: warned{code: fault.ChannelInverted, channel: 2}},
		{name: "channel 2 louder", do: channelTwo(func(v float64) float64 { return v * pcm.Ratio(0.5) }), want: warned{code: fault.ChannelGain, channel: 2, value: 0.5, within: 0.005}, full: true},
	}
}

func TestFaultsAreFoundAndNamed(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	plain := m.capture(faultRate, faultRate*faultSeconds, faultWay)
	for _, c := range faults() {
		if c.full && !*full {
			continue
		}
		r, err := match.Compare(a, c.do(m, plain.Clone()))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		t.Logf("%s: null %.1f dB, %+v, %q", c.name, r.NullDB, r.Residual, r.Texts)
		others := slices.DeleteFunc(slices.Clone(r.Details), func(w warning.Warning) bool { return w.Code == match.ShortOverlap })
		if !c.want.in(others) {
			t.Errorf("%s: warnings %v, want %+v", c.name, others, c.want)
		}
		if c.want.code == match.Jumps && r.NullDB > -60 {
			t.Errorf("%s: null %.1f dB: the stretch that was compared must be free of it", c.name, r.NullDB)
		}
		if c.kind != "" && r.Residual.Kind != c.kind {
			t.Errorf("%s: the rest is %+v, want %s", c.name, r.Residual, c.kind)
		}
	}
}

// A fault of a few milliseconds is reported with its place and length, each to a millisecond.
func TestWhatHappensForAWhileIsTimed(t *testing.T) {
	const ms, at, seconds = faultRate / 1000, 2*faultRate + 1234, 6
	m := newMusic(12, seconds, 11000)
	a := m.capture(faultRate, faultRate*seconds, way{noise: 1e-5, seed: 4})
	plain := m.capture(faultRate, faultRate*seconds, faultWay)
	for _, c := range []struct {
		name string
		do   faulty
		ms   float64
		want warned
	}{
		{"2 ms lost", silence(at, 2*ms), 2, warned{code: fault.Dropout}},
		{"9 ms lost", silence(at, 9*ms), 9, warned{code: fault.Dropout}},
		{"4 ms lost in channel 2", only(2, silence(at, 4*ms)), 4, warned{code: fault.Dropout, channel: 2}},
		{"8 ms held", held(at, 8*ms), 8, warned{code: fault.Outburst}},
		{"20 ms repeated", repeat(at, 20*ms), 20, warned{code: fault.Outburst}},
		{"5 ms of noise", ticks(at, 5*ms, 0.01), 5, warned{code: fault.Outburst}},
		{"a tick of 1 ms, 60 dB below full scale", ticks(at, ms, 1e-3), 1, warned{code: fault.Outburst}},
	} {
		r, err := match.Compare(a, c.do(m, plain.Clone()))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(r.Details) != 1 || !c.want.in(r.Details) {
			t.Errorf("%s: %v, want %+v alone", c.name, r.Details, c.want)
			continue
		}
		w := r.Details[0]
		want := (at - faultWay.offset) / (1 + faultWay.drift) / faultRate
		if math.Abs(1000*(w.ToS-w.FromS)-c.ms) > 1 || math.Abs(w.FromS-want) > 1e-3 {
			t.Errorf("%s: %v ms at %v s, want %v ms at %.3f s", c.name, 1000*(w.ToS-w.FromS), w.FromS, c.ms, want)
		}
	}
}

// What stands out in an excerpt is said when it is cut, at its place in the capture; what happened before it is not said to
// be within.
func TestWhatHappensWithinAnExcerptIsSaid(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	plain := m.capture(faultRate, faultRate*faultSeconds, faultWay)
	at := 4.5 // seconds of A
	lost := only(1, silence(int(at*faultRate+faultWay.offset), faultRate/50))(m, plain.Clone())
	louder := step(0.5)(m, plain)
	for _, c := range []struct {
		from   float64
		b      pcm.Clip
		want   warned
		within bool
	}{
		{2, lost, warned{code: fault.Dropout, channel: 1, value: 20, within: 1, atS: 4.5}, true},
		{5, lost, warned{code: fault.Dropout, channel: 1}, false},
		{2.5, louder, warned{code: fault.LevelStep, value: 0.5, within: 0.01}, true},
		{5.2, louder, warned{code: fault.LevelStep}, false},
	} {
		p, err := match.Prepare([]pcm.Reader{a, c.b}, match.Excerpt{StartS: c.from, LengthS: 3.5})
		if err != nil {
			t.Fatal(err)
		}
		said := of(p.Details, c.want.code)
		if len(said) != 1 || !c.want.in(said) {
			t.Errorf("from %v s: %v, want %+v once", c.from, p.Details, c.want)
		}
		const here = "within the excerpt, capture 2 against capture 1: "
		if within := slices.ContainsFunc(p.Texts, func(w string) bool { return strings.HasPrefix(w, here) }); within != c.within {
			t.Errorf("from %v s: %q", c.from, p.Texts)
		}
	}
}

// The same faults in A must be said of A.
func TestFaultsInAAreSaidOfA(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	b := m.capture(faultRate, faultRate*faultSeconds, faultWay)
	for code, c := range map[warning.Code]struct {
		do   faulty
		says string // which of the two it is
	}{
		fault.Dropout:    {silence(4*faultRate, faultRate/50), "A is"},
		fault.Compressed: {each(func(v float64) float64 { return 0.3 * math.Tanh(v/0.3) }), "A falls"},
		fault.BandLimit:  {lowpass(7750.0/12000, 8250.0/12000), "A ends"},
	} {
		r, err := match.Compare(c.do(m, a.Clone()), b)
		if said := of(r.Details, code); err != nil || len(said) != 1 || !strings.HasPrefix(said[0].Text, c.says) {
			t.Errorf("want %s of A: %q, %v", code, r.Texts, err)
		}
	}
}

// A clock that runs 5 ppm faster from the middle on: every piece's drift is reported, and the offset of either half.
func TestWanderingDriftIsStatedPieceByPiece(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	b := late(func(t float64) float64 { return 5e-6 * max(0, t-4.5) })(m, a)
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range r.Wander.Pieces {
		want := 5.0
		switch {
		case p.FromS > 4.6:
			want = 10
		case p.ToS > 4.4:
			continue // the piece with the change in it
		}
		if math.Abs(p.DriftPPM-want) > 0.15 {
			t.Errorf("%.2f to %.2f s: %.3f ppm, want %v", p.FromS, p.ToS, p.DriftPPM, want)
		}
	}
	if !r.Wander.Significant || math.Abs(r.DriftPPM-7.5) > 0.3 {
		t.Errorf("significant %v, drift %.3f ppm over all, want about the mean of 5 and 10", r.Wander.Significant, r.DriftPPM)
	}
}

// A swing at the frequency up to which wander is said to be held loses 3 dB, one at a quarter of it 0.2 dB: sin(5πf)/(5·sin πf)
// of blocks f cycles apart. Averages at either end are over fewer: 5 % for that.
func TestWanderIsHeldUpToTheFrequencySaid(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	plain, err := match.Compare(a, m.capture(faultRate, faultRate*faultSeconds, faultWay))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ of, held float64 }{{0.25, 0.98}, {1, 0.707}} {
		const peak = 2e-6
		hz := c.of * plain.Wander.BelowHz
		r, err := match.Compare(a, late(func(t float64) float64 { return peak * math.Sin(2*math.Pi*hz*t) })(m, a))
		if err != nil {
			t.Fatal(err)
		}
		want := c.held * peak / math.Sqrt2 * faultRate
		t.Logf("%.2f Hz: %.4f samples RMS, want %.4f", hz, r.Wander.RMSSamples, want)
		if r.Wander.BelowHz != plain.Wander.BelowHz || math.Abs(r.Wander.RMSSamples/want-1) > 0.05 {
			t.Errorf("%.2f Hz: %.4f samples RMS below %.3f Hz, want %.4f", hz, r.Wander.RMSSamples, r.Wander.BelowHz, want)
		}
	}
}

// ref: the filter's own response in closed form.
func TestResponseDifferenceIsTheFiltersOwn(t *testing.T) {
	const hz, db, q = 1000, 0.5, 1
	r := rand.New(rand.NewPCG(1, 9))
	a := pcm.NewClip(faultRate, 1, faultRate*faultSeconds)
	for i := range a.Len() {
		a.Channels[0][i] = 0.1 * r.NormFloat64()
	}
	b := peaking(hz, db, q)(music{}, a.Clone())
	for i := range b.Len() { // coherence of 0.9999
		b.Channels[0][i] += 1e-3 * r.NormFloat64()
	}
	got, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	for _, band := range got.ResponseBands {
		want, n := 0.0, 0.0
		for f := band.LowHz; f < band.HighHz; f += (band.HighHz - band.LowHz) / 50 {
			want += pcm.Ratio(peakingDB(faultRate, hz, db, q, f))
			n++
		}
		// The complex mean over the band, taken here by magnitude, and the common gain bring 0.01 dB.
		if e := band.DB + got.GainDB - pcm.DB(want/n); math.Abs(e) > 0.01+3*band.StandardErrorDB {
			t.Errorf("%.0f Hz: %.3f ± %.3f dB, want %.3f", band.LowHz, band.DB+got.GainDB, band.StandardErrorDB, pcm.DB(want/n))
		}
	}
}

func TestChannelsAreDistinguished(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	b := m.capture(faultRate, faultRate*faultSeconds, faultWay)
	w := faultWay
	w.offset += 0.25
	other := m.capture(faultRate, faultRate*faultSeconds, w)
	for i, v := range other.Channels[1] {
		b.Channels[1][i] = v * pcm.Ratio(0.5)
	}
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	gain, delay := r.Channels[1].GainDB-r.Channels[0].GainDB, r.Channels[1].OffsetSamples-r.Channels[0].OffsetSamples
	if math.Abs(gain-0.5) > 0.02 || math.Abs(delay-0.25) > 0.005 {
		t.Errorf("channel 2 differs by %.3f dB and %.4f samples, want 0.5 and 0.25", gain, delay)
	}
}

// Treble beyond the band in which captures are compared, which the interpolator does not keep, is no fault wherever the blocks
// happen to end.
func TestTrebleBeyondTheBandIsNoFault(t *testing.T) {
	m := newMusic(12, faultSeconds, 11000)
	a := m.capture(faultRate, faultRate*faultSeconds, way{noise: 1e-5, seed: 4})
	w := faultWay
	b := m.capture(faultRate, faultRate*faultSeconds, w)
	random := rand.New(rand.NewPCG(31, 2))
	for range 60 {
		at, hz, pan := faultSeconds*random.Float64(), faultRate/2*(0.9+0.07*random.Float64()), random.Float64()
		burst := func(t float64) float64 {
			return 0.06 * math.Exp(-(t-at)*(t-at)/(2*0.004*0.004)) * math.Sin(2*math.Pi*hz*(t-at))
		}
		for i := range a.Len() {
			v, late := burst(float64(i)/faultRate), w.gain*burst((float64(i)-w.offset)/faultRate/(1+w.drift))
			for c, share := range []float64{pan, 1 - pan} {
				a.Channels[c][i] += share * v
				b.Channels[c][i] += share * late
			}
		}
	}
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if r.Warned(fault.Outburst) {
		t.Errorf("null %.1f dB: %q", r.NullDB, r.Texts)
	}
}
