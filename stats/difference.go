package stats

import (
	"math"
	"math/rand/v2"
)

// GroupDifference compares the mean proportion correct over listeners of two groups, B less A.
type GroupDifference struct {
	A        string     `json:"a"`
	B        string     `json:"b"`
	Estimate float64    `json:"estimate"`
	Interval [2]float64 `json:"interval"`     // Welch's t, cut at ±1; NaN where a group has one listener
	Cut      bool       `json:"interval_cut"` // the t interval, which is unbounded, reached beyond ±1 and was cut there
	P        float64    `json:"p_value"`      // two-sided, permuting listeners between the groups
	Log10P   float64    `json:"log10_p_value"`
	Exact    bool       `json:"exact"` // every division of the listeners was counted, not a random sample
}

// permutations is the largest number of divisions that are enumerated; beyond it, that many are drawn at random.
const permutations = 200_000

// permutationSteps is the largest number of additions, listeners² · possible sums, that an exact count of the divisions may take: some
// tenths of a second. A judgement, no source: it decides how long a p takes, no figure depends on it.
const permutationSteps = 50_000_000

// permutationSeed makes the random divisions the same on every run.
const permutationSeed = 1

// CompareGroups tests whether the listeners of groups a and b differ. The listener is the unit: trials of one listener are
// not independent of each other, listeners are. confidence applies to the interval.
func CompareGroups(a, b []Count, confidence float64) GroupDifference {
	pa, pb := proportions(a), proportions(b)
	d := GroupDifference{Estimate: mean(pb) - mean(pa), Interval: welch(pa, pb, confidence)}
	d.cut()
	var ln float64
	switch all := append(append([]Count(nil), a...), b...); {
	case sameTrials(all) && len(all)*len(all)*(all[0].Trials*len(all)+1) < permutationSteps:
		ln, d.Exact = permuteCounts(all, len(b), a, b), true
	case lnChoose(len(all), len(b)) < math.Log(permutations):
		ln, d.Exact = permuteAll(append(pa, pb...), len(b), d.Estimate), true
	default:
		ln = permuteSome(append(pa, pb...), len(b), d.Estimate)
	}
	d.P, d.Log10P = math.Exp(ln), log10Of(ln)
	return d
}

// cut limits the interval to ±1, the range of a difference of two proportions.
func (d *GroupDifference) cut() {
	if d.Interval[0] < -1 {
		d.Interval[0], d.Cut = -1, true
	}
	if d.Interval[1] > 1 {
		d.Interval[1], d.Cut = 1, true
	}
}

func proportions(counts []Count) []float64 {
	p := make([]float64, len(counts))
	for i, c := range counts {
		p[i] = float64(c.Correct) / float64(c.Trials)
	}
	return p
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// spread returns the variance of the mean of v, NaN for fewer than two.
func spread(v []float64) float64 {
	if len(v) < 2 {
		return math.NaN()
	}
	m, sum := mean(v), 0.0
	for _, x := range v {
		sum += (x - m) * (x - m)
	}
	n := float64(len(v))
	return sum / (n - 1) / n
}

// welch returns the interval of mean(b) − mean(a) with unequal variances.
//
// ref: Welch (1947).
func welch(a, b []float64, confidence float64) [2]float64 {
	va, vb := spread(a), spread(b)
	d := mean(b) - mean(a)
	if v := va + vb; v == 0 || math.IsNaN(v) {
		return [2]float64{math.NaN(), math.NaN()}
	}
	df := (va + vb) * (va + vb) / (va*va/float64(len(a)-1) + vb*vb/float64(len(b)-1))
	half := studentUpperPoint((1-confidence)/2, df) * math.Sqrt(va+vb)
	return [2]float64{d - half, d + half}
}

func sameTrials(c []Count) bool {
	for _, x := range c {
		if x.Trials != c[0].Trials {
			return false
		}
	}
	return true
}

// permuteCounts counts, for every possible total of the second group, the divisions of the listeners that give it:
// exact for any number of listeners with equal numbers of trials.
func permuteCounts(all []Count, size int, a, b []Count) float64 {
	total := sumCounts(all).Correct
	ways := make([][]float64, size+1) // probabilities, so that nothing overflows
	for g := range ways {
		ways[g] = make([]float64, total+1)
	}
	ways[0][0] = 1
	for seen, c := range all {
		for g := min(size, seen+1); g >= 0; g-- {
			choose(ways, g, c.Correct, seen, size, len(all))
		}
	}
	na, nb := float64(len(a)), float64(len(b))
	distance := func(sum int) float64 { return math.Abs(float64(sum)/nb - float64(total-sum)/na) }
	limit := distance(sumCounts(b).Correct) * (1 - 1e-12)
	p := 0.0
	for sum, w := range ways[size] {
		if distance(sum) >= limit {
			p += w
		}
	}
	return math.Min(0, math.Log(p))
}

// choose folds one more listener into ways[g], drawn into the group with the probability of a random division.
func choose(ways [][]float64, g, k, seen, size, listeners int) {
	remaining := float64(listeners - seen)
	stay := 1 - float64(size-g)/remaining
	into := 0.0
	if g > 0 {
		into = float64(size-g+1) / remaining
	}
	for sum := len(ways[g]) - 1; sum >= 0; sum-- {
		v := ways[g][sum] * stay
		if g > 0 && sum >= k {
			v += ways[g-1][sum-k] * into
		}
		ways[g][sum] = v
	}
}

// permuteAll enumerates every division.
func permuteAll(p []float64, size int, observed float64) float64 {
	limit := math.Abs(observed) * (1 - 1e-9)
	extreme, all := 0.0, 0.0
	total := mean(p) * float64(len(p))
	var walk func(from, left int, sum float64)
	walk = func(from, left int, sum float64) {
		if left == 0 {
			all++
			if math.Abs(difference(sum, total, size, len(p))) >= limit {
				extreme++
			}
			return
		}
		for i := from; i <= len(p)-left; i++ {
			walk(i+1, left-1, sum+p[i])
		}
	}
	walk(0, size, 0)
	return math.Log(extreme / all)
}

// permuteSome draws divisions at random. The observed one counts as one of them, so that p is never zero.
func permuteSome(p []float64, size int, observed float64) float64 {
	limit := math.Abs(observed) * (1 - 1e-9)
	draws := min(permutations, 20_000_000/len(p)+1000)
	random := rand.New(rand.NewPCG(permutationSeed, 0))
	total := mean(p) * float64(len(p))
	extreme := 1.0
	for range draws {
		sum := 0.0
		for i := range size {
			j := i + random.IntN(len(p)-i)
			p[i], p[j] = p[j], p[i]
			sum += p[i]
		}
		if math.Abs(difference(sum, total, size, len(p))) >= limit {
			extreme++
		}
	}
	return math.Log(extreme / float64(draws+1))
}

func difference(sum, total float64, size, n int) float64 {
	return sum/float64(size) - (total-sum)/float64(n-size)
}
