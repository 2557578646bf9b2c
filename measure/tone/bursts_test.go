package tone_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

var full = flag.Bool("full", false, "count false alarms in 600 captures instead of 6: some minutes")

// capture is one channel as a chain and a recorder leave a test signal.
type capture struct {
	rate       pcm.Rate
	seconds    float64
	hz, peaks  []float64
	noise      float64 // RMS
	ppm        float64
	wanderHz   float64 // of a cheap clock …
	wander     float64 // … seconds, peak
	walk       float64 // seconds, RMS, that a clock gains or loses at random in 0.05 s
	warmPPM    float64 // that the clock is off at the beginning, and loses …
	warm       float64 // … in that many seconds
	hum        float64 // peak of each of four harmonics
	spikes     float64 // peak of what a dimmer adds a hundred times a second
	square     float64 // distortion of second order
	cube       float64
	settle     float64 // of the level, with 50 ms
	rumble     float64 // RMS of noise below 20 Hz
	clipped    float64 // level at which it clips; 0: nowhere
	seed       uint64
	spoil      func(x []float64) []float64 // ahead of the recorder's noise
	spikePhase float64
}

func (p capture) make() pcm.Clip {
	n := int(p.seconds * p.rate.Hz())
	random := rand.New(rand.NewPCG(p.seed, 77))
	x := make([]float64, n)
	walked := 0.0
	for i := range x {
		t := float64(i) / p.rate.Hz()
		walked += p.walk * random.NormFloat64() / math.Sqrt(0.05*p.rate.Hz())
		late := t*p.ppm*1e-6 + walked + p.wander*math.Sin(2*math.Pi*p.wanderHz*t)
		if p.warm > 0 {
			late += p.warmPPM * 1e-6 * p.warm * (1 - math.Exp(-t/p.warm))
		}
		for k, f := range p.hz {
			x[i] += p.peaks[k] * (1 - p.settle*math.Exp(-t/0.05)) * math.Sin(2*math.Pi*f*(t+late))
		}
		x[i] += p.square*x[i]*x[i] + p.cube*x[i]*x[i]*x[i]
		if p.clipped > 0 {
			x[i] = min(max(x[i], -p.clipped), p.clipped)
		}
	}
	if p.spoil != nil {
		x = p.spoil(x)
	}
	low := 0.0
	pole := 1 - 2*math.Pi*20/p.rate.Hz()
	for i := range x {
		t := float64(i) / p.rate.Hz()
		for k := range 4 {
			if p.hum == 0 {
				break
			}
			x[i] += p.hum / float64(k+1) * math.Sin(2*math.Pi*50.03*float64(k+1)*t+float64(k*k))
		}
		if at := math.Mod(t+p.spikePhase, 0.01); at < 0.4e-3 {
			x[i] += p.spikes * math.Sin(2*math.Pi*at/0.4e-3)
		}
		low = pole*low + math.Sqrt(1-pole*pole)*random.NormFloat64()
		x[i] += p.rumble*low + p.noise*random.NormFloat64()
		x[i] = math.Round(x[i]*8388608) / 8388608
	}
	return pcm.Clip{Rate: p.rate, Channels: [][]float64{x}}
}

var testSignals = []struct {
	kind      string
	hz, peaks []float64
}{
	{"tone", []float64{997}, []float64{0.89}},
	{"low tone", []float64{997}, []float64{1e-3}},
	{"two tones", []float64{18000, 20000}, []float64{0.44, 0.44}},
	{"two tones", []float64{60, 7000}, []float64{0.7, 0.17}},
	{"tone", []float64{41}, []float64{0.7}},
}

// faultsIn returns the warnings of lost, repeated, muted or replaced samples.
func faultsIn(w warning.Warnings) []warning.Warning {
	return slices.DeleteFunc(slices.Clone(w.Details), func(w warning.Warning) bool { return w.Code != tone.Bursts && w.Code != tone.PhaseJumps })
}

// A millisecond is what one packet holds. Lost, it moves 997 Hz by three thousandths of a turn, at any rate.
func TestALostMillisecondIsNamed(t *testing.T) {
	for _, rate := range []pcm.Rate{44100, 48000, 96000, 192000} {
		n := int(rate) / 1000
		at := int(2.345 * rate.Hz())
		for k, s := range testSignals {
			if rate > 48000 && k > 1 {
				break
			}
			for _, f := range []struct {
				name  string
				want  warning.Code
				spoil func(x []float64) []float64
			}{
				{"lost", tone.PhaseJumps, func(x []float64) []float64 { return slices.Delete(x, at, at+n) }},
				{"played twice", tone.PhaseJumps, func(x []float64) []float64 { return slices.Insert(x, at, x[at-n:at]...) }},
				{"muted ahead of the recorder", tone.Bursts, func(x []float64) []float64 { clear(x[at : at+n]); return x }},
			} {
				if rate != 44100 && s.hz[0] == 18000 && f.name != "muted ahead of the recorder" {
					continue // whole periods of both
				}
				p := capture{rate: rate, seconds: 3.5, hz: s.hz, peaks: s.peaks, noise: 1e-6, ppm: 12, seed: 5, spoil: f.spoil}
				w, err := warningsOf(s.kind)(p.make())
				// A jump is known to the 0.05 s over which a phase is read.
				i := slices.IndexFunc(w.Details, func(d warning.Warning) bool {
					return d.Code == f.want && d.Value == 1 && math.Abs(d.FromS-2.345) < 0.06 &&
						(f.want == tone.PhaseJumps || math.Abs(d.ToS-d.FromS-1e-3) < 2e-4)
				})
				if err != nil || i < 0 {
					t.Errorf("%v Hz at %d Hz, %s: %v, warnings %q, want %s at 2.345 s", s.hz, rate, f.name, err, w.Texts, f.want)
				}
			}
		}
	}
}

// What was once taken for a fault: clocks that had just been switched on, and spikes that stand out far enough now and then.
var oddCaptures = []capture{
	{rate: 48000, seconds: 8, hz: []float64{60, 7000}, peaks: []float64{0.7, 0.17}, noise: 3.7e-6, ppm: 85, warmPPM: -1.8, warm: 0.7, seed: 159},
	{rate: 48000, seconds: 8, hz: []float64{18000, 20000}, peaks: []float64{0.44, 0.44}, noise: 4e-7, ppm: 184, warmPPM: -1.84, warm: 0.45, seed: 339},
	{rate: 48000, seconds: 8, hz: []float64{41}, peaks: []float64{0.7}, noise: 4.8e-7, walk: 4.8e-9, spikes: 1.17e-5, spikePhase: 0.75, seed: 202},
	{rate: 96000, seconds: 6, hz: []float64{41}, peaks: []float64{0.7}, noise: 1.2e-6, spikes: 2.8e-4, spikePhase: 0.79, rumble: 2.8e-5, seed: 288},
}

// Nothing that a clean capture holds is taken for a fault of the recorder.
func TestCleanCapturesAreNotWarnedOf(t *testing.T) {
	for _, p := range oddCaptures {
		kind := "tone"
		if len(p.hz) > 1 {
			kind = "two tones"
		}
		if w, err := warningsOf(kind)(p.make()); err != nil || len(faultsIn(w)) > 0 {
			t.Errorf("%+v: %v, %q", p, err, w.Texts)
		}
	}
	count, random := 6, rand.New(rand.NewPCG(3, 4))
	if *full {
		count = 600
	}
	log := func(low, high float64) float64 { return low * math.Pow(high/low, random.Float64()) }
	often := func(v float64) float64 { return v * float64(random.IntN(2)) }
	alarms := 0
	for i := range count {
		s := testSignals[random.IntN(len(testSignals))]
		top := slices.Max(s.peaks)
		p := capture{
			rate: []pcm.Rate{44100, 48000, 48000, 96000}[random.IntN(4)], seconds: 3 + 9*random.Float64(), hz: s.hz, peaks: s.peaks,
			noise: log(3e-7, 3e-5), ppm: 400*random.Float64() - 200, wanderHz: log(0.05, 60), wander: often(log(1e-10, 3e-7)), walk: often(log(1e-11, 1e-8)),
			warmPPM: often(4*random.Float64() - 2), warm: log(0.3, 10), hum: often(log(1e-6, 3e-3)), spikes: often(log(1e-6, 1e-3)), spikePhase: random.Float64(),
			square: often(log(1e-6, 1e-2)), cube: often(log(1e-6, 1e-2)), settle: often(log(1e-5, 0.3)), rumble: often(log(1e-6, 1e-3)), seed: uint64(i),
		}
		if random.IntN(4) == 0 {
			p.clipped = 0.9 * top
		}
		if s.kind == "low tone" { // a hum above the tone is another finding
			p.hum, p.spikes, p.rumble, p.noise = p.hum/100, p.spikes/100, p.rumble/100, min(p.noise, 1e-5)
		}
		w, err := warningsOf(s.kind)(p.make())
		if err != nil {
			t.Fatalf("%+v: %v", p, err)
		}
		if found := faultsIn(w); len(found) > 0 {
			alarms++
			t.Errorf("%s %+v: %+v", s.kind, p, found)
		}
	}
	t.Logf("%d false alarms in %d captures", alarms, count)
}
