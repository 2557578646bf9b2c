package stats

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/optimize"
)

// goodness fills in the goodness of fit: the deviance against χ², or against data simulated from the curve.
func (f *fitter) goodness(r *Fit) {
	r.P, r.Log10P, r.Overdispersion = math.NaN(), math.NaN(), math.NaN()
	if r.DF < 1 {
		return
	}
	r.Overdispersion = r.Pearson / float64(r.DF)
	ln := lnChiSquareUpper(r.Deviance, r.DF)
	if f.cfg.Bootstrap > 0 {
		ln = f.bootstrap(r)
	}
	r.P, r.Log10P = math.Exp(ln), log10Of(ln)
}

// bootstrap simulates data sets from the fitted curve, refits each, and returns ln of the share with at least the
// observed deviance.
func (f *fitter) bootstrap(r *Fit) float64 {
	random := rand.New(rand.NewPCG(f.cfg.Seed, 1))
	refit := *f
	refit.k = make([]float64, len(f.k))
	ut, extreme := r.unit(r.Threshold), 1.0
	for range f.cfg.Bootstrap {
		for i, u := range f.u {
			p := r.Guess
			if !math.IsInf(u, -1) {
				p += (1 - r.Guess - r.Lapse) * r.Shape.rise(r.Slope*(u-ut))
			}
			refit.k[i] = 0
			for range int(f.n[i]) {
				if random.Float64() < p {
					refit.k[i]++
				}
			}
		}
		refit.doses = refit.addUp()
		if 2*(refit.saturated()-refit.near(ut, math.Log(r.Slope), r.Lapse)) >= r.Deviance {
			extreme++
		}
	}
	return math.Log(extreme / float64(f.cfg.Bootstrap+1))
}

// near returns the largest log-likelihood found by a local search from a curve known to be close: simulated data come
// from that curve, so the wide search of best, hundreds of times slower, finds nothing better.
func (f *fitter) near(ut, lnSlope, lapse float64) float64 {
	top := f.topLapse()
	loss := func(x []float64) float64 {
		l := f.cfg.Lapse
		if f.cfg.FreeLapse { // the squared sine keeps the rate within its bounds and reaches both
			l = top * math.Pow(math.Sin(x[2]), 2)
		}
		return -f.ln(ut+x[0]*f.span, math.Min(math.Max(lnSlope+x[1], f.slopeLo), f.slopeHi), l)
	}
	start := []float64{0, 0}
	if f.cfg.FreeLapse {
		start = append(start, math.Asin(math.Sqrt(math.Min(1, lapse/top))))
	}
	best := -loss(start)
	for _, size := range []float64{0.05, 0.4} {
		r, err := optimize.Minimize(optimize.Problem{Func: loss}, start, nil, &optimize.NelderMead{SimplexSize: size})
		if err == nil || r != nil {
			best = math.Max(best, -r.F)
		}
	}
	return best
}
