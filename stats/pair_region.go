package stats

import "math"

// pairRegion is the set of rates H and F at which the log-likelihood of the answers to duplicate pairs is at least cut.
// It is convex, because each rate's log-likelihood is concave.
//
// A profile interval of d′ is the range of d′ over the region, limited to H ≥ F, where the models here apply. That range
// has no gaps, although the profile's inner search has several maxima: at a large d′ of the differencing model the
// criterion can fit either the hits or the false alarms, and a local search may find the lower maximum. So the ends are
// searched along the edge of the region.
type pairRegion struct {
	Pairs
	cut float64
}

// regionSteps is the number of points of the edge that are evaluated before the highest are refined.
const regionSteps = 48

// likeliest returns the maximum-likelihood rates with H ≥ F: the observed ones, or the common rate where H would be below F.
func (c Pairs) likeliest() (h, f float64) {
	h, f = rate(c.Hits, c.Misses), rate(c.FalseAlarms, c.CorrectRejections)
	if h < f {
		h = rate(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections)
		f = h
	}
	return h, f
}

// region returns the rates whose log-likelihood has fallen by at most half the χ²₁ quantile.
func (c Pairs) region(confidence float64) pairRegion {
	z := normalUpperPoint(math.Log((1 - confidence) / 2))
	return pairRegion{c, c.lnPairs(c.likeliest()) - z*z/2}
}

// rangeOf returns the range of dPrime over the region. dPrime must grow with H and have concave curves of equal d′ over F.
// The upper end is NaN where the likelihood never falls: with no misses or no false alarms.
func (r pairRegion) rangeOf(dPrime func(h, f float64) float64) [2]float64 {
	lo, hi := r.falseAlarmLogits()
	edge := func(side int, logit float64) float64 {
		f, _ := fromLogit(logit)
		return dPrime(r.hits(f)[side], f)
	}
	iv := [2]float64{0, math.NaN()}
	if pooled := rate(r.Hits+r.FalseAlarms, r.Misses+r.CorrectRejections); r.lnPairs(pooled, pooled) < r.cut {
		// The rates with at most a given d′ form a convex set, so that d′ has one minimum along the edge.
		_, least := peak(func(logit float64) float64 { return -edge(0, logit) }, lo, hi)
		iv[0] = -least
	}
	if r.Misses > 0 && r.FalseAlarms > 0 {
		lo, hi = r.aboveChance(lo, hi)
		// The edge is steep at both ends, where equal steps of an angle are dense.
		_, iv[1] = scanPeak(func(angle float64) float64 { return edge(1, lo+(hi-lo)*(1-math.Cos(angle))/2) }, 0, math.Pi, regionSteps)
	}
	return iv
}

// falseAlarmLogits returns the range of the log-odds of F over the region.
func (r pairRegion) falseAlarmLogits() (lo, hi float64) {
	h := rate(r.Hits, r.Misses)
	return lnRateEdge(r.FalseAlarms, r.CorrectRejections, r.cut-lnRate(r.Hits, r.Misses, h))
}

// aboveChance narrows the log-odds of F to where the region contains an H above F. They form one interval, because the
// region is convex, and it includes the likeliest F.
func (r pairRegion) aboveChance(lo, hi float64) (from, to float64) {
	_, f := r.likeliest()
	within := math.Log(f / (1 - f))
	above := func(logit float64) float64 {
		f, _ := fromLogit(logit)
		return r.hits(f)[1] - f
	}
	if above(lo) < 0 {
		lo = rootBetween(above, lo, within)
	}
	if above(hi) < 0 {
		hi = rootBetween(above, within, hi)
	}
	return lo, hi
}

// hits returns the least and the largest H of the region at F.
func (r pairRegion) hits(f float64) [2]float64 {
	lo, hi := lnRateEdge(r.Hits, r.Misses, r.cut-lnRate(r.FalseAlarms, r.CorrectRejections, f))
	low, _ := fromLogit(lo)
	high, _ := fromLogit(hi)
	return [2]float64{low, high}
}

// lnRateEdge returns the range of log-odds over which the log-likelihood of yes and no answers is at least level; where
// rounding leaves no such range, both ends are the log-odds of the maximum.
func lnRateEdge(yes, no int, level float64) (lo, hi float64) {
	return lnRateLower(yes, no, level), -lnRateLower(no, yes, level)
}

// lnRateLower finds the lower edge. The log-likelihood is concave in the log-odds t and at most yes·t, so that Newton's
// steps from level/yes approach the edge from below without passing it.
func lnRateLower(yes, no int, level float64) float64 {
	const far = 700 // e^±700 is close to the limits of a float64
	top := math.Min(math.Max(math.Log(float64(yes)/float64(no)), -far), far)
	excess := func(t float64) (value, slope float64) {
		p, q := fromLogit(t)
		return xlogy(yes, p) + xlogy(no, q) - level, float64(yes)*q - float64(no)*p
	}
	if v, _ := excess(top); v <= 0 {
		return top
	}
	if yes == 0 {
		return -far
	}
	return newtonRising(excess, -far, top, math.Max(level/float64(yes), -far))
}
