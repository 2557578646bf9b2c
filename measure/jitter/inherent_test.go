package jitter_test

import (
	"math"
	"math/cmplx"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// signal is the jitter signal as its definition gives it.
func signal(bits, frames int) []float64 {
	q := pcm.NewPlainQuantizer(bits)
	out := make([]float64, frames)
	for i := range out {
		w := int32(1) << (bits - 2)
		if i%4 < 2 {
			w = -w
		}
		if i%192 >= 96 {
			w--
		}
		out[i] = q.Value(w)
	}
	return out
}

func TestTheSignalsOwnLinesAreInherent(t *testing.T) {
	clip := pcm.Clip{Rate: 48000, Channels: [][]float64{signal(16, 480000)}}
	noise := jittertest.Capture{Rate: 48000, Seconds: 10, CarrierHz: 1, NoiseDBFS: -115, Seed: 5}.Samples()
	for i, v := range noise {
		clip.Channels[0][i] += v
	}
	r, err := jitter.Measure(clip, jitter.Config{Bits: 16})
	if err != nil {
		t.Fatal(err)
	}
	ch := r.Channel[0]
	if len(ch.Lines) == 0 || ch.DeterministicPs != 0 {
		t.Errorf("%.2f ps counted of lines %+v: all are the signal's", ch.DeterministicPs, ch.Lines)
	}
	for _, l := range ch.Lines {
		if !l.Inherent || math.Abs(math.Remainder(l.OffsetHz, 500)) < 200 {
			t.Errorf("line %+v is not marked, or not at an odd multiple of 250 Hz", l)
		}
	}
	if math.Abs(ch.LevelDBFS+3.0103) > 0.001 { // published level of the tone
		t.Errorf("level %.4f dBFS, want −3.0103", ch.LevelDBFS)
	}
	if r, err = jitter.Measure(clip, jitter.Config{Bits: 24}); err != nil || r.Channel[0].DeterministicPs < 3 {
		t.Errorf("said to be 24 bits, the 16-bit lines count: got %.2f ps, error %v", r.Channel[0].DeterministicPs, err)
	}
	if !r.Warned(jitter.ShorterWords) {
		t.Errorf("said to be 24 bits, the 16-bit lines are named: warnings %q", r.Texts)
	}
}

// A line at the place of the signal's own residue counts for the power by which it exceeds it: over phases, for its own.
//
// The residue in closed form: one step down for half a period has the transform 1 − j·cot(πk/192) at odd k, the carrier
// −96q·(1 − j) at 48; near the carrier the two sidebands are almost pure amplitude.
func TestALineOnTheSignalsOwnCountsForItsExcess(t *testing.T) {
	const step, hz = 23, 23 * 250.
	side := func(k float64) complex128 {
		return complex(1, -1/math.Tan(math.Pi*k/192)) / (complex(-96*16384, 0) * complex(1, -1))
	}
	residue := cmplx.Abs(side(48+step)-cmplx.Conj(side(48-step))) / (2 * math.Pi * 12000)
	for _, ratio := range []float64{2.5, 6} {
		power, variance := 0.0, 0.0
		const phases = 4
		for i := range phases {
			c := base()
			c.CarrierHz, c.Seconds, c.NoiseDBFS, c.Seed = 12000, 3, -135, uint64(i)
			c.Jitter = []jittertest.Sine{{Hz: hz, Peak: residue}, {Hz: hz, Peak: ratio * residue, Phase: 0.3 + 2*math.Pi*float64(i)/phases}}
			for _, l := range measureClips(t, jitter.Config{Bits: 16}, c).Channel[0].Lines {
				if math.Abs(l.OffsetHz-hz) < 0.1 && !l.Inherent {
					power += l.PeakPs * l.PeakPs / phases
					variance += math.Pow(2*l.PeakPs*l.PeakSEPs/phases, 2)
				}
			}
		}
		want := math.Pow(ratio*residue*1e12, 2)
		if se := math.Sqrt(variance); math.Abs(power-want) > 4*se || se > 0.05*want {
			t.Errorf("%.1f times the residue of %.2f ps: %.3f ± %.3f ps², want %.3f", ratio, residue*1e12, power, se, want)
		}
	}
}
