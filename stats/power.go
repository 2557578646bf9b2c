package stats

import (
	"errors"
	"fmt"
	"math"
)

// ErrOutOfReach says that no number of trials up to MaxTrials gives the power asked for.
var ErrOutOfReach = errors.New("stats: out of reach")

// sustained is the number of further trials over which a plan must keep its power: the exact power of a discrete test is
// a sawtooth in n, which falls below the target again after first reaching it.
const sustained = 50

// Power is a fixed plan: its number of trials, its critical count, and the power and size that it achieves.
type Power struct {
	Trials   int     `json:"trials"`
	Critical *int    `json:"critical_correct"` // nil where no count reaches α
	Power    float64 `json:"achieved_power"`
	Size     float64 `json:"achieved_alpha"`
}

// PowerAt returns the exact power of n trials against p at chance p₀ and risk α.
func PowerAt(n int, p0, p, alpha float64) (Power, error) {
	if err := checkPlan(p0, p, alpha); err != nil {
		return Power{}, err
	}
	if n < 1 || n > MaxTrials {
		return Power{}, fmt.Errorf("stats: %d trials: 1 to %d can be planned", n, MaxTrials)
	}
	return powerAt(n, p0, p, alpha), nil
}

func powerAt(n int, p0, p, alpha float64) Power {
	k, size, ok := CriticalCount(n, p0, alpha)
	if !ok {
		return Power{Trials: n}
	}
	return Power{Trials: n, Critical: &k, Power: math.Exp(lnBinomialUpper(k, n, p)), Size: size}
}

func checkPlan(p0, p, alpha float64) error {
	if err := checkFraction("chance", p0); err != nil {
		return err
	}
	if !(p >= 0 && p <= 1) {
		return fmt.Errorf("stats: true proportion %v is not within [0, 1]", p)
	}
	return checkFraction("alpha", alpha)
}

// TrialsFor returns the smallest plan whose power against p reaches power and keeps it for each of the next 50 larger
// numbers of trials. It returns ErrOutOfReach where p is no better than chance or MaxTrials trials do not suffice.
//
// The search starts where the randomized most powerful test reaches the power. That test's power never falls with n and
// is an upper bound of the plain test's, so no smaller n can qualify.
func TrialsFor(p0, p, alpha, power float64) (Power, error) {
	if err := checkPlan(p0, p, alpha); err != nil {
		return Power{}, err
	}
	if err := checkFraction("power", power); err != nil {
		return Power{}, err
	}
	if p <= p0 {
		return Power{}, fmt.Errorf("%w: at p = %v, no better than chance, no number of trials gives power %v", ErrOutOfReach, p, power)
	}
	start := firstCount(1, MaxTrials, func(n int) bool { return randomizedPower(n, p0, p, alpha) >= power })
	return firstSustained(start, power, func(n int) Power { return powerAt(n, p0, p, alpha) })
}

// firstSustained returns the first plan from start on that keeps the power for the next 50 numbers of trials.
func firstSustained(start int, power float64, plan func(n int) Power) (Power, error) {
	var found Power
	held := 0
	for n := start; n <= MaxTrials+sustained; n++ {
		at := plan(n)
		if at.Power < power*(1-reachSlack) {
			held = 0
			continue
		}
		if held == 0 {
			found = at
		}
		if held++; held > sustained && found.Trials <= MaxTrials {
			return found, nil
		}
	}
	return Power{}, fmt.Errorf("%w: power %v needs more than %d trials", ErrOutOfReach, power, MaxTrials)
}

// randomizedPower is the power of the most powerful test of size exactly α, which rejects at the critical count, and at
// one less with the probability that uses up the rest of α.
func randomizedPower(n int, p0, p, alpha float64) float64 {
	k, size, ok := CriticalCount(n, p0, alpha)
	if !ok {
		k, size = n+1, 0
	}
	if k == 0 {
		return 1
	}
	rest := (alpha - size) / math.Exp(lnBinomialPoint(k-1, n, p0))
	return math.Exp(lnBinomialUpper(k, n, p)) + math.Min(1, math.Max(0, rest))*math.Exp(lnBinomialPoint(k-1, n, p))
}

// RulingOut is a plan to rule out an effect.
type RulingOut struct {
	Trials  int     `json:"trials"`
	Largest *int    `json:"largest_correct"` // up to this many right answers rule it out; nil where none does
	Power   float64 `json:"achieved_power"`  // the chance of ruling it out where nothing is heard
	Risk    float64 `json:"achieved_alpha"`  // the chance of ruling it out where the effect is exactly p_d
}

// RulingOutAt returns what n trials at chance p₀ can rule out: p_d ≥ pd, at risk α, where the true proportion of
// discriminators is truePD.
func RulingOutAt(n int, p0, pd, truePD, alpha float64) RulingOut {
	k, ok := LargestRulingOut(n, p0, pd, alpha)
	if !ok {
		return RulingOut{Trials: n}
	}
	return RulingOut{Trials: n, Largest: &k, Power: math.Exp(lnBinomialLower(k, n, p0+(1-p0)*truePD)),
		Risk: math.Exp(lnBinomialLower(k, n, p0+(1-p0)*pd))}
}

// TrialsToRuleOut returns the smallest plan that rules out p_d ≥ pd at risk α with the given power where the true
// proportion of discriminators is truePD < pd, and keeps that power for the next 50 numbers of trials.
//
// ref: similarity testing as in ISO 4120; exact binomial.
func TrialsToRuleOut(p0, pd, truePD, alpha, power float64) (RulingOut, error) {
	for name, v := range map[string]float64{"chance": p0, "proportion of discriminators": pd, "alpha": alpha, "power": power} {
		if err := checkFraction(name, v); err != nil {
			return RulingOut{}, err
		}
	}
	if !(truePD >= 0 && truePD < pd) {
		return RulingOut{}, fmt.Errorf("%w: a true proportion of discriminators of %v cannot rule out %v", ErrOutOfReach, truePD, pd)
	}
	// Ruling out is the same test with wrong answers counted as right ones.
	p, q := p0+(1-p0)*pd, p0+(1-p0)*truePD
	plan, err := TrialsFor(1-p, 1-q, alpha, power)
	if err != nil {
		return RulingOut{}, err
	}
	return RulingOutAt(plan.Trials, p0, pd, truePD, alpha), nil
}
