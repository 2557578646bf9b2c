package stats

import (
	"math"
	"slices"
)

// ThresholdChange is how a listener's threshold changed from one set of answers to another, in dB. All fields are NaN where either set does
// not bound its threshold on both sides under the first prior; an end of the interval is NaN where the cautious prior leaves it open.
type ThresholdChange struct {
	FirstDB    float64    `json:"first_db"` // posterior medians
	SecondDB   float64    `json:"second_db"`
	DB         float64    `json:"db"`          // posterior median of the second threshold less the first
	IntervalDB [2]float64 `json:"interval_db"` // 95 %, equal tails, the wider by either prior
}

// Change returns how the threshold changed from the first counts to the second, of a listener whose slope and lapse rate stayed the same: what
// they are is learnt from all answers, which makes the change better known than the difference of two estimates. Either threshold has the
// prior of one alone. It is an error if there is not one count for each level, or a count is out of range.
func (g *ThresholdGrid) Change(first, second []Count) (ThresholdChange, error) {
	var scaled [2][]float64
	for i, counts := range [2][]Count{first, second} {
		ln, _, err := g.likelihood(counts)
		if err != nil {
			return ThresholdChange{}, err
		}
		most := slices.Max(ln)
		for cell := range ln {
			ln[cell] = math.Exp(ln[cell] - most)
		}
		scaled[i] = ln
	}
	each := g.start.each()
	prior := g.start.weight[:each] // the same at every threshold
	c := g.changeBy(scaled, func(k int) float64 { return prior[k] })
	if math.IsNaN(c.IntervalDB[0] + c.IntervalDB[1]) {
		nan := math.NaN()
		return ThresholdChange{nan, nan, nan, [2]float64{nan, nan}}, nil
	}
	if g.caution != nil {
		c.IntervalDB = widerOf(c.IntervalDB, g.changeBy(scaled, func(k int) float64 { return prior[k] * g.caution[k] }).IntervalDB)
	}
	return c, nil
}

// changeBy is Change under one prior of slope and lapse rate. Given these, the two thresholds are independent, and the distribution of their
// difference is the correlation of theirs.
func (g *ThresholdGrid) changeBy(likelihood [2][]float64, prior func(k int) float64) ThresholdChange {
	each, n := g.start.each(), len(g.start.cfg.Thresholds)
	change := make([]float64, 2*n-1)
	var alone [2][]float64 // the posterior of either threshold
	for i := range alone {
		alone[i] = make([]float64, n)
	}
	own := [2][]float64{make([]float64, n), make([]float64, n)}
	for k := range each {
		var sum [2]float64
		for i := range own {
			for t := range n {
				own[i][t] = likelihood[i][t*each+k]
				sum[i] += own[i][t]
			}
		}
		w := prior(k)
		for t := range n {
			alone[0][t] += w * own[0][t] * sum[1]
			alone[1][t] += w * own[1][t] * sum[0]
			at := change[n-1-t:][:n] // by the second threshold, for the t-th value of the first
			for u, l := range own[1] {
				at[u] += w * own[0][t] * l
			}
		}
	}
	return g.summary(change, alone)
}

// summary returns the quantiles of distributions that need not sum to 1.
func (g *ThresholdGrid) summary(change []float64, alone [2][]float64) ThresholdChange {
	levels := g.start.units()
	for i := range levels {
		levels[i] *= 20 // of log10, in dB
	}
	n := len(levels)
	step := (levels[n-1] - levels[0]) / float64(n-1)
	const tail = 0.025
	var c ThresholdChange
	var low, high [2]bool // which of the two thresholds are bounded below, and above
	for i, median := range [2]*float64{&c.FirstDB, &c.SecondDB} {
		sumToOne(alone[i])
		*median = quantileOf(alone[i], levels, step, 0.5)
		low[i], high[i] = alone[i][0] < tail/edge, alone[i][n-1] < tail/edge
	}
	differences := make([]float64, len(change))
	for i := range differences {
		differences[i] = float64(i-(n-1)) * step
	}
	sumToOne(change)
	c.DB = quantileOf(change, differences, step, 0.5)
	c.IntervalDB = [2]float64{math.NaN(), math.NaN()}
	if low[1] && high[0] {
		c.IntervalDB[0] = quantileOf(change, differences, step, tail)
	}
	if high[1] && low[0] {
		c.IntervalDB[1] = quantileOf(change, differences, step, 1-tail)
	}
	return c
}
