package stats

import (
	"math"
	"slices"
)

// tie is the difference of expected variances, relative to the present variance, up to which two doses count as equal. Rounding, which
// differs from one processor to another, changes the sums by a millionth of that: the same answers lead to the same dose everywhere.
const tie = 1e-9

// each returns how many cells share a threshold; they are consecutive.
func (p Placement) each() int { return len(p.cells) / len(p.cfg.Thresholds) }

// units returns the thresholds in the scale's unit.
func (p Placement) units() []float64 {
	u := make([]float64, len(p.cfg.Thresholds))
	for i := range u {
		u[i] = p.cells[0].unit(p.cfg.Thresholds[i])
	}
	return u
}

// sharpest returns the dose, by index, that is expected to leave the threshold the least variance, and that variance.
//
// With R the chance of a right answer and M, M_r the means of the threshold u and of u over right answers, weighted by R,
// an answer is expected to leave E[u²] − M_r²/R − (M − M_r)²/(1 − R).
func (p Placement) sharpest() (best int, variance float64) {
	units, each, m := p.units(), p.each(), p.marginal()
	from, to := bulk(m)
	centre := 0.0 // sums about it lose no digits
	for i, w := range m {
		centre += w * units[i]
	}
	mean, square := 0.0, 0.0
	for t := from; t < to; t++ {
		units[t] -= centre
		mean += m[t] * units[t]
		square += m[t] * units[t] * units[t]
	}
	variance = math.Inf(1)
	for i, chance := range p.chance {
		right, rightMean := 0.0, 0.0
		for t := from; t < to; t++ {
			at := dot(p.weight[t*each:(t+1)*each], chance[t*each:(t+1)*each])
			right += at
			rightMean += at * units[t]
		}
		left := square - rightMean*rightMean/right - (mean-rightMean)*(mean-rightMean)/(1-right)
		if left < variance-tie*square {
			best, variance = i, left
		}
	}
	return best, variance
}

// dot returns Σ a·b, in four sums, which a processor adds at the same time. b is as long as a.
func dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	b = b[:len(a)]
	const sums = 4
	i := 0
	for ; i+sums <= len(a); i += sums {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + (s2 + s3)
}

// bulk returns the range of thresholds outside of which each has next to no probability: leaving them out changes no sum by as much as a
// tie.
func bulk(marginal []float64) (from, to int) {
	const nothing = 1e-13
	to = len(marginal)
	for from < to && marginal[from] < nothing {
		from++
	}
	for to > from && marginal[to-1] < nothing {
		to--
	}
	return from, to
}

// marginal returns the posterior of each threshold.
func (p Placement) marginal() []float64 {
	each := p.each()
	m := make([]float64, len(p.cfg.Thresholds))
	for i := range m {
		for _, w := range p.weight[i*each : (i+1)*each] {
			m[i] += w
		}
	}
	return m
}

// thresholdSD returns the standard deviation of the threshold, in the scale's unit.
func (p Placement) thresholdSD() float64 {
	units, m := p.units(), p.marginal()
	mean, square := 0.0, 0.0
	for i, w := range m {
		mean += w * units[i]
	}
	for i, w := range m {
		square += w * (units[i] - mean) * (units[i] - mean)
	}
	return math.Sqrt(square)
}

// reweighed returns the posterior under a prior that gives each combination of slope and lapse rate that many times the weight.
func (p Placement) reweighed(more []float64) Placement {
	weight := make([]float64, len(p.weight))
	for i, w := range p.weight {
		weight[i] = w * more[i%len(more)]
	}
	sumToOne(weight)
	p.weight = weight
	return p
}

// sumToOne scales weights.
func sumToOne(weights []float64) {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	for i := range weights {
		weights[i] /= sum
	}
}

// slopeAndLapse returns the posterior geometric mean of the slopes, and the mean of the lapse rates.
func (p Placement) slopeAndLapse() (slope, lapse float64) {
	each := make([]float64, p.each())
	for i, w := range p.weight {
		each[i%len(each)] += w
	}
	for i, w := range each {
		slope += w * math.Log(p.cells[i].Slope)
		lapse += w * p.cells[i].Lapse
	}
	return math.Exp(slope), lapse
}

// ThresholdInterval returns the doses between which the threshold lies with probability confidence, equal tails to either side; see
// ThresholdQuantile. An end is NaN where the posterior reaches the end of the grid: the answers do not bound it.
func (p Placement) ThresholdInterval(confidence float64) [2]float64 {
	tail := (1 - confidence) / 2
	m := p.marginal()
	iv := [2]float64{p.ThresholdQuantile(tail), p.ThresholdQuantile(1 - tail)}
	if m[0] >= tail/edge {
		iv[0] = math.NaN()
	}
	if m[len(m)-1] >= tail/edge {
		iv[1] = math.NaN()
	}
	return iv
}

// edge divides the tail: an end counts as bounded where the last threshold of the grid has a probability below tail/edge. What would lie
// beyond the grid is then no more than a few times that.
const edge = 10

// Likeliest returns the threshold at which the likelihood, averaged evenly over the slopes and maximised over the lapse rates, is largest. The
// weights of slopes and lapse rates are not in it. Between the thresholds of the grid, which must rise in equal steps of the scale, it is
// the top of the parabola through the logarithms of the largest value and its neighbours.
//
// Averaging over slopes keeps the few answers that suggest a very steep or very shallow one from moving the threshold; averaging over lapse
// rates, none of which is below zero, would lower the threshold of every listener who does not lapse.
//
// ref: Berger, Liseo & Wolpert (1999), Integrated likelihood methods for eliminating nuisance parameters, Statistical Science 14; from memory.
func (p Placement) Likeliest() float64 {
	units, likelihood := p.units(), p.likelihoods()
	best := slices.Index(likelihood, slices.Max(likelihood))
	u := units[best]
	if 0 < best && best < len(units)-1 && likelihood[best-1] > 0 && likelihood[best+1] > 0 {
		low, high := math.Log(likelihood[best]/likelihood[best-1]), math.Log(likelihood[best]/likelihood[best+1])
		if low+high > 0 {
			u += (units[best+1] - units[best]) / 2 * (low - high) / (low + high)
		}
	}
	return p.cells[0].dose(u)
}

// likelihoods returns, up to a factor, the likelihood of each threshold, averaged evenly over the slopes and maximised over the lapse rates.
func (p Placement) likelihoods() []float64 {
	each, lapses := p.each(), len(p.cfg.Lapses)
	most := make([]float64, len(p.cfg.Thresholds))
	for i := range most {
		for k := range lapses {
			sum := 0.0
			for s := range p.cfg.Slopes {
				sum += p.weight[i*each+s*lapses+k] / weightAt(p.cfg.SlopeWeights, s)
			}
			most[i] = max(most[i], sum/weightAt(p.cfg.LapseWeights, k))
		}
	}
	return most
}

// ThresholdQuantile returns the dose below which the threshold lies with probability q. Between the thresholds of the grid, which must rise
// in equal steps of the scale, the posterior is taken to be even.
func (p Placement) ThresholdQuantile(q float64) float64 {
	units, m := p.units(), p.marginal()
	step := 0.0
	if last := len(m) - 1; last > 0 {
		step = (units[last] - units[0]) / float64(last)
	}
	return p.cells[0].dose(quantileOf(m, units, step, q))
}

// quantileOf returns where the sum of m, each spread evenly over a step about its unit, reaches q.
func quantileOf(m, units []float64, step, q float64) float64 {
	below := 0.0
	for i, w := range m {
		if below+w >= q {
			return units[i] - step/2 + step*(q-below)/w
		}
		below += w
	}
	return units[len(units)-1] + step/2
}
