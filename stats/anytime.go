package stats

import "math"

// Step is what one session adds to the evidence about one null hypothesis, such as 'this listener only guesses'. A planned
// session has a test whose number of trials was fixed beforehand; only part of the remaining risk is staked on it. The rest
// is kept and multiplied by the session's evidence, so that any number of sessions can follow, whatever the earlier ones
// found.
//
//	V₀ = α,  heard at session t if p_t ≤ (1 − κ_t)·V_{t−1},  else V_t = κ_t·e_t·V_{t−1},  heard too if V_t ≥ 1
//
// V_t / α is a test martingale where the null is true (the planned test pays 1/V_{t−1} with probability at most
// (1 − κ_t)·V_{t−1}, the evidence pays e_t, of expectation 1). So the probability that 'heard' is ever declared is at most
// α, whenever sessions stop (Ville's inequality).
//
// ref: Vovk & Wang (2021), E-values: calibration, combination and applications, Annals of Statistics 49(3): mixtures and
// products of e-values are e-values; Shafer (2021), Testing by betting, JRSS A 184(2). Both from memory.
type Step struct {
	// LnP is ln of the p of the planned test, 0 where the session did not complete its plan. Passed, where set, is used
	// instead: it reports whether the test rejects at exp(lnLevel).
	LnP    float64
	Passed func(lnLevel float64) bool
	// Kept is κ, from 0 to 1: the share of the remaining risk that is kept for later. At 1 there is no planned test.
	Kept float64
	// LnEvidence is ln e. The expectation of e given the past is at most 1, wherever the session was broken off.
	LnEvidence float64
	// PassChance, for a session that was given up, returns the chance that a guesser would still have passed the planned
	// test at the level exp(lnLevel) from that point on: the value of the stake at that moment. nil: the stake is lost.
	PassChance func(lnLevel float64) float64
}

// The share of the risk that is kept is the part that the planned test cannot use because counts are whole numbers: at most
// maxKept, because more would cost the planned test power that unplanned sessions rarely pay back, and at least minKept.
const (
	minKept = 0.002
	maxKept = 0.10
)

// keep returns κ for a planned test of the given exact size at level alpha.
func keep(size, alpha float64) float64 {
	return math.Min(maxKept, math.Max(minKept, 1-size/alpha))
}

// AnytimeP returns ln of the combined p of the steps, in the order in which the sessions ended: the least α at which the
// null is rejected at any of them. Under the null the probability that it ever falls to α is at most α.
func AnytimeP(steps []Step) float64 {
	for _, s := range steps {
		if s.PassChance != nil {
			return anytimeSearched(steps)
		}
	}
	best, kept := 0.0, 0.0 // kept is ln of V_t / α
	for _, s := range steps {
		best = math.Min(best, s.LnP-math.Log1p(-s.Kept)-kept)
		kept += math.Log(s.Kept) + s.LnEvidence
		best = math.Min(best, -kept)
	}
	return best
}

// anytimeSearched finds AnytimeP by bisection: whatever one α rejects, a larger one rejects as well.
func anytimeSearched(steps []Step) float64 {
	lo, hi := -2000.0, 0.0
	if Rejects(steps, lo) {
		return lo
	}
	for range 60 {
		mid := (lo + hi) / 2
		if Rejects(steps, mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// Rejects reports whether the steps reject their null at the level exp(lnAlpha).
func Rejects(steps []Step, lnAlpha float64) bool { return RemainingRisk(steps, lnAlpha) >= -reachSlack }

// RemainingRisk returns ln of the risk V that remains of exp(lnAlpha) after the steps; 0 where they reject.
func RemainingRisk(steps []Step, lnAlpha float64) float64 {
	v := lnAlpha
	for _, s := range steps {
		level := v + math.Log1p(-s.Kept)
		if s.passed(level) {
			return 0
		}
		v += math.Log(s.Kept) + s.LnEvidence
		if s.PassChance != nil {
			v = lnAdd(v, math.Log(s.PassChance(level)))
		}
		if v >= -reachSlack {
			return 0
		}
	}
	return v
}

// NextLevel is the level at which a further planned test would be judged after the steps, if it keeps the maximum.
func NextLevel(steps []Step, alpha float64) float64 {
	return math.Exp(RemainingRisk(steps, math.Log(alpha))) * (1 - maxKept)
}

func (s Step) passed(lnLevel float64) bool {
	if s.Passed != nil {
		return s.Passed(lnLevel)
	}
	return s.LnP <= lnLevel+reachSlack
}

// Sitting is the outcome of one comparison in one session: Correct of Trials, where Planned were to be asked. Trials is
// smaller than Planned where the session was given up.
type Sitting struct {
	Correct, Trials, Planned int
	// Smallest is the proportion right, above chance, that its plan was to rule out. It only sets how much is kept.
	Smallest float64
	// Up and Down, where set, are planned tests other than the exact binomial ones.
	Up, Down *Stake
	// Dealt holds the answers by what was right where the hidden assignments were balanced instead of drawn by fair coins:
	// binomial evidence is not valid then.
	Dealt *Pairs
}

// Stake is a planned test and the share of the risk that is not staked on it, see Step. Passed, where set, replaces LnP.
type Stake struct {
	LnP, Kept float64
	Passed    func(limit, lnLevel float64) bool
}

// UnusedShare returns the share of the level alpha that a planned test of the given exact size does not use: at most
// maxKept, and next to nothing where the test uses it all.
func UnusedShare(size, alpha float64) float64 {
	if size > alpha {
		return maxKept // made for another level: only its earlier looks can reach this one
	}
	return math.Min(maxKept, math.Max(1e-9, 1-size/alpha))
}

func (s Sitting) finished() bool { return s.Trials >= s.Planned }

// Upward returns the steps of sittings against 'right with probability chance', for alternatives above chance: each
// planned test at its exact binomial p, and evidence for p uniform between chance and 1. alpha is the level at which a
// first test will be judged. It only sets how much is kept: any value fixed beforehand is valid.
func Upward(sittings []Sitting, chance, alpha float64) []Step {
	steps := make([]Step, len(sittings))
	evidence := cumulated(func(k, n int) float64 { return lnEvidenceAbove(k, n, chance) })
	for i, s := range sittings {
		steps[i].LnEvidence = s.evidenceAbove(evidence)
		switch {
		case s.Up != nil:
			steps[i].LnP, steps[i].Kept = s.Up.LnP, s.Up.Kept
			continue
		case s.finished():
			steps[i].LnP = lnBinomialUpper(s.Correct, s.Planned, chance)
		default:
			steps[i].PassChance = s.passChanceAbove(chance)
		}
		_, size, _ := PlannedCount(s.Planned, chance, alpha)
		steps[i].Kept = keep(size, alpha)
	}
	return steps
}

// MostEvidence returns the largest ln of the evidence against chance (see Upward) reached after any of the sittings.
func MostEvidence(sittings []Sitting, chance float64) float64 {
	ln, most := 0.0, math.Inf(-1)
	evidence := cumulated(func(k, n int) float64 { return lnEvidenceAbove(k, n, chance) })
	for _, s := range sittings {
		ln += s.evidenceAbove(evidence)
		most = math.Max(most, ln)
	}
	return most
}

// evidenceAbove is ln of the evidence of one sitting; for balanced deals the binomial evidence is not valid.
func (s Sitting) evidenceAbove(binomial func(Sitting) float64) float64 {
	if s.Dealt != nil {
		return s.lnDealt()
	}
	return binomial(s)
}

// passChanceAbove is Step.PassChance of a session that was given up.
func (s Sitting) passChanceAbove(chance float64) func(float64) float64 {
	return func(lnLevel float64) float64 {
		critical, _, ok := CriticalCount(s.Planned, chance, math.Exp(lnLevel))
		if !ok {
			return 0
		}
		return math.Exp(lnBinomialUpper(critical-s.Correct, s.Planned-s.Trials, chance))
	}
}

// Downward returns the steps of sittings against 'right with probability limit or more', for alternatives below limit,
// with evidence for p uniform between chance and limit.
func Downward(sittings []Sitting, chance, limit, alpha float64) []Step {
	return downward(sittings, keptBelow(sittings, alpha), chance, limit)
}

// keptBelow returns κ of each sitting. It does not depend on the limit to be ruled out.
func keptBelow(sittings []Sitting, alpha float64) []float64 {
	kept := make([]float64, len(sittings))
	for i, s := range sittings {
		if s.Down != nil {
			kept[i] = s.Down.Kept
		} else {
			kept[i] = keptRulingOut(s.Planned, s.Smallest, alpha)
		}
	}
	return kept
}

func downward(sittings []Sitting, kept []float64, chance, limit float64) []Step {
	steps := make([]Step, len(sittings))
	evidence := cumulated(func(k, n int) float64 { return lnEvidenceBelow(k, n, chance, limit) })
	for i, s := range sittings {
		steps[i].LnEvidence = evidence(s)
		if s.Dealt != nil && !s.finished() {
			steps[i].LnEvidence = math.Min(0, steps[i].LnEvidence)
		}
		steps[i].Kept = kept[i]
		switch {
		case s.Down != nil:
			steps[i].LnP = s.Down.LnP
			if passed := s.Down.Passed; passed != nil {
				steps[i].Passed = func(lnLevel float64) bool { return passed(limit, lnLevel) }
			}
		case s.finished():
			steps[i].LnP = lnBinomialLower(s.Correct, s.Planned, limit)
		default:
			steps[i].PassChance = s.passChanceBelow(limit)
		}
	}
	return steps
}

func (s Sitting) passChanceBelow(limit float64) func(float64) float64 {
	return func(lnLevel float64) float64 {
		most := lastWhere(0, s.Planned, func(k int) bool { return lnBinomialLower(k, s.Planned, limit) <= lnLevel+reachSlack })
		if most < s.Correct {
			return 0
		}
		return math.Exp(lnBinomialLower(most-s.Correct, s.Planned-s.Trials, limit))
	}
}

// cumulated turns evidence of total counts into the evidence that each further sitting adds to those before it.
func cumulated(ln func(k, n int) float64) func(Sitting) float64 {
	k, n, before := 0, 0, 0.0
	return func(s Sitting) float64 {
		k, n = k+s.Correct, n+s.Trials
		now := ln(k, n)
		added := now - before
		before = now
		return added
	}
}

// UpperBound returns the upper confidence bound of the proportion right at the level alpha: every larger proportion is
// rejected. It is valid for any number of sittings and however often one looked.
func UpperBound(sittings []Sitting, chance, alpha float64) float64 {
	kept := keptBelow(sittings, alpha)
	lo, hi := chance, 1.0
	for range 40 {
		mid := (lo + hi) / 2
		if Rejects(downward(sittings, kept, chance, mid), math.Log(alpha)) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// keptRulingOut returns κ of a plan of n trials that is to rule out 'right with probability smallest or more'.
func keptRulingOut(n int, smallest, alpha float64) float64 {
	limit := math.Log(Usable(alpha)) + reachSlack
	most := lastWhere(0, n, func(k int) bool { return lnBinomialLower(k, n, smallest) <= limit })
	return keep(math.Exp(lnBinomialLower(most, n, smallest)), alpha)
}

// PlannedCount returns the smallest number right of n at which a first planned test says 'heard' at level alpha, less the
// risk kept for later sessions; ok is false where none does. It equals CriticalCount unless the counts use up the level to
// within minKept.
func PlannedCount(n int, chance, alpha float64) (k int, size float64, ok bool) {
	return CriticalCount(n, chance, Usable(alpha))
}

// Usable is the part of a level that a planned test may use up: a little is always kept for later.
func Usable(alpha float64) float64 { return alpha * (1 - minKept) }

// lnEvidenceAbove returns ln of the Bayes factor of p uniform on [chance, 1] against p = chance after k of n.
func lnEvidenceAbove(k, n int, chance float64) float64 {
	a, b := float64(k), float64(n-k)
	_, upper := lnBetaTails(a+1, b+1, chance, 1-chance)
	return upper - math.Log1p(-chance) - math.Log(float64(n)+1) - lnBinomial(a, b, chance, 1-chance)
}

// LnUpperTail returns ln P(X ≥ k) for X binomial of n trials at p.
func LnUpperTail(k, n int, p float64) float64 { return lnBinomialUpper(k, n, p) }

// EvidenceBound returns the upper confidence bound of the proportion right after k of n at the level alpha, by evidence
// alone: valid whenever one stops. Where listeners differ it bounds their mean weighted by trials, because the expected
// product of their likelihood ratios is largest where all equal the mean (geometric mean ≤ arithmetic mean).
func EvidenceBound(k, n int, chance, alpha float64) float64 {
	lo, hi := chance, 1.0
	for range 40 {
		mid := (lo + hi) / 2
		if lnEvidenceBelow(k, n, chance, mid) >= -math.Log(alpha) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}
