package stats

import "math"

// Step is what one session adds to the evidence about one null, such as 'this listener only guesses'. A session with a
// plan has a test whose number of trials was fixed beforehand; only a part of the risk that is left is staked on it.
// The rest is kept, and multiplied by the session's evidence, so that more sessions can follow however the earlier ones
// went, and as many as anybody likes.
//
//	V₀ = α,  heard at session t if p_t ≤ (1 − κ_t)·V_{t−1},  else V_t = κ_t·e_t·V_{t−1},  heard too if V_t ≥ 1
//
// V_t / α is a test martingale where the null is true (the planned test pays 1/V_{t−1} with probability (1 − κ_t)·V_{t−1}
// at most, the evidence pays e_t, of expectation 1), so that 'heard' is ever said with probability at most α, whoever
// stops when (Ville's inequality).
//
// ref: Vovk & Wang (2021), E-values: calibration, combination and applications, Annals of Statistics 49(3): mixtures and
// products of e-values are e-values; Shafer (2021), Testing by betting, JRSS A 184(2). Both from memory.
type Step struct {
	// LnP is ln of the p of the planned test, 0 where the session was no whole test of its plan. Passed, where set, says
	// instead whether the test rejects at exp(lnLevel).
	LnP    float64
	Passed func(lnLevel float64) bool
	// Kept is κ, from 0 to 1: what is kept for later of the risk that is left. With 1 there is no planned test.
	Kept float64
	// LnEvidence is ln e, e of expectation at most 1 given what came before, wherever the session was broken off.
	LnEvidence float64
	// Left, of a session that was given up, returns the chance that a guesser would still have passed the planned test at
	// the level exp(lnLevel) from where it was broken off: the value of the stake at that moment. nil: it is lost.
	Left func(lnLevel float64) float64
}

// How much is kept: what the planned test cannot use for its counts are whole numbers, at most maxKept of the risk (more would
// cost the planned test power that sessions nobody planned rarely pay back), and minKept where the counts use all.
const (
	minKept = 0.002
	maxKept = 0.10
)

// keep returns κ for a planned test of the given exact size at level alpha.
func keep(size, alpha float64) float64 {
	return math.Min(maxKept, math.Max(minKept, 1-size/alpha))
}

// AnytimeP returns ln of the p that steps, in the order in which the sessions ended, come to: the least α at which the
// null was rejected at any of them. Under the null it is at most α, at any time, with probability at most α.
func AnytimeP(steps []Step) float64 {
	for _, s := range steps {
		if s.Left != nil {
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

// anytimeSearched halves the range of α: whatever α rejects, a larger one rejects as well.
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
func Rejects(steps []Step, lnAlpha float64) bool { return RiskLeft(steps, lnAlpha) >= -reachSlack }

// RiskLeft returns ln of the risk V that is left of exp(lnAlpha) after the steps; 0 where they reject.
func RiskLeft(steps []Step, lnAlpha float64) float64 {
	v := lnAlpha
	for _, s := range steps {
		level := v + math.Log1p(-s.Kept)
		if s.passed(level) {
			return 0
		}
		v += math.Log(s.Kept) + s.LnEvidence
		if s.Left != nil {
			v = lnAdd(v, math.Log(s.Left(level)))
		}
		if v >= -reachSlack {
			return 0
		}
	}
	return v
}

// NextLevel is the level at which a further planned test would be judged after the steps, if it kept as much as it may.
func NextLevel(steps []Step, alpha float64) float64 {
	return math.Exp(RiskLeft(steps, math.Log(alpha))) * (1 - maxKept)
}

func (s Step) passed(lnLevel float64) bool {
	if s.Passed != nil {
		return s.Passed(lnLevel)
	}
	return s.LnP <= lnLevel+reachSlack
}

// Sitting is what came of one comparison in one session: Correct of Trials, where Planned were to be asked. Fewer than
// planned were asked where the session was given up.
type Sitting struct {
	Correct, Trials, Planned int
	// Smallest is the proportion right, above chance, that its plan was to rule out: it sets how much is kept, no more.
	Smallest float64
	// Up and Down, where set, are planned tests other than the exact binomial ones.
	Up, Down *Stake
	// Dealt holds the answers by what was right where the hidden assignments were no fair coins but balanced: the binomial
	// evidence is not valid then.
	Dealt *Pairs
}

// Stake is a planned test and what is kept beside it, see Step. Passed, where set, stands for LnP.
type Stake struct {
	LnP, Kept float64
	Passed    func(limit, lnLevel float64) bool
}

// Staked returns how much is kept beside a planned test of the given exact size at a level alpha: what the test does not
// use, within limits. It may be next to nothing where the test uses all.
func Staked(size, alpha float64) float64 {
	if size > alpha {
		return maxKept // made for another level: only its earlier looks can reach this one
	}
	return math.Min(maxKept, math.Max(1e-9, 1-size/alpha))
}

func (s Sitting) whole() bool { return s.Trials >= s.Planned }

// Upward returns the steps of sittings against 'right with probability chance' where more right answers count, each
// planned test at its exact binomial p, and evidence for p uniform between chance and 1. alpha is the level at which a
// first test will be judged, and only sets how much is kept: any value is valid that was fixed before.
func Upward(sittings []Sitting, chance, alpha float64) []Step {
	steps := make([]Step, len(sittings))
	evidence := cumulated(func(k, n int) float64 { return lnEvidenceAbove(k, n, chance) })
	for i, s := range sittings {
		steps[i].LnEvidence = s.evidenceAbove(evidence)
		switch {
		case s.Up != nil:
			steps[i].LnP, steps[i].Kept = s.Up.LnP, s.Up.Kept
			continue
		case s.whole():
			steps[i].LnP = lnBinomialUpper(s.Correct, s.Planned, chance)
		default:
			steps[i].Left = s.leftAbove(chance)
		}
		_, size, _ := PlannedCount(s.Planned, chance, alpha)
		steps[i].Kept = keep(size, alpha)
	}
	return steps
}

// MostEvidence returns the most that ln of the evidence of the sittings against chance, see Upward, came to after any of
// them.
func MostEvidence(sittings []Sitting, chance float64) float64 {
	ln, most := 0.0, math.Inf(-1)
	evidence := cumulated(func(k, n int) float64 { return lnEvidenceAbove(k, n, chance) })
	for _, s := range sittings {
		ln += s.evidenceAbove(evidence)
		most = math.Max(most, ln)
	}
	return most
}

// evidenceAbove is ln of the evidence of one sitting; of balanced order the binomial one is not valid.
func (s Sitting) evidenceAbove(binomial func(Sitting) float64) float64 {
	if s.Dealt != nil {
		return s.lnDealt()
	}
	return binomial(s)
}

// leftAbove is Step.Left of a session given up.
func (s Sitting) leftAbove(chance float64) func(float64) float64 {
	return func(lnLevel float64) float64 {
		critical, _, ok := CriticalCount(s.Planned, chance, math.Exp(lnLevel))
		if !ok {
			return 0
		}
		return math.Exp(lnBinomialUpper(critical-s.Correct, s.Planned-s.Trials, chance))
	}
}

// Downward returns the steps of sittings against 'right with probability limit or more' where fewer right answers count,
// with evidence for p uniform between chance and limit.
func Downward(sittings []Sitting, chance, limit, alpha float64) []Step {
	return downward(sittings, keptBelow(sittings, alpha), chance, limit)
}

// keptBelow returns κ of each sitting, whatever limit is to be ruled out.
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
		if s.Dealt != nil && !s.whole() {
			steps[i].LnEvidence = math.Min(0, steps[i].LnEvidence)
		}
		steps[i].Kept = kept[i]
		switch {
		case s.Down != nil:
			steps[i].LnP = s.Down.LnP
			if passed := s.Down.Passed; passed != nil {
				steps[i].Passed = func(lnLevel float64) bool { return passed(limit, lnLevel) }
			}
		case s.whole():
			steps[i].LnP = lnBinomialLower(s.Correct, s.Planned, limit)
		default:
			steps[i].Left = s.leftBelow(limit)
		}
	}
	return steps
}

func (s Sitting) leftBelow(limit float64) func(float64) float64 {
	return func(lnLevel float64) float64 {
		most := lastWhere(0, s.Planned, func(k int) bool { return lnBinomialLower(k, s.Planned, limit) <= lnLevel+reachSlack })
		if most < s.Correct {
			return 0
		}
		return math.Exp(lnBinomialLower(most-s.Correct, s.Planned-s.Trials, limit))
	}
}

// cumulated turns the evidence of counts into that of a further sitting, given those before.
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

// UpperBound returns the proportion right above which the sittings rule out everything, at the level alpha, however many
// sittings there were and however often one looked: every larger proportion is rejected.
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

// PlannedCount returns the smallest number right of n at which a first planned test says 'heard' at level alpha, risk
// kept for later sessions taken off; ok is false where none does. It is CriticalCount but where the counts use up the
// level to within minKept.
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

// EvidenceBound returns the proportion right above which k of n rule out everything at the level alpha, by evidence alone:
// valid whenever one stops. Where listeners differ it bounds their mean, each by their trials: the expectation of
// the product of their likelihood ratios is at most that at the mean (the geometric mean is at most the arithmetic).
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
