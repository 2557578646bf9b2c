package stats

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"heardiff/stats/warning"
)

// smallestSD is the standard deviation between listeners, as a fraction of the range of doses, that represents none.
const smallestSD = 1e-4

// searchResolution is the difference of log-likelihood that the search resolves.
const searchResolution = 1e-7

// fit finds the maximum from several starts, then the intervals.
func (r *randomFitter) fit(common *fitter, listeners int) RandomThresholds {
	ut, lnSlope, _, lnCommon := common.best()
	best, most := params{ut, math.Log(smallestSD * r.span), lnSlope}, lnCommon
	for _, sd := range []float64{0.05, 0.3} {
		// One listener's curve is steeper than the curve through all of them.
		at, ln := r.climb(params{ut, math.Log(sd * r.span), math.Min(lnSlope+0.4, r.slopeHi)}, nil)
		if ln > most+searchResolution {
			best, most = at, ln
		}
	}
	curve := Curve{Shape: r.shape, Linear: common.cfg.Linear}
	out := RandomThresholds{Listeners: listeners, Threshold: curve.dose(best[atMean]), BetweenSD: math.Exp(best[atSD]), Slope: math.Exp(best[atSlope]),
		LogLikelihood: most, LR: math.Max(0, 2*(most-lnCommon)), Scale: "log10", Confidence: common.cfg.Confidence}
	if common.cfg.Linear {
		out.Scale = "linear"
	}
	ln := lnChiSquareUpper(out.LR, 1) - math.Ln2
	if most == lnCommon {
		out.BetweenSD, out.LR, ln = 0, 0, -math.Ln2
	}
	out.P, out.Log10P = math.Exp(ln), log10Of(ln)
	curve.Guess, curve.Lapse, curve.Threshold, curve.Slope = r.guess, r.lapse, out.Threshold, out.Slope
	out.curve = curve
	if flat := common.flat(); most-flat < flatRise {
		return out.undetermined()
	}
	r.intervals(&out, common, curve, best, most)
	out.warn()
	return out
}

// undetermined sets to NaN what data that do not rise do not determine.
func (t RandomThresholds) undetermined() RandomThresholds {
	nan := math.NaN()
	none := [2]float64{nan, nan}
	t.Threshold, t.BetweenSD, t.Slope = nan, nan, nan
	t.ThresholdInterval, t.BetweenSDInterval, t.SlopeInterval = none, none, none
	t.Warn(noThreshold())
	return t
}

// At returns the chance of a correct answer at the dose for a listener drawn at random, whose threshold is unknown: the
// curve of one listener averaged over thresholds. It is less steep than any single listener's.
func (t RandomThresholds) At(dose float64) float64 {
	const steps = 80 // as in lattice
	sum, weight, one := 0.0, 0.0, t.curve
	for i := range steps + 1 {
		z := farthest * (2*float64(i)/steps - 1)
		w := math.Exp(-z * z / 2)
		one.Threshold = one.dose(t.curve.unit(t.curve.Threshold) + t.BetweenSD*z)
		sum, weight = sum+w*one.At(dose), weight+w
	}
	return sum / weight
}

// intervals walks from the best fit to where the profile has fallen by half the χ²₁ quantile, or by meanFall for the mean.
func (r *randomFitter) intervals(out *RandomThresholds, common *fitter, curve Curve, best params, most float64) {
	z := normalUpperPoint(math.Log((1 - out.Confidence) / 2))
	se := r.standardErrors(best)
	fall := params{meanFall(out.Listeners, out.Confidence), z * z / 2, z * z / 2}
	end := func(parameter int, side, limit float64) float64 {
		profile := r.profile(common, parameter, best)
		return crossing(func(x float64) float64 { return profile(x) - most + fall[parameter] }, best[parameter], side*z*se[parameter], limit)
	}
	widest, low := 8*r.span, math.Log(smallestSD*r.span)
	out.ThresholdInterval = [2]float64{curve.dose(end(atMean, -1, best[atMean]-widest)), curve.dose(end(atMean, 1, best[atMean]+widest))}
	out.SlopeInterval = [2]float64{math.Exp(end(atSlope, -1, r.slopeLo)), math.Exp(end(atSlope, 1, r.slopeHi))}
	if r.profile(common, atSlope, best)(r.slopeHi) > most-flatRise {
		out.Slope, out.SlopeInterval[1] = math.NaN(), math.NaN()
	}
	best[atSD] = math.Max(best[atSD], math.Log(0.01*r.span)) // below, the likelihood is flat
	out.BetweenSDInterval = [2]float64{math.Exp(end(atSD, -1, low)), math.Exp(end(atSD, 1, math.Log(10*r.span)))}
	if math.IsNaN(out.BetweenSDInterval[0]) {
		out.BetweenSDInterval[0] = 0 // the interval includes equal thresholds
	}
}

// profile returns the largest log-likelihood with one parameter held, each search starting where the last one ended.
// Equal thresholds are a special case, so that it is at least that of the common fit, whose search covers the full range
// and does not miss a second maximum.
func (r *randomFitter) profile(common *fitter, parameter int, from params) func(float64) float64 {
	alike := func(float64) float64 { return math.Inf(-1) }
	switch parameter {
	case atMean:
		alike = func(u float64) float64 { ln, _ := common.atThreshold(u); return ln }
	case atSlope:
		alike = common.atSlope
	}
	at := from
	return func(x float64) float64 {
		at[parameter] = x
		var ln float64
		at, ln = r.climb(at, map[int]bool{parameter: true})
		return math.Max(ln, alike(x))
	}
}

// standardErrors returns the parameters' standard errors from the curvature of the likelihood, used only as step sizes,
// and scales the parameters by their conditional standard errors. Where the likelihood is flat, a coarse step is used.
func (r *randomFitter) standardErrors(at params) params {
	curvature := mat.NewDense(3, 3, nil)
	for j := range at {
		h := 1e-3 * r.scale[j]
		up, down := at, at
		up[j] += h
		down[j] -= h
		_, a := r.ln(up)
		_, b := r.ln(down)
		for i := range at {
			curvature.Set(i, j, (b[i]-a[i])/(2*h))
		}
	}
	coarse, se := params{r.span / 8, 0.5, 0.5}, params{}
	var inverse mat.Dense
	failed := inverse.Inverse(curvature)
	for j := range at {
		se[j] = coarse[j]
		if failed == nil && inverse.At(j, j) > 0 {
			se[j] = math.Min(math.Sqrt(inverse.At(j, j)), 4*coarse[j])
		}
		if c := curvature.At(j, j); c > 0 {
			r.scale[j] = math.Min(r.scale[j], 1/math.Sqrt(c))
		}
	}
	return se
}

// crossing walks from x towards limit to where f falls below zero and refines the zero by the Illinois variant of regula
// falsi; NaN where f stays positive. Each value of f comes from a maximisation and is good to about searchResolution.
func crossing(f func(float64) float64, x, step, limit float64) float64 {
	fx := math.Max(f(x), 1e-12) // at the maximum the excess is above zero
	for x != limit {
		next := x + step
		if (next-limit)*step > 0 {
			next = limit
		}
		fn := f(next)
		if fn < 0 {
			return illinois(f, x, fx, next, fn)
		}
		x, fx = next, fn
		step *= 1.5
	}
	return math.NaN()
}

// The end of an interval is found when the function is within rootFound of zero, in log-likelihood, or the bracket is narrower than
// rootPlaced, in the parameter's own unit.
const rootFound, rootPlaced = 1e-6, 1e-9

func illinois(f func(float64) float64, a, fa, b, fb float64) float64 {
	for range 60 {
		x := (a*fb - b*fa) / (fb - fa)
		fx := f(x)
		if math.Abs(fx) < rootFound || math.Abs(b-a) < rootPlaced {
			return x
		}
		if (fx < 0) == (fb < 0) {
			b, fb, fa = x, fx, fa/2
			continue
		}
		a, fa, b, fb = b, fb, x, fx
	}
	return (a + b) / 2
}

// fewListeners is the number of listeners below which their standard deviation is little more than a guess (common
// practice, no source).
const fewListeners = 6

func (t *RandomThresholds) warn() {
	if math.IsNaN(t.Slope) {
		t.Warn(warning.Newf(StepCurve, "each listener's answers are a step between two doses: the slope has no upper end"))
	}
	if t.Listeners < fewListeners {
		t.Warn(warning.Newf(FewListeners, "%d listeners say little about how much listeners differ: their standard deviation is between %.3g and %.3g, or outside more often than stated", t.Listeners, t.BetweenSDInterval[0], t.BetweenSDInterval[1]).Of(float64(t.Listeners), "listeners"))
	}
	t.Warn(unbounded("mean threshold", t.ThresholdInterval)...)
}
