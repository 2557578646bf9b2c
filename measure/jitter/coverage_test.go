package jitter_test

import (
	"maps"
	"math"
	"slices"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// coverage counts how many figures lie within two of their standard errors.
type coverage struct {
	all, within int
	worst       float64
}

type coverages map[string]*coverage

// add counts a figure; more than six errors are a fault whatever the rest does.
func (c coverages) add(t *testing.T, name string, got, se, want float64) {
	t.Helper()
	if c[name] == nil {
		c[name] = &coverage{}
	}
	z := math.Abs(got-want) / se
	c[name].all++
	c[name].worst = max(c[name].worst, z)
	if z <= 2 {
		c[name].within++
	}
	if !(z < 6) {
		t.Errorf("%s: %.4f ± %.4f, want %.4f: %.1f errors off", name, got, se, want, z)
	}
}

// held counts a bound of 95 %.
func (c coverages) held(name string, bound, want float64) {
	if c[name] == nil {
		c[name] = &coverage{}
	}
	c[name].all++
	if bound >= want {
		c[name].within++
	}
}

// check wants 95 ± 3 % of each, and allows three standard deviations more for their number. Figures with an allowance for what may be but
// need not be may be covered more often.
func (c coverages) check(t *testing.T, allowed []string) {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(c)) {
		v := *c[name]
		share := float64(v.within) / float64(v.all)
		t.Logf("%-36s %5d   %5.1f %%   worst %.1f", name, v.all, 100*share, v.worst)
		chance := 3 * math.Sqrt(0.95*0.05/float64(v.all))
		if share < 0.92-chance || share > 0.98+chance && !slices.Contains(allowed, name) {
			t.Errorf("%s: %.1f %% of %d within two errors, want 95 ± 3", name, 100*share, v.all)
		}
	}
}

// clock is a pair of a tone's clock and a recorder's rate.
type clock struct {
	rate pcm.Rate
	hz   float64
}

// Every error that is stated holds the truth within two of it 95 ± 3 times in 100, over clocks apart and near, lengths, and noises, and so
// do the bounds, or better.
func TestEveryStatedErrorHolds(t *testing.T) {
	clocks := []clock{{48000, 12000 * (1 + 45e-6)}, {48000, 11025.3}, {48000, 12000 * (1 - 6e-6)}}
	lengths, noises, seeds := []float64{4}, []float64{-120, -105}, 2
	if *full {
		clocks = append(clocks, clock{96000, 12000.4}, clock{96000, 24000 * (1 - 30e-6)}, clock{48000, 12000 * (1 + 2e-6)}, clock{48000, 12000 * (1 + 10e-6)}, clock{48000, 12000})
		lengths, noises, seeds = []float64{4, 12}, []float64{-130, -120, -105}, 4
	}
	seen := coverages{}
	number := 0
	for _, k := range clocks {
		for _, seconds := range lengths {
			for _, noise := range noises {
				for range seeds {
					number++
					c := jittertest.Capture{Rate: k.rate, Seconds: seconds, CarrierHz: k.hz, Amplitude: 0.6, PhaseDegrees: float64(number * 77 % 360),
						NoiseDBFS: noise, RandomPs: 60, RandomLowHz: 10, RandomHighHz: k.rate.Hz() / 2, Seed: uint64(number)}
					coverCapture(t, seen, c, math.Abs(k.hz/k.rate.Hz()-0.25) < 11e-6*0.25)
				}
			}
		}
	}
	seen.check(t, []string{"random, clocks within 11 ppm", "total, clocks within 11 ppm", "decade, clocks within 11 ppm", "bound", "bound of a decade", "shared, clocks within 11 ppm",
		"attenuation of a band, clocks within 11 ppm", "least attenuation of a band", "bound of the total", "additive, clocks within 11 ppm"})
}

// coverCapture counts what is said of a capture with lines, of a second one with half its jitter, and of what both channels share.
func coverCapture(t *testing.T, seen coverages, c jittertest.Capture, near bool) {
	beta := 40 * math.Sqrt(c.PhaseDensity(1000)/c.Seconds)
	for i := range 8 {
		c.Jitter = append(c.Jitter, jittertest.Sine{Hz: 31 * math.Pow(2.1, float64(i)), Peak: beta, Phase: float64(i)})
		c.AM = append(c.AM, jittertest.Sine{Hz: 47 * math.Pow(2.1, float64(i)), Peak: beta * 2 * math.Pi * c.CarrierHz, Phase: float64(i)})
	}
	cfg := jitter.Config{Spectrum: true, HighHz: 9000, LowHz: 10}
	half := c
	half.Seed += 1 << 20
	half.RandomPs /= 2
	half.Jitter = slices.Clone(c.Jitter)
	for i := range half.Jitter {
		half.Jitter[i].Peak /= 2
	}
	r, other := measureClips(t, cfg, c), measureClips(t, cfg, half)
	coverChannel(t, seen, r, c, near)
	coverChannel(t, seen, other, half, near)
	transfer, err := jitter.NewTransfer(r, other)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range transfer.Channel[0].Lines {
		if !l.AtLeast {
			seen.add(t, "attenuation of a line", l.AttenuationDB, l.AttenuationSE, pcm.DB(2))
		}
	}
	for _, b := range transfer.Channel[0].Density {
		switch {
		case b.AtLeast:
			seen.held("least attenuation of a band", pcm.DB(2), b.AttenuationDB)
		case !math.IsNaN(b.AttenuationDB):
			seen.add(t, "attenuation of a band"+where(near), b.AttenuationDB, b.AttenuationSE, pcm.DB(2))
		}
	}
	coverShared(t, seen, c, cfg, near)
}

// where names the clocks of a figure.
func where(near bool) string {
	if near {
		return ", clocks within 11 ppm"
	}
	return ""
}

func coverChannel(t *testing.T, seen coverages, r jitter.Result, c jittertest.Capture, near bool) {
	ch := r.Channel[0]
	low, high := r.BandHz[0], r.BandHz[1]
	random := c.RandomIn(low, high)
	if ch.RandomAtFloor {
		seen.held("bound", ch.RandomLimitPs, random)
	} else {
		seen.add(t, "random"+where(near), ch.RandomPs, ch.RandomSEPs, random)
	}
	for _, b := range ch.RandomBands {
		if w := c.RandomIn(b.LowHz, b.HighHz); b.AtFloor {
			seen.held("bound of a decade", b.LimitPs, w)
		} else {
			seen.add(t, "decade"+where(near), b.Ps, b.SEPs, w)
		}
	}
	square := 0.0
	for i, j := range c.Jitter {
		square += j.Peak * j.Peak / 2 * 1e24
		if k := slices.IndexFunc(ch.Lines, func(l jitter.Line) bool { return math.Abs(l.OffsetHz-j.Hz) < 1/c.Seconds }); k >= 0 {
			seen.add(t, "line", ch.Lines[k].PeakPs, ch.Lines[k].PeakSEPs, j.Peak*1e12)
		}
		m := c.AM[i]
		if k := slices.IndexFunc(ch.AMLines, func(l jitter.AMLine) bool { return math.Abs(l.OffsetHz-m.Hz) < 1/c.Seconds }); k >= 0 {
			seen.add(t, "amplitude line", ch.AMLines[k].DepthDBc, ch.AMLines[k].DepthSEDB, pcm.DB(m.Peak/2))
		}
	}
	coverNoise(t, seen, r, c, near)
	seen.add(t, "deterministic", ch.DeterministicPs, ch.DeterministicSEPs, math.Sqrt(square))
	if ch.RandomAtFloor {
		seen.held("bound of the total", ch.TotalLimitPs, math.Sqrt(square+random*random))
	} else {
		seen.add(t, "total"+where(near), ch.TotalPs, ch.TotalSEPs, math.Sqrt(square+random*random))
	}
}

// coverNoise counts the phase noise before the subtraction, what was subtracted, and the density of narrow bands. White jitter up to half the rate
// folds as much as the band holds: (1 + κ)/2 of it into the phase, the rest into the amplitude.
func coverNoise(t *testing.T, seen coverages, r jitter.Result, c jittertest.Capture, near bool) {
	t.Helper()
	ch, density := r.Channel[0], c.Density(1000)*1e24
	width, kappa := r.BandHz[1]-r.BandHz[0], kappaOf(c, r.Seconds)
	noise := (c.PhaseDensity(1000) - c.Density(1000)) * 1e24
	seen.add(t, "raw phase"+where(near), ch.RawPs, ch.RawSEPs, math.Sqrt(width*(noise+density*(3+kappa)/2)))
	seen.add(t, "additive"+where(near), ch.AdditivePs, ch.AdditiveSEPs, math.Sqrt(width*(noise+density*(1-kappa)/2)))
	for _, b := range ch.Spectrum {
		if !math.IsNaN(b.RandomPs) {
			seen.add(t, "narrow band"+where(near), b.RandomPs*b.RandomPs, b.SEPs2, density)
		}
	}
}

// kappaOf returns the mean of cos 4φ over a record, φ being the angle at which the samples take the carrier, weighed as the record's window
// weighs power.
func kappaOf(c jittertest.Capture, seconds float64) float64 {
	frames := int(seconds * c.Rate.Hz())
	sum, weight := 0.0, 0.0
	for i, w := range spectrum.Tukey(jitter.Taper).Samples(frames) {
		_, turns := math.Modf(4 * (c.CarrierHz*float64(i)/c.Rate.Hz() + c.PhaseDegrees/360))
		sum += w * w * math.Cos(2*math.Pi*turns)
		weight += w * w
	}
	return sum / weight
}

// coverShared counts what is said of two channels with one clock, each with additive noise of its own.
func coverShared(t *testing.T, seen coverages, c jittertest.Capture, cfg jitter.Config, near bool) {
	clean := c
	clean.NoiseDBFS = 0
	clip := jittertest.Clip(clean, clean)
	for i := range clip.Channels {
		noise := jittertest.Capture{Rate: c.Rate, Seconds: c.Seconds, CarrierHz: 1, NoiseDBFS: c.NoiseDBFS, Seed: c.Seed + uint64(i+1)<<30}
		for k, v := range noise.Samples() {
			clip.Channels[i][k] += v
		}
	}
	r, err := jitter.Measure(clip, cfg)
	if err != nil {
		t.Fatal(err)
	}
	if s := r.Common; !s.AtFloor {
		seen.add(t, "shared"+where(near), s.RandomPs, s.SEPs, c.RandomIn(cfg.LowHz, cfg.HighHz))
	} else {
		seen.held("bound", s.LimitPs, c.RandomIn(cfg.LowHz, cfg.HighHz))
	}
}
