package integrity_test

import (
	"math"
	"slices"
	"testing"

	"heardiff/measure/integrity"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// change is what a chain does to all that passes it.
type change struct {
	name   string
	change func(c pcm.Clip) pcm.Clip
	cause  integrity.Cause
	gainDB float64
	smears int // frames by which a place may be wrong
}

func scaled(db float64) func(c pcm.Clip) pcm.Clip {
	return func(c pcm.Clip) pcm.Clip {
		return quantised(each(c, func(v float64) float64 { return v * math.Pow(10, db/20) }), pcm.NewPlainQuantizer(24))
	}
}

func inverse(c pcm.Clip) pcm.Clip {
	top := 1 - math.Ldexp(1, -23)
	return each(c, func(v float64) float64 { return min(-v, top) })
}

func exchanged(c pcm.Clip) pcm.Clip {
	return pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[1], c.Channels[0]}}
}

func cutTo16(c pcm.Clip) pcm.Clip {
	return each(c, func(v float64) float64 { return math.Floor(v*32768) / 32768 })
}

func ditheredTo(bits int) func(c pcm.Clip) pcm.Clip {
	return func(c pcm.Clip) pcm.Clip { return quantised(c, pcm.NewQuantizer(bits, 5)) }
}

var changes = []change{
	{"gain", scaled(-3.3), integrity.Gain, -3.3, 0},
	{"dithered at 24 bits", ditheredTo(24), integrity.Dither, 0, 0},
	{"dithered at 16 bits", ditheredTo(16), integrity.Dither, 0, 0},
	{"cut to 16 bits", cutTo16, integrity.Truncation, 0, 0},
	{"inverted", inverse, integrity.Polarity, 0, 0},
	{"exchanged", exchanged, integrity.ChannelSwap, 0, 0},
	// A filter rings for some frames.
	{"resampled", func(c pcm.Clip) pcm.Clip { return lowPassed(c, 21000, 100) }, integrity.Resampling, 0, 32},
}

// local is a fault of a stretch.
type local struct {
	name  string
	spoil func(c pcm.Clip) pcm.Clip
	want  integrity.Fault
}

func muted(c pcm.Clip, from, n int) pcm.Clip {
	return joined(c, [2]int{0, from}, [2]int{-n, 0}, [2]int{from + n, c.Len()})
}

var locals = []local{
	{"muted", func(c pcm.Clip) pcm.Clip { return muted(c, 40_000, 1000) }, integrity.Fault{Cause: integrity.Dropout, Frame: 40_000, Frames: 1000}},
	{"lost", func(c pcm.Clip) pcm.Clip { return joined(c, [2]int{0, 40_000}, [2]int{41_000, c.Len()}) }, integrity.Fault{Cause: integrity.Dropout, Frame: 40_000, Frames: 1000}},
	{"repeated", func(c pcm.Clip) pcm.Clip { return joined(c, [2]int{0, 40_000}, [2]int{39_500, c.Len()}) }, integrity.Fault{Cause: integrity.Repeat, Frame: 40_000, Frames: 500}},
	{"played twice in place", func(c pcm.Clip) pcm.Clip {
		return joined(c, [2]int{0, 40_000}, [2]int{39_000, 40_000}, [2]int{41_000, c.Len()})
	}, integrity.Fault{Cause: integrity.Repeat, Frame: 40_000, Frames: 1000}},
}

func near(got, want integrity.Fault, within int) bool {
	from, to := got.Frame-want.Frame, got.Frame+got.Frames-want.Frame-want.Frames
	return got.Cause == want.Cause && got.Channel == want.Channel && max(from, -from) <= within && max(to, -to) <= within
}

// A change of everything hides no fault of a stretch, and such a fault hides no change of everything, whichever comes first.
func TestFaultsAreFoundUnderAChangeOfEverything(t *testing.T) {
	for name, c := range map[string]pcm.Clip{"words": words(t, 24, 1.5), "melody": melody(1.5)} {
		for number, w := range changes {
			if name == "melody" && w.cause != integrity.Gain && w.smears == 0 && w.name != "dithered at 16 bits" {
				continue // words show as much
			}
			for i, f := range locals {
				if !*full && i%2 != number%2 {
					continue // every fault and every change, not every pair of them
				}
				for order, received := range map[string]pcm.Clip{"after": f.spoil(w.change(c)), "before": w.change(f.spoil(c))} {
					r, err := integrity.Compare(c, delayed(received, 0, received.Len(), 777))
					if err != nil {
						t.Fatalf("%s, %s %s %s: %v", name, f.name, order, w.name, err)
					}
					if *r.Cause != w.cause || len(r.Faults) != 1 || !near(r.Faults[0], f.want, w.smears) || r.OffsetSamples != 777 || len(r.Texts) == 0 {
						t.Errorf("%s, %s %s %s: cause %v, faults %v, offset %d, warnings %q", name, f.name, order, w.name, *r.Cause, r.Faults, r.OffsetSamples, r.Texts)
					}
					if math.Abs(r.GainDB-w.gainDB) > 1e-3*float64(1+w.smears) {
						t.Errorf("%s, %s %s %s: gain %v dB, want %v", name, f.name, order, w.name, r.GainDB, w.gainDB)
					}
				}
			}
		}
	}
}

// Of two changes of everything one is the cause, and a warning or the gain names the other.
func TestTwoChangesOfEverythingAreBothNamed(t *testing.T) {
	codes := map[integrity.Cause]warning.Code{
		integrity.Gain: integrity.GainChanged, integrity.Dither: integrity.Dithered, integrity.Truncation: integrity.Shortened,
		integrity.Polarity: integrity.Inverted, integrity.ChannelSwap: integrity.Exchanged, integrity.Resampling: integrity.Resampled,
	}
	c := scaled(-6)(words(t, 24, 1)) // what is clipped within the scale is changed in level
	for i, first := range changes {
		for j, then := range changes {
			if first.cause == then.cause || !*full && (i+j)%2 == 0 {
				continue
			}
			name := first.name + ", then " + then.name
			r, err := integrity.Compare(c, delayed(then.change(first.change(c)), 0, c.Len(), 777))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if len(r.Faults) > 0 {
				t.Errorf("%s: faults %v", name, r.Faults)
			}
			if want := first.gainDB + then.gainDB; math.Abs(r.GainDB-want) > 1e-3*float64(1+first.smears+then.smears) {
				t.Errorf("%s: gain %v dB, want %v", name, r.GainDB, want)
			}
			for _, cause := range []integrity.Cause{first.cause, then.cause} {
				if *r.Cause != cause && !r.Warned(codes[cause]) && !lostOnTheWay(first, then, cause) {
					t.Errorf("%s: cause %v, warnings %q: nothing of %v", name, *r.Cause, r.Texts, cause)
				}
			}
		}
	}
}

// lostOnTheWay reports what the received words cannot hold: dither or cuts of a step that are gone under coarser ones, or
// spread by a filter.
func lostOnTheWay(first, then change, cause integrity.Cause) bool {
	short := func(c integrity.Cause) bool { return c == integrity.Dither || c == integrity.Truncation }
	return short(cause) && (short(first.cause) && short(then.cause) || first.cause == integrity.Resampling || then.cause == integrity.Resampling)
}

func TestOneChannelAloneIsNamed(t *testing.T) {
	c := words(t, 24, 2)
	second := func(change func(x []float64) []float64) pcm.Clip {
		return pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[0], change(slices.Clone(c.Channels[1]))}}
	}
	end := c.Len()
	for _, f := range []struct {
		name     string
		received pcm.Clip
		cause    integrity.Cause
		gainDB   float64
		faults   []integrity.Fault
		want     warning.Code
	}{
		{"inverted", second(func(x []float64) []float64 {
			return inverse(pcm.Clip{Rate: c.Rate, Channels: [][]float64{x}}).Channels[0]
		}),
			integrity.Polarity, 0, nil, integrity.Inverted},
		{"−0.9 dB", second(func(x []float64) []float64 {
			return scaled(-0.9)(pcm.Clip{Rate: c.Rate, Channels: [][]float64{x}}).Channels[0]
		}),
			integrity.Gain, math.NaN(), nil, integrity.GainChanged},
		{"zeros", second(func(x []float64) []float64 { clear(x); return x }),
			integrity.Dropout, 0, []integrity.Fault{{Cause: integrity.Dropout, Frame: 0, Frames: end, Channel: 2}}, integrity.Dead},
		{"muted for a while", second(func(x []float64) []float64 { clear(x[50_000:51_000]); return x }),
			integrity.Dropout, 0, []integrity.Fault{{Cause: integrity.Dropout, Frame: 50_000, Frames: 1000, Channel: 2}}, ""},
		{"a frame late", second(func(x []float64) []float64 { return append([]float64{0}, x[:end-1]...) }),
			integrity.Unknown, 0, nil, integrity.LateChannels},
	} {
		r, err := integrity.Compare(c, f.received)
		if err != nil || *r.Cause != f.cause || !slices.Equal(r.Faults, f.faults) || f.want != "" && !r.Warned(f.want) ||
			math.IsNaN(f.gainDB) != math.IsNaN(r.GainDB) || math.Abs(r.GainDB-f.gainDB) > 1e-6 {
			t.Errorf("%s: %v, cause %v, gain %v dB, faults %v, warnings %q", f.name, err, deref(r.Cause), r.GainDB, r.Faults, r.Texts)
		}
	}
}

func TestAConstantIsNoDither(t *testing.T) {
	for _, bits := range []int{16, 24} {
		c := words(t, bits, 2)
		step := math.Ldexp(1, 1-bits)
		for _, steps := range []float64{1, 3, -2} {
			r, err := integrity.Compare(c, each(c, func(v float64) float64 { return min(max(v+steps*step, -1), 1-step) }))
			if err != nil || *r.Cause != integrity.Unknown || r.GainDB != 0 || !slices.ContainsFunc(r.Details, func(w warning.Warning) bool {
				return w.Code == integrity.ConstantsAdded && math.Abs(w.Value-steps) < 0.01
			}) {
				t.Errorf("%v of %d bits: %v, cause %v, gain %v dB, warnings %q", steps, bits, err, deref(r.Cause), r.GainDB, r.Texts)
			}
		}
	}
}

// A level is measured where no fault is.
func TestADropoutIsNoGain(t *testing.T) {
	c := melody(4)
	for _, f := range locals {
		if r, err := integrity.Compare(c, f.spoil(c)); err != nil || r.GainDB != 0 {
			t.Errorf("%s: %v, gain %v dB", f.name, err, r.GainDB)
		}
	}
}

// Where two clocks are not locked, and a resampler is between them, that is the cause, and a warning says that faults cannot be
// distinguished from what it leaves. With one clock they are found.
func TestFaultsBehindAResampler(t *testing.T) {
	none := local{"none", func(c pcm.Clip) pcm.Clip { return c }, integrity.Fault{}}
	for _, d := range []struct {
		name string
		c    pcm.Clip
		ppm  float64
	}{
		{"words", scaled(-6)(words(t, 24, 4)), 20}, {"melody", melody(4), 0}, {"melody", melody(4), -20}, {"melody", melody(4), 100},
	} {
		received := resampled(t, d.c, 0.1, d.ppm)
		for _, f := range append(locals, none) {
			r, err := integrity.Compare(d.c, f.spoil(received))
			if err != nil || *r.Cause != integrity.Resampling || r.Warned(integrity.FaultsUnknown) != (d.ppm != 0) {
				t.Errorf("%s, %v ppm, %s: %v, cause %v, warnings %q", d.name, d.ppm, f.name, err, deref(r.Cause), r.Texts)
				continue
			}
			found := len(r.Faults) == 1 && near(r.Faults[0], f.want, 10)
			if found != (d.ppm == 0 && f.name != "none") || !found && len(r.Faults) > 0 {
				t.Errorf("%s, %v ppm, %s: faults %v, warnings %q", d.name, d.ppm, f.name, r.Faults, r.Texts)
			}
		}
	}
}
