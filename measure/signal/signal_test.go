package signal_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/measure/signal"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

func make1(t testing.TB, cfg signal.Config) pcm.Clip {
	t.Helper()
	c, err := signal.Make(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// ref: the published form of the jitter signal, 24 bits: C00000 C00000 400000 400000, 24 times, then
// BFFFFF BFFFFF 3FFFFF 3FFFFF, 24 times; the 16-bit form by the same construction.
func TestJitterSignalWordByWord(t *testing.T) {
	for bits, want := range map[int][2][4]uint32{
		24: {{0xC00000, 0xC00000, 0x400000, 0x400000}, {0xBFFFFF, 0xBFFFFF, 0x3FFFFF, 0x3FFFFF}},
		16: {{0xC000, 0xC000, 0x4000, 0x4000}, {0xBFFF, 0xBFFF, 0x3FFF, 0x3FFF}},
	} {
		c := make1(t, signal.Config{Kind: signal.Jitter, Rate: 48000, Bits: bits, Seconds: 1})
		q := pcm.NewPlainQuantizer(bits)
		for i := range c.Len() {
			for k := range c.Channels {
				word, _ := q.Word(c.Channels[k][i])
				if got := uint32(word) & (1<<bits - 1); got != want[i/96%2][i%4] {
					t.Fatalf("%d bits, channel %d, frame %d: %X, want %X", bits, k+1, i, got, want[i/96%2][i%4])
				}
			}
		}
	}
}

// Lines of one period of 192 samples, by 2/(192·sin(πk/192)) steps for odd k, and 1/√2 for bin 48.
func TestJitterSignalLines(t *testing.T) {
	for _, c := range []struct {
		bin            int
		bits16, bits24 float64
	}{
		{0, -96.3296, -144.4944}, {1, -94.2310, -142.3958}, {3, -103.7703, -151.9351}, {9, -113.285, -161.450},
		{47, -126.7996, -174.9644}, {48, -3.0103, -3.0103}, {49, -127.0839, -175.2487}, {95, -129.953, -178.118},
	} {
		for bits, want := range map[int]float64{16: c.bits16, 24: c.bits24} {
			x := make1(t, signal.Config{Kind: signal.Jitter, Rate: 48000, Bits: bits, Seconds: 0.004}).Channels[0]
			re, im := 0.0, 0.0
			for i, v := range x {
				s, co := math.Sincos(2 * math.Pi * float64(c.bin*i%192) / 192)
				re, im = re+v*co, im-v*s
			}
			level := 2 * math.Hypot(re, im) / 192
			if c.bin == 0 {
				level /= 2
			}
			// The values are rounded to three or four places; 192 additions near 0.5 leave 1e-15, 0.01 dB at −178.
			if got := pcm.DB(level); math.Abs(got-want) > 0.01 {
				t.Errorf("%d bits, bin %d: %.4f dBFS, want %.4f", bits, c.bin, got, want)
			}
		}
	}
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

func TestLevels(t *testing.T) {
	for _, c := range []struct {
		cfg  signal.Config
		want float64 // dBFS
	}{
		{signal.Config{Kind: signal.Tone}, -1},
		{signal.Config{Kind: signal.LowTone}, -60},
		// Half the peak each: two tones of −7.02 dBFS, together 3.01 dB more.
		{signal.Config{Kind: signal.TwoTone}, -1 - 6.0206 + 3.0103},
		// 0.8 and 0.2 of the peak: 10·log10(0.64 + 0.04).
		{signal.Config{Kind: signal.TwoTone, Pair: signal.LowPair}, -1 - 1.6749},
		// Quantisation noise of 24 bits with TPDF dither: −(6.0206·24 + 1.7609 − 4.7712).
		{signal.Config{Kind: signal.Silence}, -141.484},
	} {
		c.cfg.Rate, c.cfg.Bits, c.cfg.Seconds = 48000, 24, 2
		if got := pcm.DBFS(rms(make1(t, c.cfg).Channels[0])); math.Abs(got-c.want) > 0.02 {
			t.Errorf("%v: %.4f dBFS, want %.4f", c.cfg.Kind, got, c.want)
		}
	}
}

// The noise of ideal quantisers, by 6.0206·N + 1.7609 dB and 4.7712 dB more with TPDF dither; in the band to
// 20 kHz and with the weightings, by integrating the curves over flat noise.
func TestQuantisationNoiseIsThatOfTheory(t *testing.T) {
	for _, c := range []struct {
		rate                pcm.Rate
		full, band, a, ccir float64
	}{
		{44100, 93.319, 93.743, 95.724, 92.067},
		{48000, 93.319, 94.111, 96.042, 92.435},
	} {
		x := make1(t, signal.Config{Kind: signal.Silence, Rate: c.rate, Bits: 16, Seconds: 10}).Channels[0]
		s, err := spectrum.Of(x, spectrum.Config{RateHz: c.rate.Hz(), Size: 1 << 14, Window: spectrum.Hann(), Overlap: .5})
		if err != nil {
			t.Fatal(err)
		}
		weighted := func(weight func(float64) float64) float64 {
			sum := 0.0
			for k := 1; k < len(s.Density); k++ {
				sum += s.Density[k] * s.BinHz() * pcm.Ratio(2*weight(s.FreqHz(k)))
			}
			return -pcm.DBFS(math.Sqrt(sum))
		}
		for name, v := range map[string][2]float64{
			"whole": {-pcm.DBFS(rms(x)), c.full}, "to 20 kHz": {-pcm.DBFS(math.Sqrt(s.BandPower(0, 20000))), c.band},
			"A": {weighted(measure.AWeightDB), c.a}, "CCIR-RMS": {weighted(measure.CCIRWeightDB), c.ccir},
		} {
			// Standard error of a power over n = 440 000 samples: 4.34·√(2/n) = 0.009 dB, weighted a little more.
			if math.Abs(v[0]-v[1]) > 0.04 {
				t.Errorf("%d Hz, %s: %.3f dB, want %.3f", c.rate, name, v[0], v[1])
			}
		}
	}
}

func TestUnditheredToneRepeatsItself(t *testing.T) {
	cfg := signal.Config{Kind: signal.Tone, Rate: 48000, Bits: 24, Seconds: 2, Dither: signal.NoDither}
	x := make1(t, cfg).Channels[0]
	for i := range 48000 {
		if x[i] != x[i+48000] {
			t.Fatalf("frame %d differs a second later", i)
		}
	}
}

func TestEveryStretchReadsTheSameAndIsWords(t *testing.T) {
	for kind := signal.Jitter; kind <= signal.Level; kind++ {
		for _, bits := range []int{16, 24} {
			s, err := signal.New(signal.Config{Kind: kind, Rate: 44100, Bits: bits, Seconds: 3.1, Seed: 7})
			if err != nil {
				t.Fatal(err)
			}
			whole, err := pcm.Load(s, 0, -1)
			if err != nil {
				t.Fatal(err)
			}
			part, err := pcm.Load(s, 100_001, 100_700)
			if err != nil {
				t.Fatal(err)
			}
			q := pcm.NewPlainQuantizer(bits)
			for k, ch := range part.Channels {
				for i, v := range ch {
					w, clipped := q.Word(v)
					if v != whole.Channels[k][100_001+i] || q.Value(w) != v || clipped {
						t.Fatalf("%v, %d bits: sample %v of frame %d", kind, bits, v, 100_001+i)
					}
				}
			}
		}
	}
}

func TestIntegrityWordsUseEveryBitInEveryChannel(t *testing.T) {
	c := make1(t, signal.Config{Kind: signal.Integrity, Rate: 48000, Bits: 24, Seconds: 1})
	q := pcm.NewPlainQuantizer(24)
	const n = 48000 - signal.SyncFrames
	same := 0
	ones := make([]int, 24)
	for i := signal.SyncFrames; i < 48000; i++ {
		w, _ := q.Word(c.Channels[0][i])
		for b := range ones {
			ones[b] += int(w>>b) & 1
		}
		if c.Channels[0][i] == c.Channels[1][i] {
			same++
		}
	}
	for b, k := range ones {
		if math.Abs(float64(k)-n/2) > 5*math.Sqrt(n)/2 { // five standard deviations of a fair coin
			t.Errorf("bit %d is set %d times of %d", b, k, n)
		}
	}
	if same > 3 { // chance of one word in 2^24
		t.Errorf("%d words are the same in both channels", same)
	}
}

func TestPinkNoiseFallsThreeDecibelsAnOctave(t *testing.T) {
	level := -20.0
	c := make1(t, signal.Config{Kind: signal.Level, Rate: 48000, Bits: 24, Seconds: 30, LevelDBFS: &level})
	x := c.Channels[0][2*48000 : 28*48000]
	if got := pcm.DBFS(rms(x)); math.Abs(got+20) > 0.2 { // 26 s are not a whole number of its periods
		t.Errorf("level %.2f dBFS, want −20", got)
	}
	s, err := spectrum.Of(x, spectrum.Config{RateHz: 48000, Size: 1 << 15, Window: spectrum.Hann(), Overlap: .5})
	if err != nil {
		t.Fatal(err)
	}
	want := pcm.PowerDB(s.BandPower(5000, 10000))
	for _, low := range []float64{80, 160, 320, 640, 1250, 2500, 10000} {
		if got := pcm.PowerDB(s.BandPower(low, 2*low)); math.Abs(got-want) > 0.7 { // pink: equal power in octaves
			t.Errorf("octave from %v Hz: %.2f dB, that from 5 kHz %.2f", low, got, want)
		}
	}
	if c.Channels[0][0] != c.Channels[0][0]*0 && math.Abs(c.Channels[0][0]) > 1e-6 {
		t.Error("the noise begins without a fade")
	}
	for i := range 4800 {
		if math.Abs(c.Channels[0][i]) > 0.02 {
			t.Fatalf("frame %d is %v within the first tenth of a second", i, c.Channels[0][i])
		}
	}
}

func TestSweepPassesItsFrequencyAtItsTime(t *testing.T) {
	s := signal.NewSweepShape(96000, 96000*61)
	for _, c := range []struct{ at, want float64 }{{s.BeginS, 20}, {s.EndS, 20000}, {s.BeginS + s.GrowthS*math.Log(50), 1000}} {
		// Count cycles by the phase of two samples a millionth of a period apart: asin is monotone near zero
		// crossings only, so the nearest rising one is sought first.
		dt := 1e-4 / c.want
		at := c.at
		for !(s.At(at) < 0 && s.At(at+dt) >= 0) {
			at += dt
		}
		slope := (s.At(at+dt) - s.At(at-dt)) / (2 * dt) / (2 * math.Pi)
		if math.Abs(slope/c.want-1) > 0.01 { // the crossing is up to a period later, where the sweep is up to 0.6 % faster
			t.Errorf("at %.3f s: %.2f Hz, want %v", c.at, slope, c.want)
		}
	}
	if s.EndS+0.7 > 61 || s.GrowthS*20 != math.Round(s.GrowthS*20) {
		t.Errorf("shape %+v", s)
	}
}

func TestWrongConfigurationsAreNamed(t *testing.T) {
	good := signal.Config{Kind: signal.Tone, Rate: 48000, Bits: 24, Seconds: 1}
	loud, nan := 1.0, math.NaN()
	for name, change := range map[string]func(*signal.Config){
		"kind": func(c *signal.Config) { c.Kind = 99 }, "unset kind": func(c *signal.Config) { c.Kind = signal.Unset },
		"rate": func(c *signal.Config) { c.Rate = 7999 }, "bits": func(c *signal.Config) { c.Bits = 20 },
		"channels": func(c *signal.Config) { c.Channels = 9 }, "no time": func(c *signal.Config) { c.Seconds = 0 },
		"time": func(c *signal.Config) { c.Seconds = nan }, "too loud": func(c *signal.Config) { c.LevelDBFS = &loud },
		"level":                func(c *signal.Config) { c.LevelDBFS = &nan },
		"fixed level":          func(c *signal.Config) { c.Kind, c.LevelDBFS = signal.Jitter, &loud },
		"tones above the band": func(c *signal.Config) { c.Kind, c.Rate = signal.TwoTone, 32000 },
		"short sweep":          func(c *signal.Config) { c.Kind = signal.Sweep },
	} {
		cfg := good
		change(&cfg)
		if _, err := signal.New(cfg); err == nil {
			t.Errorf("%s: accepted %+v", name, cfg)
		}
	}
}

func ExampleNew() {
	s, _ := signal.New(signal.Config{Kind: signal.Jitter, Rate: 48000, Bits: 24, Seconds: 60})
	block := pcm.Planes(2, 4)
	s.ReadFrames(block, 0)
	fmt.Println(s.Format(), block[0])
	// Output: 48000 Hz, 2 channels, 24-bit [-0.5 -0.5 0.5 0.5]
}

func BenchmarkSignals(b *testing.B) {
	for kind := signal.Jitter; kind <= signal.Level; kind++ {
		b.Run(kind.String(), func(b *testing.B) {
			s, err := signal.New(signal.Config{Kind: kind, Rate: 96000, Bits: 24, Seconds: 10})
			if err != nil {
				b.Fatal(err)
			}
			block := pcm.Planes(2, 4096)
			b.SetBytes(4096 * 2 * 3)
			for i := 0; b.Loop(); i++ {
				s.ReadFrames(block, i%200*4096)
			}
		})
	}
}
