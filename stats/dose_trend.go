package stats

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// DoseTrend is the Cochran–Armitage test: does the proportion correct rise with the dose, whatever the shape?
type DoseTrend struct {
	Z         float64 `json:"z"` // above zero: it rises
	Chi2      float64 `json:"chi2"`
	P         float64 `json:"p_value"` // one-sided: rises
	Log10P    float64 `json:"log10_p_value"`
	PTwoSided float64 `json:"p_two_sided"`
	// PExact and PExactTwoSided count every table with the same margins; NaN where there are too many, or with strata.
	PExact         float64 `json:"p_exact"`
	PExactTwoSided float64 `json:"p_exact_two_sided"`
	Listeners      int     `json:"listeners"` // strata, so that which listener came to which dose makes no trend; 0: none named
}

// CochranArmitage tests for a trend over scores: the doses, or their logarithms base ten unless linear. Listeners are
// strata: answers are compared within each of them alone, and the differences are added up. It is an error if a count is out of
// range, a score is not finite, or there are fewer than two doses. NaN where all answers are right or all wrong.
//
//	z = Σ_l Σ_i s·(k − n·p_l) / √Σ_l p_l·q_l·(Σ n·s² − (Σ n·s)²/N)
//
// ref: Cochran (1954), Armitage (1955); strata: Mantel (1963), with N in place of N − 1, so that one stratum is
// Armitage's own.
func CochranArmitage(points []DosePoint, linear bool) (DoseTrend, error) {
	merged, err := mergeDoses(points)
	if err != nil {
		return DoseTrend{}, err
	}
	var order []string
	strata := map[string]stratum{}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range merged {
		s := p.Dose
		if !linear {
			s = math.Log10(p.Dose)
		}
		if math.IsInf(s, 0) || math.IsNaN(s) {
			return DoseTrend{}, fmt.Errorf("stats: dose %v has no logarithm", p.Dose)
		}
		if _, known := strata[p.Listener]; !known {
			order = append(order, p.Listener)
		}
		strata[p.Listener] = append(strata[p.Listener], scored{s, p.Correct, p.Trials})
		lo, hi = math.Min(lo, s), math.Max(hi, s)
	}
	if !(hi > lo) {
		return DoseTrend{}, fmt.Errorf("stats: one dose: a trend needs two different doses or more")
	}
	excess, variance := 0.0, 0.0
	for _, name := range order {
		e, v := strata[name].excess()
		excess, variance = excess+e, variance+v
	}
	t := DoseTrend{Z: excess / math.Sqrt(variance), PExact: math.NaN(), PExactTwoSided: math.NaN()}
	if len(order) > 1 || order[0] != "" {
		t.Listeners = len(order)
	}
	if variance == 0 { // nobody came to two doses, or all answers are alike
		t.Z = math.NaN()
	}
	ln := lnNormalUpper(t.Z)
	t.Chi2, t.P, t.Log10P = t.Z*t.Z, math.Exp(ln), log10Of(ln)
	t.PTwoSided = math.Exp(lnChiSquareUpper(t.Chi2, 1))
	if len(order) == 1 {
		t.PExact, t.PExactTwoSided = strata[order[0]].exact()
	}
	return t, nil
}

// scored is k of n at a score.
type scored struct {
	score float64
	k, n  int
}

// stratum is one listener's counts, compared only with each other.
type stratum []scored

func (s stratum) total() (k, n int) {
	for _, p := range s {
		k, n = k+p.k, n+p.n
	}
	return k, n
}

// excess is Σ s·(k − n·p) and its variance where the dose changes nothing. Scores are taken from their mean, which
// changes neither and keeps the digits.
func (s stratum) excess() (sum, variance float64) {
	k, n := s.total()
	p, mean := float64(k)/float64(n), 0.0
	for _, c := range s {
		mean += c.score * float64(c.n) / float64(n)
	}
	for _, c := range s {
		d := c.score - mean
		sum += d * float64(c.k)
		variance += d * d * float64(c.n) * p * (1 - p)
	}
	return sum, variance
}

// maxStates bounds the states kept while tables are counted, to about a quarter of a second.
const maxStates = 100_000

// scoreSteps is the number of steps into which the range of unevenly spaced scores is divided: their sums are then
// whole numbers, and equal sums compare equal whatever the order of addition.
const scoreSteps = 1e9

// maxEvenSteps is the largest number of equal steps over which scores count as evenly spaced.
const maxEvenSteps = 10_000

// exact returns the chance, over all tables with these margins, of a weighted sum Σ s·k at least as large as the observed
// one, and of one at least as far from its mean.
func (s stratum) exact() (greater, two float64) {
	k, n := s.total()
	if k == 0 || k == n {
		return math.NaN(), math.NaN()
	}
	scores, slack := s.integerScores()
	states := []map[int64]float64{0: {0: 1}}
	remaining := n
	for i, c := range s {
		remaining -= c.n
		if states = fold(states, c.n, scores[i], k, k-remaining, float64(k)/float64(n)); states == nil {
			return math.NaN(), math.NaN()
		}
	}
	seen, mean := int64(0), 0.0
	for i, c := range s {
		seen += scores[i] * int64(c.k)
		mean += float64(scores[i]) * float64(c.n) * float64(k) / float64(n)
	}
	all := 0.0
	for _, sum := range slices.Sorted(maps.Keys(states[k])) {
		v := states[k][sum]
		all += v
		if float64(sum) >= float64(seen)-slack {
			greater += v
		}
		if math.Abs(float64(sum)-mean) >= math.Abs(float64(seen)-mean)-slack {
			two += v
		}
	}
	return greater / all, two / all
}

// evenSlack is the part of a step by which scores on an even grid may miss it: rounding alone.
const evenSlack = 1e-6

// integerScores returns the scores as whole numbers of steps, and the largest error of a sum of them.
func (s stratum) integerScores() (rounded []int64, slack float64) {
	scores := make([]float64, len(s))
	for i, c := range s {
		scores[i] = c.score
	}
	slices.Sort(scores)
	lo, hi := scores[0], scores[len(scores)-1]
	step := hi - lo
	for i := range scores[1:] {
		if d := scores[i+1] - scores[i]; d > (hi-lo)/maxEvenSteps {
			step = math.Min(step, d)
		}
	}
	_, n := s.total()
	slack = evenSlack
	for _, v := range scores {
		if at := (v - lo) / step; math.Abs(at-math.Round(at)) > evenSlack {
			step, slack = (hi-lo)/scoreSteps, float64(n)
			break
		}
	}
	rounded = make([]int64, len(s))
	for i, c := range s {
		rounded[i] = int64(math.Round((c.score - lo) / step))
	}
	return rounded, slack
}

// fold adds n trials at one score to states[correct so far][weighted sum]; totals above most or below least cannot end
// at the margin and are dropped. It returns nil where there are too many states.
func fold(states []map[int64]float64, n int, score int64, most, least int, p float64) []map[int64]float64 {
	next := make([]map[int64]float64, most+1)
	kept := 0
	for j := range n + 1 {
		weight := math.Exp(lnBinomialPoint(j, n, p)) // any p will do: it cancels. The mean proportion does not underflow early
		for had, sums := range states {
			to := had + j
			if to > most || to < least {
				continue
			}
			if next[to] == nil {
				next[to] = map[int64]float64{}
			}
			before := len(next[to])
			for sum, v := range sums {
				next[to][sum+score*int64(j)] += v * weight
			}
			if kept += len(next[to]) - before; kept > maxStates {
				return nil
			}
		}
	}
	return next
}
