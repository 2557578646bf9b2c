package interpolate_test

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"heardiff/measure/interpolate"
	"heardiff/playback/pcm"
)

// response returns the complex gain of the kernel, less the ideal delay, for a shift and a frequency in
// fractions of Nyquist, read off the impulse response: what comes out of shifting a unit impulse.
func response(k *interpolate.Kernel, shift, freq float64) complex128 {
	reach := k.Half() + int(math.Abs(shift)) + 2
	src, dst, centre := pcm.Planes(1, 4*reach+1), pcm.Planes(1, 2*reach+1), 2*reach
	src[0][centre] = 1
	k.Shift(dst, src, centre-reach, slices.Repeat([]float64{shift}, len(dst[0])))
	var h complex128
	for i, v := range dst[0] {
		h += complex(v, 0) * cmplx.Rect(1, math.Pi*freq*(float64(reach-i)-shift))
	}
	return h
}

func kernel(t testing.TB, cfg interpolate.Config) *interpolate.Kernel {
	t.Helper()
	k, err := interpolate.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// stopped is a design whose response ends at Nyquist.
var stopped = interpolate.Config{Pass: 0.9, Stop: 1}

func TestErrorIsBelowDesignAcrossFractionsAndFrequencies(t *testing.T) {
	for _, c := range []struct {
		name string
		cfg  interpolate.Config
		want float64 // largest |H − ideal| in the passband, dB
	}{
		{"transparent", interpolate.Config{}, -140},
		{"20 kHz at 44.1 kHz", interpolate.Config{Pass: 20.0 / 22.05, ErrorDB: -145}, -145},
		{"prepared audio", interpolate.Config{Pass: 0.95, ErrorDB: -145}, -145},
		{"stopped at Nyquist", stopped, -140},
		{"20 kHz at 96 kHz", interpolate.Config{Pass: 20.0 / 48}, -140},
		{"short and rough", interpolate.Config{ErrorDB: -90}, -90},
	} {
		k := kernel(t, c.cfg)
		pass := c.cfg.Pass
		if pass == 0 {
			pass = 0.9
		}
		worst := 0.0
		for i := range 41 {
			// Fractions off the table's rows, where the interpolation between rows is at its worst.
			shift := -1 + float64(i)/20 + 0.37/8192
			for f := 0.0; f <= pass; f += pass / 60 {
				worst = math.Max(worst, cmplx.Abs(response(k, shift, f)-1))
			}
		}
		if got := pcm.DB(worst); got > c.want {
			t.Errorf("%s: error %.1f dB, want below %.0f (%d taps)", c.name, got, c.want, 2*k.Half())
		} else {
			t.Logf("%s: %d taps, worst error %.1f dB", c.name, 2*k.Half(), got)
		}
	}
}

func TestAKernelStoppedAtNyquistTreatsEveryShiftAlikeAtEveryFrequency(t *testing.T) {
	k := kernel(t, stopped)
	worst, at := 0.0, 0.0
	for f := 0.0; f <= 1; f += 1.0 / 200 {
		still := response(k, 0, f)
		for _, shift := range []float64{0.5, 0.25, -0.123456, 0.999, 17.77} {
			if d := cmplx.Abs(response(k, shift, f) - still); d > worst {
				worst, at = d, f
			}
		}
	}
	if got := pcm.DB(worst); got > -140 {
		t.Errorf("responses differ by %.1f dB at %.3f of Nyquist, want below −140", got, at)
	} else {
		t.Logf("responses differ by at most %.1f dB (at %.3f of Nyquist)", got, at)
	}
}

// A shift may move on slowly or fast, back or in leaps: the runs that are evaluated together end at a leap.
func TestShiftsThatLeapAgreeWithClosedForm(t *testing.T) {
	k := kernel(t, interpolate.Config{})
	const n, around = 2000, 6000
	s := chord()
	src := pcm.Planes(3, n+2*around)
	for c := range src {
		for i := range src[c] {
			src[c][i] = s.at(float64(i + 100*c))
		}
	}
	for _, step := range []float64{0, 1e-4, 0.3, -1, -2.5, 2} {
		shift, dst := make([]float64, n), pcm.Planes(3, n)
		for i := range shift {
			shift[i] = 0.37 + step*float64(i)
		}
		k.Shift(dst, src, around, shift)
		worst := 0.0
		for c := range dst {
			for i, v := range dst[c] {
				worst = math.Max(worst, math.Abs(v-s.at(float64(around+i+100*c)+shift[i])))
			}
		}
		if pcm.DB(worst) > -140 {
			t.Errorf("%v a frame: the largest error is %.1f dBFS", step, pcm.DB(worst))
		}
	}
}

func TestMirroredShiftsHaveMirroredResponses(t *testing.T) {
	k := kernel(t, interpolate.Config{})
	for f := 0.0; f <= 1; f += 0.05 {
		for _, shift := range []float64{0.5, 0.3, 0.123456} {
			there, back := response(k, shift, f), response(k, -shift, f)
			if d := cmplx.Abs(there - cmplx.Conj(back)); d > 1e-13 {
				t.Errorf("shift ±%v at %.2f of Nyquist: differ by %v", shift, f, d)
			}
		}
	}
}

// tones is a sum of sines evaluated in closed form: the truth that owes nothing to an interpolator.
type tones struct{ freq, amp, phase []float64 } // freq in fractions of Nyquist

func (s tones) at(frame float64) float64 {
	sum := 0.0
	for i, f := range s.freq {
		sum += s.amp[i] * math.Sin(math.Pi*f*frame+s.phase[i])
	}
	return sum
}

func chord() tones {
	var s tones
	for i := range 40 {
		s.freq = append(s.freq, 0.002+0.898*float64(i)/39)
		s.amp = append(s.amp, 1.0/40)
		s.phase = append(s.phase, math.Mod(float64(i*i)*1.7, 2*math.Pi))
	}
	return s
}

func clipOf(s tones, frames int) pcm.Clip {
	c := pcm.NewClip(48000, 1, frames)
	for i := range frames {
		c.Channels[0][i] = s.at(float64(i))
	}
	return c
}

func TestStreamAgreesWithClosedForm(t *testing.T) {
	s := chord()
	k := kernel(t, interpolate.Config{})
	c := clipOf(s, 6000)
	stream := interpolate.NewStream(k, c)
	worst := 0.0
	for from := 200; from < 5600; from += 257 { // uneven blocks: the seams must not show
		n := min(257, 5600-from)
		shift := make([]float64, n)
		for i := range shift {
			shift[i] = 50.3*math.Sin(float64(from+i)/900) + 1e-4*float64(from+i)
		}
		dst := pcm.Planes(1, n)
		if err := stream.Read(dst, from, shift); err != nil {
			t.Fatal(err)
		}
		for i, v := range dst[0] {
			worst = math.Max(worst, math.Abs(v-s.at(float64(from+i)+shift[i])))
		}
	}
	// 40 components of 1/40 each err by less than −140 dB of 1/40: even in step they reach 1e−7.
	if pcm.DB(worst) > -140 {
		t.Errorf("worst sample error %.1f dBFS, want below −140", pcm.DB(worst))
	}
}

func TestZeroShiftReturnsTheSamplesBitExact(t *testing.T) {
	c := clipOf(chord(), 1000)
	stream := interpolate.NewStream(kernel(t, interpolate.Config{}), c)
	dst := pcm.Planes(1, 1000)
	for _, whole := range []int{0, 3, -7} {
		shift := make([]float64, 1000)
		for i := range shift {
			shift[i] = float64(whole)
		}
		if err := stream.Read(dst, 0, shift); err != nil {
			t.Fatal(err)
		}
		for i, v := range dst[0] {
			want := 0.0
			if at := i + whole; at >= 0 && at < 1000 {
				want = c.Channels[0][at]
			}
			if v != want {
				t.Fatalf("shift %d, frame %d: %v, want %v", whole, i, v, want)
			}
		}
	}
}

func TestOutsideTheRecordingIsSilence(t *testing.T) {
	stream := interpolate.NewStream(kernel(t, interpolate.Config{}), clipOf(chord(), 500))
	dst := pcm.Planes(1, 3)
	for _, first := range []int{-100000, 100000} {
		if err := stream.Read(dst, first, []float64{0.5, 0.5, 0.5}); err != nil || dst[0][1] != 0 {
			t.Errorf("at frame %d: %v, error %v", first, dst[0], err)
		}
	}
}

func TestShiftAHairBelowAWholeFrame(t *testing.T) {
	c := clipOf(chord(), 500)
	stream := interpolate.NewStream(kernel(t, interpolate.Config{}), c)
	dst := pcm.Planes(1, 1)
	if err := stream.Read(dst, 250, []float64{-1e-20}); err != nil || dst[0][0] != c.Channels[0][250] {
		t.Errorf("got %v, error %v", dst[0][0], err)
	}
}

func TestConfigOutOfRangeIsNamed(t *testing.T) {
	for _, cfg := range []interpolate.Config{{Pass: 1.2}, {Pass: -0.1}, {Pass: 0.9, Stop: 0.8}, {Stop: 1.5}, {ErrorDB: 3}, {ErrorDB: -150}, {Pass: math.NaN()}} {
		if _, err := interpolate.New(cfg); err == nil {
			t.Errorf("%+v was accepted", cfg)
		}
	}
}

func BenchmarkShift(b *testing.B) {
	for _, c := range []struct {
		name string
		cfg  interpolate.Config
	}{{"transparent", interpolate.Config{}}, {"stopped at Nyquist", stopped}, {"20kHz@96k", interpolate.Config{Pass: 20.0 / 48}}} {
		b.Run(c.name, func(b *testing.B) {
			k := kernel(b, c.cfg)
			const n = 4096
			src, dst := pcm.Planes(2, n+4*k.Half()), pcm.Planes(2, n)
			shift := make([]float64, n)
			for i := range shift {
				shift[i] = 1e-4 * float64(i)
			}
			b.SetBytes(2 * 8 * n)
			for b.Loop() {
				k.Shift(dst, src, 2*k.Half(), shift)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/stereo-frame")
		})
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		kernel(b, interpolate.Config{})
	}
}
