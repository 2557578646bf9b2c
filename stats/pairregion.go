package stats

import "math"

// pairRegion is where the log-likelihood of the answers to duplicate pairs is cut or more, over all pairs of rates H and
// F. It is convex, because each rate's log-likelihood is concave.
//
// A profile interval of d′ is the range of d′ over the region, cut to H ≥ F, below which no model here knows anything.
// That range has no gaps, although the profile's inner search has several maxima: at a large d′ of the differencing model
// the criterion can fit the hits or the false alarms, and a search that climbs from one place may find the lesser of
// both. So the ends are sought along the region's edge.
type pairRegion struct {
	Pairs
	cut float64
}

// regionSteps is how many places of the edge are looked at before the highest are refined.
const regionSteps = 48

// likeliest returns the rates of the largest likelihood with H ≥ F: those seen, or the common one where hits fall short.
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

// rangeOf returns the range over the region of dPrime, which grows with H and has concave curves of equal d′ over F. The
// upper end is NaN where the likelihood never falls: where no different pair was missed, or no false alarm given.
func (r pairRegion) rangeOf(dPrime func(h, f float64) float64) [2]float64 {
	lo, hi := r.falseAlarmLogits()
	edge := func(side int, logit float64) float64 {
		f, _ := fromLogit(logit)
		return dPrime(r.hits(f)[side], f)
	}
	iv := [2]float64{0, math.NaN()}
	if pooled := rate(r.Hits+r.FalseAlarms, r.Misses+r.CorrectRejections); r.lnPairs(pooled, pooled) < r.cut {
		// The rates that give at most some d′ form a convex set, so that d′ has one minimum along the edge.
		_, least := peak(func(logit float64) float64 { return -edge(0, logit) }, lo, hi)
		iv[0] = -least
	}
	if r.Misses > 0 && r.FalseAlarms > 0 {
		lo, hi = r.aboveChance(lo, hi)
		// The edge runs steeply into both of its ends, where equal steps of an angle are dense.
		_, iv[1] = scanPeak(func(angle float64) float64 { return edge(1, lo+(hi-lo)*(1-math.Cos(angle))/2) }, 0, math.Pi, regionSteps)
	}
	return iv
}

// falseAlarmLogits returns the log-odds between which F lies anywhere in the region.
func (r pairRegion) falseAlarmLogits() (lo, hi float64) {
	h := rate(r.Hits, r.Misses)
	return lnRateEdge(r.FalseAlarms, r.CorrectRejections, r.cut-lnRate(r.Hits, r.Misses, h))
}

// aboveChance narrows log-odds of F to where the region holds an H above it. They have no gap, for the region is convex,
// and the likeliest F is one of them.
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

// lnRateEdge returns the log-odds between which the log-likelihood of yes and no answers is level or more: both those of
// the largest likelihood where it is nowhere, by rounding.
func lnRateEdge(yes, no int, level float64) (lo, hi float64) {
	return lnRateLower(yes, no, level), -lnRateLower(no, yes, level)
}

// lnRateLower finds the lower edge. The log-likelihood is concave in the log-odds t and at most yes·t, so that Newton's
// steps from level/yes come up to the edge without passing it.
func lnRateLower(yes, no int, level float64) float64 {
	const far = 700 // e^±700: as far as log-odds go
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
