package measure_test

import (
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/playback/pcm"
)

// step is a stretch of a 1 kHz sine: its length and its peak level in dB for each channel.
type step struct {
	seconds float64
	db      []float64
}

func both(seconds, db float64) step { return step{seconds, []float64{db, db}} }

func steps(rate pcm.Rate, list ...step) pcm.Clip {
	total := 0.0
	for _, s := range list {
		total += s.seconds
	}
	c := pcm.NewClip(rate, len(list[0].db), int(math.Round(total*rate.Hz())))
	at := 0
	for _, s := range list {
		n := int(math.Round(s.seconds * rate.Hz()))
		for k, ch := range c.Channels {
			for i := at; i < at+n && i < len(ch); i++ {
				ch[i] = pcm.Ratio(s.db[k]) * math.Sin(2*math.Pi*1000*float64(i)/rate.Hz())
			}
		}
		at += n
	}
	return c
}

func repeat(n int, list ...step) []step {
	var out []step
	for range n {
		out = append(out, list...)
	}
	return out
}

// ref: EBU Tech 3341 (2023) table 1, tolerance ±0.1 LU. The levels of cases 6, 9 and 12 come from memory; those of 9
// and 12 agree with the expected value by arithmetic.
func TestLoudnessOfTheEBUSignals(t *testing.T) {
	for _, rate := range []pcm.Rate{44100, 48000, 96000} {
		for i, c := range []struct {
			name  string
			steps []step
			want  float64
		}{
			{"1: steady", []step{both(20, -23)}, -23},
			{"2: steady, quiet", []step{both(20, -33)}, -33},
			{"3: relative gate", []step{both(10, -36), both(60, -23), both(10, -36)}, -23},
			{"4: both gates", []step{both(10, -72), both(10, -36), both(60, -23), both(10, -36), both(10, -72)}, -23},
			{"5: no gate", []step{both(20, -26), both(20.1, -20), both(20, -26)}, -23},
			{"6: five channels", []step{{20, []float64{-28, -28, -24, -30, -30}}}, -23},
		} {
			if rate != 48000 && i%5 != 0 {
				continue // the gates see tenths of seconds and know no rate: one short case and case 6 will do
			}
			got, err := measure.Loudness(steps(rate, c.steps...))
			if err != nil || math.Abs(got.IntegratedLUFS-c.want) > 0.1 {
				t.Errorf("%d Hz, case %s: %.3f LUFS, want %.1f, error %v", rate, c.name, got.IntegratedLUFS, c.want, err)
			}
		}
	}
}

func TestMomentaryAndShortTermOfTheEBUSignals(t *testing.T) {
	const inMomentary, inShort = 4, 30 // tenths of a second
	meter := func(list []step) *measure.LoudnessMeter {
		clip := steps(48000, list...)
		m := measure.NewLoudnessMeter(clip.Format())
		m.Write(clip.Channels)
		return m
	}
	for i, l := range meter(repeat(5, both(1.34, -20), both(1.66, -30))).InLUFS(inShort) {
		if math.Abs(l+23) > 0.1 {
			t.Errorf("case 9: short-term %.3f at step %d, want −23.0", l, i)
		}
	}
	for i, l := range meter(repeat(25, both(.18, -20), both(.22, -30))).InLUFS(inMomentary) {
		if i >= 6 && math.Abs(l+23) > 0.1 { // constant after 1 s
			t.Errorf("case 12: momentary %.3f at step %d, want −23.0", l, i)
		}
	}
}

// Cases 7 and 8 are programme material and cannot be made; of 20 to 23 see TestTruePeakOfABurstBetweenTheSamples.
//
// ref: EBU Tech 3341 cases 10, 11, 13, 14, ±0.1 LU: the greatest short-term and momentary loudness of a tone just as long as the
// window, wherever it begins. The expected values were read; the lengths of the silences come from memory.
func TestMaximaOfTheEBUSignals(t *testing.T) {
	silent := math.Inf(-1)
	for _, rate := range []pcm.Rate{44100, 48000} {
		for i := range 20 {
			if rate != 48000 && i%5 != 3 {
				continue
			}
			step := float64(i)
			short := steps(rate, both(0.15*step, silent), both(3, -23), both(1, silent))
			if got, _ := measure.Loudness(short); math.Abs(got.MaxShortTermLUFS+23) > 0.1 {
				t.Errorf("%d Hz, case 10-%d: %.3f, want −23.0", rate, i+1, got.MaxShortTermLUFS)
			}
			momentary := steps(rate, both(0.02*step, silent), both(0.4, -23), both(1, silent))
			if got, _ := measure.Loudness(momentary); math.Abs(got.MaxMomentaryLUFS+23) > 0.1 {
				t.Errorf("%d Hz, case 13-%d: %.3f, want −23.0", rate, i+1, got.MaxMomentaryLUFS)
			}
		}
	}
	format := pcm.Format{Rate: 48000, Channels: 2, Float: true}
	short, momentary := measure.NewLoudnessMeter(format), measure.NewLoudnessMeter(format)
	for i := range 20 {
		step, want := float64(i), float64(i)-38
		short.Write(steps(48000, both(0.15*step, silent), both(3, want), both(3-0.15*step, silent)).Channels)
		if got := short.Reading().MaxShortTermLUFS; math.Abs(got-want) > 0.1 {
			t.Errorf("case 11, step %d: %.3f, want %.1f", i+1, got, want)
		}
		momentary.Write(steps(48000, both(0.02*step, silent), both(0.4, want), both(0.4-0.02*step, silent)).Channels)
		if got := momentary.Reading().MaxMomentaryLUFS; math.Abs(got-want) > 0.1 {
			t.Errorf("case 14, step %d: %.3f, want %.1f", i+1, got, want)
		}
	}
}

// ref: EBU Tech 3342 cases 1 to 4: 20 s each of the levels give 10, 5, 20 and 15 LU, ±1 LU; the levels come from memory.
func TestLoudnessRangeOfTheEBUSignals(t *testing.T) {
	for _, c := range []struct {
		levels []float64
		want   float64
	}{
		{[]float64{-20, -30}, 10}, {[]float64{-20, -15}, 5}, {[]float64{-40, -20}, 20},
		{[]float64{-50, -35, -20, -35, -50}, 15},
	} {
		var list []step
		for _, l := range c.levels {
			list = append(list, both(20, l))
		}
		got, err := measure.Loudness(steps(48000, list...))
		if err != nil || math.Abs(got.RangeLU-c.want) > 1 {
			t.Errorf("levels %v: %.2f LU, want %v, error %v", c.levels, got.RangeLU, c.want, err)
		}
	}
}

// ref: BS.1770-5 annex 1: a 0 dBFS 997 Hz sine in one channel reads −3.01 LKFS.
func TestLoudnessOfOneFullScaleChannel(t *testing.T) {
	for rate, tol := range map[pcm.Rate]float64{
		44100: 0.002, 48000: 0.001, 192000: 0.006, // measured: 0.0054
		// The Recommendation knows 48 kHz only; the bilinear transform bends the shelf where its upper end
		// comes near half the rate. Measured: 0.021 and 0.104.
		22050: 0.03, 11025: 0.12,
	} {
		c := pcm.NewClip(rate, 1, 4*int(rate))
		for i := range c.Channels[0] {
			c.Channels[0][i] = math.Sin(2 * math.Pi * 997 * float64(i) / rate.Hz())
		}
		got, err := measure.Loudness(c)
		if err != nil || math.Abs(got.IntegratedLUFS+3.0103) > tol {
			t.Errorf("%d Hz: %.4f, want −3.01, error %v", rate, got.IntegratedLUFS, err)
		}
	}
}

func TestSilenceAndShortClipsHaveNoLoudness(t *testing.T) {
	for name, c := range map[string]pcm.Clip{
		"silence": pcm.NewClip(48000, 2, 96000), "300 ms": steps(48000, both(.3, -20)),
	} {
		got, err := measure.Loudness(c)
		if err != nil || !math.IsNaN(got.IntegratedLUFS) || !math.IsNaN(got.RangeLU) {
			t.Errorf("%s: %+v, error %v", name, got, err)
		}
	}
}

// ref: EBU Tech 3341 cases 15 to 19, tolerance +0.2/−0.4 dB, 48 kHz. The phases of 17 and 18 were read from one list.
func TestTruePeakOfTheEBUSignals(t *testing.T) {
	for _, c := range []struct {
		name                    string
		part, peak, phase, want float64
	}{
		{"15", 4, 0.5, 0, -6}, {"16", 4, 0.5, 45, -6}, {"17", 6, 0.5, 60, -6}, {"18", 8, 0.5, 67.5, -6}, {"19", 4, 1.41, 45, 3},
	} {
		clip := pcm.NewClip(48000, 1, 48000)
		for i := range clip.Channels[0] {
			// Faded at both ends: a sine that starts at once truly peaks higher.
			fade := min(1, float64(min(i, 47999-i))/4800)
			clip.Channels[0][i] = fade * c.peak * math.Sin(2*math.Pi*(float64(i)/c.part+c.phase/360))
		}
		got, err := measure.TruePeak(clip)
		if err != nil || got.DBTP > c.want+0.2 || got.DBTP < c.want-0.4 {
			t.Errorf("case %s: %.3f dBTP, want %.1f, error %v", c.name, got.DBTP, c.want, err)
		}
	}
}

// ref: EBU Tech 3341 cases 20 to 23, +0.2/−0.4 dB: a burst whose peak, 0 dBTP, lies at none to three quarters between two samples.
// The standard's own recipe could not be read; this one is a sine of fs/6 at half of full scale with a Gaussian swell to full
// scale, which holds nothing above half the rate to speak of (e^−17), so that the peak is exactly where it is put.
func TestTruePeakOfABurstBetweenTheSamples(t *testing.T) {
	for quarter := range 4 {
		clip := pcm.NewClip(48000, 1, 4800)
		for i := range clip.Channels[0] {
			at := float64(i) - 2400 - float64(quarter)/4
			fade := min(1, float64(min(i, 4799-i))/480)
			clip.Channels[0][i] = fade * (0.5 + 0.5*math.Exp(-at*at/16)) * math.Cos(2*math.Pi*at/6)
		}
		got, err := measure.TruePeak(clip)
		if err != nil || got.DBTP > 0.2 || got.DBTP < -0.4 {
			t.Errorf("as case %d: %.3f dBTP, want 0.0, error %v", 20+quarter, got.DBTP, err)
		}
	}
}

func TestTruePeakOfHighTonesAtEveryRate(t *testing.T) {
	for _, rate := range []pcm.Rate{44100, 48000, 96000, 192000} {
		for _, f := range []float64{1000, 10007, 19997} {
			clip := pcm.NewClip(rate, 2, int(rate)/2)
			for i := range clip.Channels[0] {
				fade := min(1, float64(min(i, clip.Len()-1-i))/rate.Hz()*20)
				clip.Channels[1][i] = fade * 0.8 * math.Sin(2*math.Pi*f*float64(i)/rate.Hz())
			}
			got, err := measure.TruePeak(clip)
			want := pcm.DB(0.8)
			if err != nil || math.Abs(got.DBTP-want) > 0.13 || !math.IsInf(got.Channel[0], -1) {
				t.Errorf("%d Hz, tone %v: %.4f dBTP, want %.4f, error %v", rate, f, got.DBTP, want, err)
			}
		}
	}
}

func TestTruePeakDoesNotDependOnTheBlocks(t *testing.T) {
	clip := steps(48000, both(.2, -3), both(.2, -20), both(.1, -1))
	whole, _ := measure.TruePeak(clip)
	m := measure.NewTruePeakMeter(clip.Format())
	for at, n := 0, 1; at < clip.Len(); at, n = at+n, n*3%977+1 {
		n = min(n, clip.Len()-at)
		m.Write(clip.Slice(at, at+n).Channels)
		m.Reading()
	}
	if got := m.Reading(); got.DBTP != whole.DBTP {
		t.Errorf("in pieces %v, whole %v", got.DBTP, whole.DBTP)
	}
}

func BenchmarkLoudness(b *testing.B) { benchmark(b, func(c pcm.Clip) { measure.Loudness(c) }) }
func BenchmarkTruePeak(b *testing.B) { benchmark(b, func(c pcm.Clip) { measure.TruePeak(c) }) }

func benchmark(b *testing.B, run func(pcm.Clip)) {
	clip := steps(96000, both(10, -20))
	b.SetBytes(int64(clip.Len() * 2 * 3))
	for b.Loop() {
		run(clip)
	}
}
