package trials

import (
	"errors"
	"fmt"
)

// Stop says which boundary of a sequential plan ended a session; "" is none.
type Stop string

// The boundaries.
const (
	StopHeard    Stop = "heard"
	StopRuledOut Stop = "ruled out"
)

// Sequential reports whether the plan may end before its last trial.
func (p Plan) Sequential() bool { return p.Looks != nil }

// Stop returns the boundary that is reached after scored trials with correct right answers. A look that does not stop the
// session shows nothing: the session just goes on.
func (p Plan) Stop(scored, correct int) Stop {
	if p.Looks == nil {
		return ""
	}
	for i, n := range p.Looks.Trials {
		switch {
		case n != scored:
		case correct >= p.Looks.Heard[i]:
			return StopHeard
		case correct <= p.Looks.RuledOut[i]:
			return StopRuledOut
		}
	}
	return ""
}

func (p Plan) validateLooks() error {
	if p.Looks == nil {
		return nil
	}
	l, scored := p.Looks, 0
	var pair [3]string
	for _, c := range p.Comparisons {
		if c.Kind != Scored {
			continue
		}
		of := [3]string{c.A, c.B}
		if c.A == c.B {
			of[2] = c.AudioB // each dose of a ladder is a question of its own
		}
		if scored > 0 && pair != of {
			return errors.New("a sequential plan compares one pair of chains: its looks count over all scored trials")
		}
		pair, scored = of, scored+c.Trials
	}
	switch {
	case p.Order != Independent:
		return errors.New("a sequential plan needs independent order: its boundaries are computed for a fair coin")
	case len(l.Trials) == 0 || len(l.Heard) != len(l.Trials) || len(l.RuledOut) != len(l.Trials):
		return errors.New("looks: at least one is needed, and both boundaries at each")
	}
	last := 0
	for i, n := range l.Trials {
		if n <= last || n > scored {
			return fmt.Errorf("look %d after %d trials: looks come in rising order, the last after %d trials at most", i+1, n, scored)
		}
		if l.Heard[i] <= l.RuledOut[i] {
			return fmt.Errorf("look %d: 'heard' from %d right answers, 'ruled out' up to %d", i+1, l.Heard[i], l.RuledOut[i])
		}
		last = n
	}
	return nil
}
