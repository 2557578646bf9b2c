package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// stored is a clip that claims integer words.
type stored struct {
	pcm.Clip
	bits int
}

func (s stored) Format() pcm.Format {
	return pcm.Format{Rate: s.Rate, Channels: len(s.Channels), Bits: s.bits}
}

// tones returns two different tones in words of the given length.
func tones(bits, seconds int) pcm.Clip {
	c := pcm.NewClip(48000, 2, 48000*seconds)
	q := pcm.NewPlainQuantizer(bits)
	for k, ch := range c.Channels {
		for i := range ch {
			w, _ := q.Word(0.5 * math.Sin(2*math.Pi*(997+float64(k)*10)*float64(i)/48000))
			ch[i] = q.Value(w)
		}
	}
	return c
}

func TestInspectionOfACleanFile(t *testing.T) {
	r, err := measure.Inspect(stored{tones(24, 2), 24})
	if err != nil || len(r.Texts) != 0 {
		t.Fatalf("warnings %q, error %v", r.Texts, err)
	}
	c := r.Channel[0]
	if c.EffectiveBits != 24 || c.ClippedSamples != 0 || r.Frames != 96000 || r.Seconds != 2 {
		t.Errorf("%+v", r)
	}
	for what, v := range map[string][2]float64{
		"peak": {c.PeakDBFS, -6.0206}, "RMS": {c.RMSDBFS, -6.0206}, "true peak": {r.TruePeakDBTP, -6.0206},
	} {
		if math.Abs(v[0]-v[1]) > 0.01 {
			t.Errorf("%s: %.4f, want %.4f", what, v[0], v[1])
		}
	}
}

func TestInspectionCountsAndWarns(t *testing.T) {
	for _, c := range []struct {
		want  warning.Code
		spoil func(x pcm.Clip)
		check func(c measure.ChannelInspection) bool
	}{
		{measure.Clipped, func(x pcm.Clip) {
			for i := 1000; i < 1005; i++ {
				x.Channels[0][i] = 1 - 0x1p-23
			}
			x.Channels[0][9000] = -1
		}, func(c measure.ChannelInspection) bool { return c.ClippedSamples == 6 && c.LongestClipRun == 5 }},
		{measure.LongZeros, func(x pcm.Clip) { clear(x.Channels[0][5001:5500]) }, func(c measure.ChannelInspection) bool { return c.LongestZeroRun >= 499 && c.LongestZeroRun <= 500 }},
		{measure.HeldValue, func(x pcm.Clip) {
			for i := range 300 {
				x.Channels[0][7000+i] = 0x1.3p-3
			}
		}, func(c measure.ChannelInspection) bool { return c.LongestHeldRun == 300 }},
		{measure.DCOffset, func(x pcm.Clip) {
			for i := range x.Channels[0] {
				x.Channels[0][i] += 0x1p-8
			}
		}, func(c measure.ChannelInspection) bool { return math.Abs(c.DC-0x1p-8) < 1e-6 }},
		{measure.IdenticalChannels, func(x pcm.Clip) { copy(x.Channels[1], x.Channels[0]) }, nil},
		{measure.UnusedBits, func(x pcm.Clip) { y := tones(16, 2); copy(x.Channels[0], y.Channels[0]) }, func(c measure.ChannelInspection) bool { return c.EffectiveBits == 16 }},
		{measure.DigitalSilence, func(x pcm.Clip) { clear(x.Channels[0]) }, func(c measure.ChannelInspection) bool { return c.EffectiveBits == 0 && math.IsInf(c.PeakDBFS, -1) }},
	} {
		clip := tones(24, 2)
		c.spoil(clip)
		r, err := measure.Inspect(stored{clip, 24})
		if err != nil || !r.Warned(c.want) {
			t.Errorf("%s: warnings %q, error %v", c.want, r.Texts, err)
		}
		if c.check != nil && !c.check(r.Channel[0]) {
			t.Errorf("%s: %+v", c.want, r.Channel[0])
		}
	}
}

func TestFloatsOffTheGridHaveNoWordLength(t *testing.T) {
	c := tones(24, 1)
	c.Channels[0][5] = 1e-30
	if r, err := measure.Inspect(c); err != nil || !math.IsNaN(r.Channel[0].EffectiveBits) || r.Channel[1].EffectiveBits != 24 {
		t.Errorf("%+v, error %v", r, err)
	}
}

func BenchmarkInspect(b *testing.B) { benchmark(b, func(c pcm.Clip) { measure.Inspect(c) }) }

// Music that was clipped and turned down has flat tops below full scale; smooth peaks of low tones, noise of a few words and silence have none.
func TestFlatTopsBelowFullScaleAreNamed(t *testing.T) {
	random := rand.New(rand.NewPCG(15, 7))
	made := func(bits int, dither float64, of func(i int) float64) stored {
		c := pcm.NewClip(48000, 1, 3*48000)
		q := math.Ldexp(1, bits-1)
		for i := range c.Channels[0] {
			c.Channels[0][i] = math.Round(of(i)*q+dither*(random.Float64()-random.Float64())) / q
		}
		return stored{c, bits}
	}
	shape := func(bits int, of func(i int) float64) stored { return made(bits, 0, of) }
	dithered := func(bits int, of func(i int) float64) stored { return made(bits, 1, of) }
	sine := func(hz, peak float64) func(i int) float64 {
		return func(i int) float64 { return peak * math.Sin(2*math.Pi*hz*float64(i)/48000) }
	}
	clip := func(of func(i int) float64, at, gain float64) func(i int) float64 {
		return func(i int) float64 { return gain * min(at, max(-at, of(i))) }
	}
	for name, c := range map[string]struct {
		file stored
		flat bool
	}{
		"clipped and turned down":               {shape(16, clip(sine(440, 1.5), 1, 0.6)), true},
		"clipped and turned down, 24":           {shape(24, clip(sine(440, 1.2), 1, 0.25)), true},
		"clipped, turned down and dithered":     {dithered(16, clip(sine(440, 1.5), 1, 0.6)), true},
		"clipped, turned down and dithered, 24": {dithered(24, clip(sine(440, 1.2), 1, 0.25)), true},
		"a low tone, dithered":                  {dithered(16, sine(25, 0.3)), false},
		"tones, dithered":                       {dithered(16, func(i int) float64 { return sine(60, 0.3)(i) + sine(700, 0.2)(i) + sine(3100, 0.1)(i) }), false},
		"a low tone of few bits":                {shape(16, sine(25, 0.3)), false},
		"a low tone, hardly any words":          {shape(16, sine(40, 0.004)), false},
		"a tone":                                {shape(24, sine(997, 0.9)), false},
		"two words of noise":                    {shape(16, func(i int) float64 { return float64(i*i*7919%11%2) / 32768 }), false},
	} {
		r, err := measure.Inspect(c.file)
		if err != nil {
			t.Fatal(err)
		}
		if r.Warned(measure.FlatTops) != c.flat || (r.Channel[0].FlatTopSamples > 10) != c.flat {
			t.Errorf("%s: %d samples, warnings %q", name, r.Channel[0].FlatTopSamples, r.Texts)
		}
	}
}
