package jitter_test

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure"
	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

var full = flag.Bool("full", false, "widen the grids of simulated captures")

// Hum that modulates the amplitude, a tone next to the carrier, and a real line of time error, together.
func TestAmplitudeAndAdditiveLinesAreNoJitter(t *testing.T) {
	c := base()
	c.AM = []jittertest.Sine{{Hz: 100, Peak: 1e-4}}
	c.Added = []jittertest.Sine{{Hz: 12000.5 + 3000, Peak: 0.7e-5}, {Hz: 12000.5 - 5000, Peak: 0.7e-5}}
	c.Jitter = []jittertest.Sine{{Hz: 700, Peak: 400e-12}}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].OffsetHz-700) > 0.01 {
		t.Errorf("jitter lines %+v, want the one at 700 Hz", ch.Lines)
	}
	want := []jitter.AMLine{{OffsetHz: 100, DepthDBc: -86.0206}, {OffsetHz: 3000, DepthDBc: -100, OneSided: 1}, {OffsetHz: 5000, DepthDBc: -100, OneSided: -1}}
	if len(ch.AMLines) != len(want) {
		t.Fatalf("amplitude lines %+v, want %+v", ch.AMLines, want)
	}
	for i, l := range ch.AMLines {
		if math.Abs(l.OffsetHz-want[i].OffsetHz) > 0.01 || math.Abs(l.DepthDBc-want[i].DepthDBc) > 0.15 || l.OneSided != want[i].OneSided {
			t.Errorf("amplitude line %+v, want %+v", l, want[i])
		}
	}
}

func TestAmplitudeAndPhaseOfOneRateAreParted(t *testing.T) {
	for _, phase := range []float64{0, 1, 2.5} {
		c := base()
		c.Jitter = []jittertest.Sine{{Hz: 100, Peak: 1e-9}} // 7.54e-5 rad
		c.AM = []jittertest.Sine{{Hz: 100, Peak: 2e-5, Phase: phase}}
		ch := measureClips(t, jitter.Config{}, c).Channel[0]
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs/1000-1) > 0.0116 {
			t.Errorf("phase %v: lines %+v, want 1000 ps at 100 Hz", phase, ch.Lines)
		}
		if len(ch.AMLines) != 1 || math.Abs(ch.AMLines[0].DepthDBc+100) > 0.2 {
			t.Errorf("phase %v: amplitude lines %+v, want −100 dBc", phase, ch.AMLines)
		}
	}
}

// Large jitter has sidebands of many orders; all belong to one line.
func TestBesselProductsAreNoLines(t *testing.T) {
	c := base()
	c.Jitter = []jittertest.Sine{{Hz: 500, Peak: 1e-6}}
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if len(ch.Lines) != 1 || len(ch.AMLines) != 0 || math.Abs(ch.Lines[0].PeakPs/1e6-1) > 1e-4 {
		t.Errorf("lines %+v, amplitude lines %+v; want 1 µs at 500 Hz alone", ch.Lines, ch.AMLines)
	}
}

// A steady clock, however far off, does not wander: what a slope leaves of the means is noise.
func TestClockOffsetIsNoWander(t *testing.T) {
	c := base()
	c.NoiseDBFS, c.CarrierHz = -140, 12000*(1+200e-6)
	if ch := measureClips(t, jitter.Config{}, c).Channel[0]; ch.WanderPs > 0.1 {
		t.Errorf("a clock 200 ppm off wanders by %.3f ps RMS", ch.WanderPs)
	}
}

func TestClockOffsetAndDriftDoNotSmearLines(t *testing.T) {
	for _, c := range []struct{ offsetPPM, driftPPM float64 }{{-200, 0}, {200, 0}, {50, 200}, {0, -200}} {
		x := base()
		x.CarrierHz = 12000 * (1 + c.offsetPPM*1e-6)
		x.DriftPPM = c.driftPPM
		x.Jitter = []jittertest.Sine{{Hz: 12, Peak: 300e-12}, {Hz: 300, Peak: 100e-12}}
		r := measureClips(t, jitter.Config{}, x)
		ch := r.Channel[0]
		if math.Abs(r.FrequencyOffsetPPM-c.offsetPPM) > 0.05 || math.Abs(ch.DriftPPM-c.driftPPM) > 1 {
			t.Errorf("offset %.3f and drift %.3f ppm, want %v and %v", r.FrequencyOffsetPPM, ch.DriftPPM, c.offsetPPM, c.driftPPM)
		}
		if len(ch.Lines) != 2 {
			t.Errorf("%+v: lines %+v, want two", c, ch.Lines)
			continue
		}
		for i, want := range []float64{300, 100} {
			if l := ch.Lines[i]; math.Abs(l.PeakPs-want) > max(0.0116*want, 3*l.PeakSEPs) {
				t.Errorf("%+v: %+v, want %v ps", c, l, want)
			}
		}
	}
}

func TestNothingBelowTheFloorIsReported(t *testing.T) {
	c := base()
	c.NoiseDBFS = -100
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 1, 10, 9600
	ch := measureClips(t, jitter.Config{}, c).Channel[0]
	if !ch.RandomAtFloor || !math.IsNaN(ch.RandomPs) || ch.RandomLimitPs < 1 || ch.RandomLimitPs > ch.RawPs {
		t.Errorf("1 ps under −100 dBFS of noise: %+v", ch)
	}
}

func TestAgainstFloor(t *testing.T) {
	c := base()
	c.Jitter = []jittertest.Sine{{Hz: 100, Peak: 100e-12}, {Hz: 1000, Peak: 50e-12}}
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 40, 10, 9600
	floor := measureClips(t, jitter.Config{}, c)
	c.Seed, c.Jitter[0].Peak = 2, 300e-12
	near, err := measureClips(t, jitter.Config{}, c).AgainstFloor(floor)
	if err != nil {
		t.Fatal(err)
	}
	ch := near.Channel[0]
	if !ch.RandomAtFloor || !math.IsNaN(ch.RandomPs) || ch.RandomLimitPs < 40 {
		t.Errorf("the floor's own jitter is no figure: %+v", ch)
	}
	if len(ch.Lines) != 2 || ch.Lines[0].AtFloor || !ch.Lines[1].AtFloor || math.Abs(ch.DeterministicPs-212.13) > 2.5 {
		t.Errorf("lines %+v, %.2f ps; only the first is above the floor", ch.Lines, ch.DeterministicPs)
	}
	c.RandomPs = 80
	if far, _ := measureClips(t, jitter.Config{}, c).AgainstFloor(floor); far.Channel[0].RandomAtFloor || math.Abs(far.Channel[0].RandomPs-80) > 3 {
		t.Errorf("twice the floor's jitter: %+v", far.Channel[0])
	}
}

func TestChannelsSeparateCommonJitterFromTheirOwn(t *testing.T) {
	a := base()
	a.RandomPs, a.RandomLowHz, a.RandomHighHz = 100, 10, 9600
	b := a
	b.Amplitude, b.NoiseDBFS = -0.5, 0 // one seed: noise in both would be the same noise
	clip := jittertest.Clip(a, b)
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Common == nil || math.Abs(r.Common.RandomPs-100) > 3 || math.Abs(r.Common.Correlation-1) > 0.02 {
		t.Errorf("one clock: %+v", r.Common)
	}
	b.Seed, b.NoiseDBFS = 9, -120
	if r = measureClips(t, jitter.Config{}, a, b); r.Common == nil || r.Common.RandomPs > 15 || math.Abs(r.Common.Correlation) > 0.03 {
		t.Errorf("two clocks: %+v", r.Common)
	}
}

// The recorder's clock is in both channels: common jitter within 3 dB of the floor's is an upper bound.
func TestCommonJitterIsReadAgainstTheFloor(t *testing.T) {
	a := base()
	a.RandomPs, a.RandomLowHz, a.RandomHighHz = 100, 10, 9600
	shared := func(ps float64) jitter.Result {
		a.RandomPs = ps
		b := a
		b.Amplitude, b.NoiseDBFS = 0.5, 0
		return measureClips(t, jitter.Config{}, a, b)
	}
	floor := shared(100)
	one := floor
	one.Channel, one.Common = one.Channel[:1], nil
	for _, f := range []jitter.Result{floor, one} {
		near, err := shared(120).AgainstFloor(f)
		if err != nil {
			t.Fatal(err)
		}
		if c := near.Common; !c.AtFloor || !math.IsNaN(c.RandomPs) || c.LimitPs < 119 || !math.IsNaN(c.Correlation) {
			t.Errorf("1.2 times the floor's: %+v", c)
		}
		far, err := shared(200).AgainstFloor(f)
		if err != nil {
			t.Fatal(err)
		}
		// 200 ps to three standard errors, 0.6 %; the floor's 100 ps is its limit.
		if c := far.Common; c.AtFloor || math.Abs(c.RandomPs-200) > 1.2 || math.Abs(c.LimitPs-100) > 1 {
			t.Errorf("twice the floor's: %+v", c)
		}
	}
}

// Noise that is added to both channels is no jitter, common or not; jitter beyond rate/2 − f₀, which folds back as amplitude and phase,
// makes no correlation of the channels above 1.
func TestWhatIsNoJitterIsNoCommonJitter(t *testing.T) {
	a := base()
	a.NoiseDBFS = 0
	a.RandomPs, a.RandomLowHz, a.RandomHighHz = 20, 10, 9600
	b := a
	b.Seed = 9
	clip := jittertest.Clip(a, b)
	random := rand.New(rand.NewPCG(21, 22))
	for i := range clip.Len() { // −95 dBFS: some 180 ps of phase noise
		added := pcm.RMSOf(-95) * random.NormFloat64()
		clip.Channels[0][i] += added
		clip.Channels[1][i] += added
	}
	r, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Channel[0].RawPs < 100 || r.Common == nil || !r.Common.AtFloor {
		t.Errorf("noise in both: %.1f ps of phase noise, common %+v", r.Channel[0].RawPs, r.Common)
	}
	a = base()
	a.RandomPs, a.RandomLowHz, a.RandomHighHz = 1000, 10, 20000
	b = a
	b.Amplitude, b.NoiseDBFS = 0.5, 0
	if r, err = jitter.Measure(jittertest.Clip(a, b), jitter.Config{}); err != nil {
		t.Fatal(err)
	}
	if r.Channel[0].AdditivePs < 100 || math.Abs(r.Common.Correlation-1) > 0.01 {
		t.Errorf("folded jitter: %.1f ps of amplitude noise, common %+v", r.Channel[0].AdditivePs, r.Common)
	}
}

// Gain, polarity, delay and the order of channels change nothing; twice the dose is twice the figure.
func TestFiguresFollowOnlyTheJitter(t *testing.T) {
	c := base()
	c.NoiseDBFS = 0 // additive noise would change with gain relative to the tone
	c.Jitter = []jittertest.Sine{{Hz: 440, Peak: 150e-12}}
	c.RandomPs, c.RandomLowHz, c.RandomHighHz = 50, 10, 9600
	clip := jittertest.Clip(c)
	plain, err := jitter.Measure(clip, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	want := plain.Channel[0]
	changed := pcm.NewClip(48000, 2, clip.Len()+48000)
	for i, v := range clip.Channels[0] {
		changed.Channels[1][i+48000] = -0.1 * v
	}
	r, err := jitter.Measure(changed, jitter.Config{})
	if err != nil {
		t.Fatal(err)
	}
	got := r.Channel[1]
	// Trimming takes other milliseconds of the same noise: the scatter of the two is far below their standard error.
	if math.Abs(got.RandomPs-want.RandomPs) > want.RandomSEPs || math.Abs(got.DeterministicPs-want.DeterministicPs) > want.Lines[0].PeakSEPs {
		t.Errorf("inverted, quieter, later, on channel 2: %.3f and %.3f ps, want %.3f and %.3f", got.RandomPs, got.DeterministicPs, want.RandomPs, want.DeterministicPs)
	}
	c.Jitter[0].Peak *= 2
	c.RandomPs *= 2
	twice := measureClips(t, jitter.Config{}, c).Channel[0]
	if math.Abs(twice.RandomPs/want.RandomPs-2) > 1e-3 || math.Abs(twice.DeterministicPs/want.DeterministicPs-2) > 1e-3 {
		t.Errorf("twice the dose: %.3f and %.3f ps, was %.3f and %.3f", twice.RandomPs, twice.DeterministicPs, want.RandomPs, want.DeterministicPs)
	}
}

// Two lines 1.2 over the capture's length apart are two, whatever their phases.
func TestClosePairsAreResolvedToTheLimitOfTheCapture(t *testing.T) {
	for _, apart := range []float64{1.2, 1.5} {
		for _, phase := range []float64{0, 1.5, 3} {
			c := base()
			c.Seconds = 5
			c.Jitter = []jittertest.Sine{{Hz: 1234.5, Peak: 200e-12, Phase: phase}, {Hz: 1234.5 + apart/c.Seconds, Peak: 100e-12}}
			lines := measureClips(t, jitter.Config{}, c).Channel[0].Lines
			if len(lines) != 2 {
				t.Errorf("%.1f bins, phase %v: lines %+v, want two", apart, phase, lines)
				continue
			}
			for i, l := range lines {
				want := c.Jitter[i].Peak * 1e12
				if math.Abs(l.PeakPs-want) > max(0.0116*want, 3*l.PeakSEPs) || math.Abs(l.OffsetHz-c.Jitter[i].Hz) > 0.01/c.Seconds {
					t.Errorf("%.1f bins, phase %v: %+v, want %.0f ps at %.3f Hz", apart, phase, l, want, c.Jitter[i].Hz)
				}
			}
		}
	}
}

// The jitter of a free-running oscillator is a random walk: its density falls as 1/f² and leaves no false lines.
//
// Steps of σ at a rate R have the one-sided density 2σ²R/(2πf)² far below R, and 2σ²R/4π²·(1/low − 1/high) in a band.
func TestSteepNoiseIsNoLine(t *testing.T) {
	const step, captures = 1e-10, 8
	power, lines := 0.0, 0
	for seed := range uint64(captures) {
		random := rand.New(rand.NewPCG(seed, 9))
		clip := pcm.NewClip(48000, 1, 240000)
		walk := 0.0
		for i := range clip.Channels[0] {
			walk += step * random.NormFloat64()
			clip.Channels[0][i] = 0.7*math.Sin(2*math.Pi*12000.5*(float64(i)/48000+walk)) + 1e-6*random.NormFloat64()
		}
		r, err := jitter.Measure(clip, jitter.Config{})
		if err != nil {
			t.Fatal(err)
		}
		power += r.Channel[0].RandomPs * r.Channel[0].RandomPs / captures
		lines += len(r.Channel[0].Lines) + len(r.Channel[0].AMLines)
	}
	want := 1e12 * step * math.Sqrt(2*48000*(1./10-1./9600)) / (2 * math.Pi)
	// ∫S²/(∫S)² over 10 Hz to infinity is 1/30 Hz: one capture of 5 s scatters by √(1/150) = 8 % in power, eight by 3 %.
	if math.Abs(power/(want*want)-1) > 0.12 || lines > 0 {
		t.Errorf("%.1f ps and %d lines, want %.1f ps and none", math.Sqrt(power), lines, want)
	}
}

// A capture begins and ends with silence, and a player that starts and stops clicks: the tone, which begins between two
// samples, shows no line that its middle does not have.
func TestSilenceAndClicksAtTheEndsLeaveNoTrace(t *testing.T) {
	c := base()
	c.Jitter = []jittertest.Sine{{Hz: 440, Peak: 150e-12}}
	c.Seconds, c.NoiseDBFS = 12, -130
	clean := c.Samples()
	silent := jittertest.Capture{Rate: 48000, Seconds: 12, CarrierHz: 1, NoiseDBFS: -130, Seed: 7}.Samples()
	// A little silence hides best: the first twentieth of a second is then nearly as loud as the rest.
	for _, ends := range [][2]float64{{4411.37, 530021.6}, {301.9, 575700.2}, {55.5, 575990.5}, {2399.5, 573600.5}} {
		tone := slices.Clone(clean)
		for i := range tone {
			if at := float64(i); at < ends[0] || at > ends[1] {
				tone[i] = silent[i]
			}
		}
		for _, at := range []int{int(ends[0]) - 40, int(ends[0]), int(ends[1]) + 1} {
			tone[at], tone[at+1] = 0.9, -0.4
		}
		r, err := jitter.Measure(pcm.Clip{Rate: 48000, Channels: [][]float64{tone}}, jitter.Config{})
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Channel[0]
		// Up to three blocks of 50 ms are left out at either end, and up to 12 % where what folds cancels in a shorter record.
		least := 0.88 * ((ends[1]-ends[0])/48000 - 0.3)
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs-150) > 1.75 || len(ch.AMLines) != 0 || !ch.RandomAtFloor || len(r.Texts) != 0 || r.Seconds < least {
			t.Errorf("ends %v, %.2f s: %+v, warnings %q", ends, r.Seconds, ch, r.Texts)
		}
	}
}

// A relay that clicks in the silence before and after a quiet tone, far louder than it, is no part of the tone; nor is a
// sample that no recorder makes.
func TestLoudClicksNextToAQuietToneLeaveNoTrace(t *testing.T) {
	c := base()
	c.Jitter = []jittertest.Sine{{Hz: 440, Peak: 2e-9}}
	c.Seconds, c.NoiseDBFS = 12, -130
	for _, loud := range []float64{0.9, 1e30} {
		tone := c.Samples()
		for i := range tone {
			tone[i] /= 150
			if i < 48000 || i > 11*48000 {
				tone[i] *= 1e-4
			}
		}
		for _, at := range []int{12000, 11*48000 + 20000} {
			for i := range 2500 { // in three blocks at the most
				tone[at+i] = loud * math.Exp(-float64(i)/500) * math.Sin(float64(i))
			}
		}
		r, err := jitter.Measure(pcm.Clip{Rate: 48000, Channels: [][]float64{tone}}, jitter.Config{})
		if err != nil {
			t.Errorf("clicks of %g: %v", loud, err)
			continue
		}
		ch := r.Channel[0]
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs-2000) > 23 || r.Seconds < 9.7 || r.Seconds > 10 {
			t.Errorf("clicks of %g, %.2f s: %+v, warnings %q", loud, r.Seconds, ch, r.Texts)
		}
	}
	tone := c.Samples()
	tone[300000] = 1e30
	if r, err := jitter.Measure(pcm.Clip{Rate: 48000, Channels: [][]float64{tone}}, jitter.Config{}); err == nil && len(r.Texts) == 0 {
		t.Error("a sample of 1e30 amid the tone: neither error nor warning")
	}
}

func TestFaultsAreRefusedOrWarned(t *testing.T) {
	noise := jittertest.Capture{Rate: 48000, Seconds: 3, CarrierHz: 1, NoiseDBFS: -20}
	for name, clip := range map[string]pcm.Clip{
		"silence": pcm.NewClip(48000, 2, 100000), "empty": pcm.NewClip(48000, 1, 0), "noise": jittertest.Clip(noise),
	} {
		if _, err := jitter.Measure(clip, jitter.Config{}); !errors.Is(err, jitter.ErrNoTone) {
			t.Errorf("%s: %v, want ErrNoTone", name, err)
		}
	}
	short := base()
	short.Seconds = 0.2
	if _, err := jitter.Measure(jittertest.Clip(short), jitter.Config{}); !errors.Is(err, jitter.ErrShort) {
		t.Errorf("0.2 s: %v, want ErrShort", err)
	}
	clean := jittertest.Clip(base())
	dropped := clean.Clone()
	ch := dropped.Channels[0]
	dropped.Channels[0] = append(ch[:200000], ch[200101:]...)
	if r, err := jitter.Measure(dropped, jitter.Config{}); err != nil || !r.Warned(jitter.LostBlock) {
		t.Errorf("a dropped block: %v, error %v, want a warning", r.Texts, err)
	}
	for want, change := range map[warning.Code]func(i int) float64{
		measure.Clipped:     func(int) float64 { return 1.5 },
		measure.LevelMoves:  func(i int) float64 { return 1 - 0.03*float64(i)/288000 },
		measure.Interrupted: func(i int) float64 { return map[bool]float64{true: 0, false: 1}[i > 240000 && i < 246000] },
	} {
		clip := clean.Clone()
		for i, v := range clip.Channels[0] {
			clip.Channels[0][i] = min(max(v*change(i), -1), 1)
		}
		if r, err := jitter.Measure(clip, jitter.Config{}); err != nil || !r.Warned(want) {
			t.Errorf("%s: warnings %q, error %v", want, r.Texts, err)
		}
	}
	copied := pcm.Clip{Rate: clean.Rate, Channels: [][]float64{clean.Channels[0], clean.Channels[0]}}
	if r, err := jitter.Measure(copied, jitter.Config{}); err != nil || len(r.Texts) != 1 || !r.Warned(measure.IdenticalChannels) {
		t.Errorf("one channel twice: %v, error %v, want one warning", r.Texts, err)
	}
}

// ref: a first-order clock recovery of corner f_c lets jitter through as 1/√(1 + (f/f_c)²): at f_c −3.0103 dB, at
// 10·f_c −20.0432 dB.
func TestTransferFollowsTheClockRecovery(t *testing.T) {
	reference := base()
	reference.Jitter = []jittertest.Sine{{Hz: 50, Peak: 2e-9}, {Hz: 500, Peak: 2e-9}, {Hz: 5000, Peak: 300e-12}}
	reference.RandomPs, reference.RandomLowHz, reference.RandomHighHz = 400, 10, 9600
	output := reference
	output.Seed = 2
	output.Jitter = []jittertest.Sine{{Hz: 50, Peak: 2e-9 / math.Sqrt2}, {Hz: 500, Peak: 2e-9 / math.Sqrt(101)}}
	output.RandomPs = 100
	got, err := jitter.NewTransfer(measureClips(t, jitter.Config{Spectrum: true}, reference), measureClips(t, jitter.Config{Spectrum: true}, output))
	if err != nil {
		t.Fatal(err)
	}
	lines := got.Channel[0].Lines
	if len(lines) != 3 {
		t.Fatalf("lines %+v, want three", lines)
	}
	for i, want := range []float64{3.0103, 20.0432} {
		if l := lines[i]; l.AtLeast || math.Abs(l.AttenuationDB-want) > 3.5*l.AttenuationSE {
			t.Errorf("%+v, want %.4f dB", l, want)
		}
	}
	if l := lines[2]; !l.AtLeast || !math.IsNaN(l.OutputPs) || l.AttenuationDB < 20 {
		t.Errorf("a line that is gone: %+v, want a lower bound", l)
	}
	weighted, weight := 0.0, 0.0
	for _, b := range got.Channel[0].Density {
		w := 1 / (b.AttenuationSE * b.AttenuationSE)
		weighted, weight = weighted+w*b.AttenuationDB, weight+w
	}
	// Four times less random jitter. The mean's standard error is 1/√Σw.
	if mean := weighted / weight; math.Abs(mean-12.0412) > 4/math.Sqrt(weight) {
		t.Errorf("densities fall by %.3f dB, want 12.0412 ± %.3f", mean, 1/math.Sqrt(weight))
	}
}

// Hum, an offset and a second tone far from the carrier lie outside the band and leave no trace in it, also where the recorder runs at
// twice the signal's rate. Nor does what is slower than the band: lines just below it, and a clock that sways and whose frequency is off as
// well. Their side lobes would pass for random jitter.
func TestWhatLiesBelowTheBandLeavesNoTrace(t *testing.T) {
	for _, slow := range []jittertest.Sine{{Hz: 9, Peak: 300e-12}, {Hz: 8.33, Peak: 1e-9}, {Hz: 5, Peak: 20e-9}, {Hz: 2, Peak: 100e-9}, {Hz: 0.5, Peak: 1e-6}, {Hz: 0.21, Peak: 10e-6}} {
		clip := pcm.Clip{Rate: 48000}
		for seed := range 3 {
			c := base()
			c.Seconds, c.NoiseDBFS, c.Seed = 12, -120, uint64(seed)
			c.CarrierHz *= 1 + 100e-6
			c.RandomPs, c.RandomLowHz, c.RandomHighHz = 20, 10, 9600
			slow.Phase = float64(seed)
			c.Jitter = []jittertest.Sine{slow}
			clip.Channels = append(clip.Channels, c.Samples())
		}
		r, err := jitter.Measure(clip, jitter.Config{})
		if err != nil {
			t.Fatal(err)
		}
		for _, ch := range r.Channel {
			// Of 18 figures one exceeds 3.3 standard errors in sixty runs of this test.
			if !(math.Abs(ch.RandomPs-20) < 3.3*ch.RandomSEPs) || len(ch.Lines)+len(ch.AMLines) != 0 {
				t.Errorf("%+v, channel %d: %.2f ± %.2f ps, want 20; lines %+v %+v", slow, ch.Channel, ch.RandomPs, ch.RandomSEPs, ch.Lines, ch.AMLines)
			}
		}
	}
}

func TestWhatLiesOutsideTheBandLeavesNoTrace(t *testing.T) {
	c := base()
	c.Rate, c.NoiseDBFS = 96000, -130
	c.Added = []jittertest.Sine{{Hz: 0, Peak: 0.01, Phase: 1.5}, {Hz: 50, Peak: 1e-3}, {Hz: 23000, Peak: 1e-3}, {Hz: 40000, Peak: 1e-2}}
	c.Jitter = []jittertest.Sine{{Hz: 2000, Peak: 50e-12}}
	r := measureClips(t, jitter.Config{}, c)
	ch := r.Channel[0]
	if r.SignalRateHz != 48000 || len(ch.Lines) != 1 || len(ch.AMLines) != 0 || !ch.RandomAtFloor {
		t.Errorf("signal rate %v, lines %+v, amplitude lines %+v, random %v", r.SignalRateHz, ch.Lines, ch.AMLines, ch.RandomPs)
	}
}

// Lines within 3 dB of the floor's bound the sum of lines: as an upper bound where they are most of it, in addition to it where they are less.
func TestLinesAtTheFloorBoundTheirSum(t *testing.T) {
	lines := func(peaks ...float64) jittertest.Capture {
		c := base()
		for i, ps := range peaks {
			c.Jitter = append(c.Jitter, jittertest.Sine{Hz: []float64{101, 1001, 3001}[i], Peak: ps * 1e-12})
		}
		return c
	}
	for _, c := range []struct {
		floor, chain   []float64
		atFloor        bool
		counted, bound float64 // peaks joined by power
	}{
		{[]float64{1000}, []float64{1100}, true, 0, 1100},
		{[]float64{100, 200}, []float64{100, 250, 100}, true, 0, math.Sqrt(100*100 + 250*250 + 100*100)},
		{[]float64{100}, []float64{100, 250}, false, 250, math.Hypot(100, 250)},
		{[]float64{100}, []float64{200, 250}, false, math.Hypot(200, 250), math.Hypot(200, 250)},
		{nil, []float64{250}, false, 250, 250},
	} {
		r, err := measureClips(t, jitter.Config{}, lines(c.chain...)).AgainstFloor(measureClips(t, jitter.Config{}, lines(c.floor...)))
		if err != nil {
			t.Fatal(err)
		}
		ch := r.Channel[0]
		if ch.DeterministicAtFloor != c.atFloor || c.atFloor != math.IsNaN(ch.DeterministicPs) {
			t.Errorf("%v over a floor of %v: at the floor %v, %v ps", c.chain, c.floor, ch.DeterministicAtFloor, ch.DeterministicPs)
		}
		if !c.atFloor && math.Abs(ch.DeterministicPs*math.Sqrt2/c.counted-1) > 0.005 {
			t.Errorf("%v over a floor of %v: %v ps, want %v", c.chain, c.floor, ch.DeterministicPs, c.counted/math.Sqrt2)
		}
		if bound := ch.DeterministicLimitPs * math.Sqrt2; math.Abs(bound/c.bound-1) > 0.005 {
			t.Errorf("%v over a floor of %v: at most %v ps peak, want %v", c.chain, c.floor, bound, c.bound)
		}
		if want := math.Hypot(ch.RandomLimitPs, ch.DeterministicLimitPs); ch.TotalLimitPs != want {
			t.Errorf("%v over a floor of %v: total at most %v, want %v", c.chain, c.floor, ch.TotalLimitPs, want)
		}
	}
}

func TestTheWorstLineIsOneThatCountsOrABound(t *testing.T) {
	for _, c := range []struct {
		lines       []jitter.Line
		peak, bound float64
	}{
		{nil, math.NaN(), math.NaN()},
		{[]jitter.Line{{PeakPs: 9, Inherent: true}}, math.NaN(), math.NaN()},
		{[]jitter.Line{{PeakPs: 5}, {PeakPs: 7}, {PeakPs: 9, Inherent: true}}, 7, math.NaN()},
		{[]jitter.Line{{PeakPs: 5}, {PeakPs: 3, PeakSEPs: 1, AtFloor: true}}, 5, math.NaN()},
		{[]jitter.Line{{PeakPs: 5}, {PeakPs: 7, PeakSEPs: 1, AtFloor: true}}, math.NaN(), 8.6449}, // the normal distribution's quantile of 95 %
	} {
		peak, bound := jitter.Channel{Lines: c.lines}.WorstLine()
		same := func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) }
		if !same(peak, c.peak) || !same(bound, c.bound) {
			t.Errorf("%+v: %v, at most %v; want %v, %v", c.lines, peak, bound, c.peak, c.bound)
		}
	}
}

// A digital signal without dither is exact but for the rounding of numbers, which makes no lines, neither by itself nor next to a line that
// is much stronger. Folded products of large jitter are kept out by the choice of frequencies.
func TestRoundingMakesNoLines(t *testing.T) {
	const rate = pcm.Rate(44100)
	frequencies, peaks := []float64{250, 997.3}, []float64{10, 1e6}
	if *full {
		frequencies, peaks = []float64{50, 250, rate.Hz() / 48, 997.3}, []float64{10, 1000, 1e5 * math.Sqrt2, 1e6}
	}
	for _, hz := range frequencies {
		for _, ps := range peaks {
			c := jittertest.Capture{Rate: rate, Seconds: 10, CarrierHz: rate.Hz() / 4, Amplitude: 0.5, Jitter: []jittertest.Sine{{Hz: hz, Peak: ps * 1e-12}}}
			r, err := jitter.Measure(pcm.Clip{Rate: rate, Channels: [][]float64{c.Samples()}}, jitter.Config{})
			if err != nil {
				t.Fatal(err)
			}
			ch := r.Channel[0]
			if len(ch.Lines) != 1 || math.Abs(ch.DeterministicPs*math.Sqrt2/ps-1) > 1e-4 || len(ch.AMLines) > 0 {
				t.Errorf("%v, %g ps at %.2f Hz: %d lines, %.6g ps peak by their RMS, amplitude %+v", rate, ps, hz, len(ch.Lines), ch.DeterministicPs*math.Sqrt2, ch.AMLines)
			}
		}
	}
}
