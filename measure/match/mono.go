package match

import (
	"fmt"

	"gonum.org/v1/gonum/floats"
)

// ErrMono is wrapped, instead of ErrUnrelated, where no common music was found and one capture alone is mono.
var ErrMono = fmt.Errorf("%w", ErrUnrelated)

// width is what tells how much the channels of a capture differ from its first.
type width struct{ own, joint []float64 } // Σ xc², Σ x1·xc by channel

func (w *width) add(block [][]float64) {
	if w.own == nil {
		w.own, w.joint = make([]float64, len(block)), make([]float64, len(block))
	}
	for c, ch := range block {
		w.own[c] += floats.Dot(ch, ch)
		w.joint[c] += floats.Dot(ch, block[0])
	}
}

// unlike returns the share of power that the channel least like the first does not have in common with it: 0 of mono,
// whatever the balance, and 1 where channels have nothing in common, or one is silent.
func (w width) unlike() float64 {
	most := 0.0
	for c := 1; c < len(w.own); c++ {
		common := 0.0
		if power := w.own[0] * w.own[c]; power > 0 {
			common = w.joint[c] * w.joint[c] / power
		}
		most = max(most, 1-common)
	}
	return most
}

// oneIsMono says which capture is mono while the other is not, or "". Alike to 30 dB the channels are the same but for a
// recorder's noise; the other's must be ten times as unlike in amplitude, since what narrows the stereo picture a little
// is no switch and no wrong cable.
func oneIsMono(a, b width) string {
	const same, less = 1e-3, 1e-2
	for _, way := range []struct {
		name, other string
		own, wide   float64
	}{{"B", "A", b.unlike(), a.unlike()}, {"A", "B", a.unlike(), b.unlike()}} {
		if way.own < same && way.own < less*way.wide && way.wide > same {
			return fmt.Sprintf("the channels of %s are identical, those of %s are not: %s is mono", way.name, way.other, way.name)
		}
	}
	return ""
}

// unrelated is the error that nothing common was found, for the reason given unless one capture is mono.
func (s *search) unrelated(reason string) error {
	if mono := oneIsMono(s.courseA.width, s.courseB.width); mono != "" {
		return fmt.Errorf("match: %s, and %w", mono, ErrMono)
	}
	return fmt.Errorf("match: %w: %s", ErrUnrelated, reason)
}
