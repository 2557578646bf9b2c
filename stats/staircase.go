package stats

import (
	"fmt"
	"math"
	"slices"
)

// StaircaseConfig configures a transformed up-down procedure. Levels are in any unit in which equal steps are equivalent,
// such as log10 of the dose.
type StaircaseConfig struct {
	Down  int       // right answers in a row before the level falls by a step; one wrong answer raises it
	Start float64   // first level: well above threshold
	Steps []float64 // above zero: the first until the first reversal, the next until the second; the last stays
	// Low and High bound the level; both zero: no bounds.
	Low, High float64
}

// Staircase is the state of a transformed up-down procedure. It is a value: Next returns the state after an answer and
// changes nothing.
//
// ref: Levitt (1971), Transformed up-down methods in psychoacoustics, J. Acoust. Soc. Am. 49.
type Staircase struct {
	cfg       StaircaseConfig
	level     float64
	row       int // right answers since the last move
	direction int // of the last move, 0 before the first
	reversals []float64
	trials    int
}

// NewStaircase returns the state before the first trial. It is an error if Down is below 1, there is no step, a step is
// not above zero, or the start lies outside the bounds.
func NewStaircase(cfg StaircaseConfig) (Staircase, error) {
	bounded := cfg.Low != 0 || cfg.High != 0
	switch {
	case cfg.Down < 1:
		return Staircase{}, fmt.Errorf("stats: staircase: %d right answers before the level falls: at least one is needed", cfg.Down)
	case len(cfg.Steps) == 0:
		return Staircase{}, fmt.Errorf("stats: staircase: no step")
	case slices.ContainsFunc(cfg.Steps, func(s float64) bool { return !(s > 0) || math.IsInf(s, 0) }):
		return Staircase{}, fmt.Errorf("stats: staircase: steps %v: each must be above zero", cfg.Steps)
	case bounded && !(cfg.Low <= cfg.Start && cfg.Start <= cfg.High) || math.IsNaN(cfg.Start):
		return Staircase{}, fmt.Errorf("stats: staircase: start %v is not within %v to %v", cfg.Start, cfg.Low, cfg.High)
	}
	return Staircase{cfg: cfg, level: cfg.Start}, nil
}

// Target returns the proportion correct to which the levels converge, where a fall and a rise are equally likely.
//
//	p^down = 1/2
//
// That is 70.7 % for two down, 79.4 % for three, 84.1 % for four.
func (s Staircase) Target() float64 { return math.Pow(0.5, 1/float64(s.cfg.Down)) }

// Level returns the level of the next trial.
func (s Staircase) Level() float64 { return s.level }

// Trials returns the number of answers so far.
func (s Staircase) Trials() int { return s.trials }

// Reversals returns the levels of the trials at which the direction changed, in order.
func (s Staircase) Reversals() []float64 { return slices.Clone(s.reversals) }

// Next returns the state after an answer. The count of right answers in a row restarts after every move.
func (s Staircase) Next(correct bool) Staircase {
	s.trials++
	direction := 0
	switch {
	case !correct:
		direction, s.row = 1, 0
	default:
		if s.row++; s.row == s.cfg.Down {
			direction, s.row = -1, 0
		}
	}
	if direction == 0 {
		return s
	}
	if s.direction != 0 && direction != s.direction {
		s.reversals = append(slices.Clip(s.reversals), s.level) // clipped: an earlier state keeps its own
	}
	step := s.cfg.Steps[min(len(s.reversals), len(s.cfg.Steps)-1)]
	s.direction, s.level = direction, s.level+float64(direction)*step
	if s.cfg.Low != 0 || s.cfg.High != 0 {
		s.level = math.Min(math.Max(s.level, s.cfg.Low), s.cfg.High)
	}
	return s
}

// Estimate returns the mean of the reversals after the first discarded ones, over an even number of them so that peaks and
// valleys have equal weight; NaN with fewer than two. Its bias grows with the step size: the package doc has figures.
func (s Staircase) Estimate(discarded int) float64 {
	used := len(s.reversals) - max(0, discarded)
	used -= used & 1
	if used < 2 {
		return math.NaN()
	}
	return mean(s.reversals[len(s.reversals)-used:])
}
