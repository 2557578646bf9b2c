package stats

import (
	"fmt"
	"math"
	"slices"

	"heardiff/stats/warning"
)

// DosePoint is k correct of n at one dose, by one listener where the listener is known.
type DosePoint struct {
	Dose     float64
	Correct  int
	Trials   int
	Listener string
}

// MaxLapse bounds a fitted lapse rate.
const MaxLapse = 0.1

// FitConfig says what is fitted. Zero fields are a Weibull in log dose, guess 0.5, lapse 0, confidence 0.95, and an
// asymptotic goodness of fit.
type FitConfig struct {
	Shape      Shape
	Guess      float64 // chance level, fixed by the design; 0 means 0.5, see NoGuess
	NoGuess    bool    // chance level 0
	Lapse      float64
	FreeLapse  bool // fit the lapse rate within 0 to MaxLapse
	Linear     bool // logistic and normal in the dose, not its log10; also admits doses of zero
	Confidence float64
	Bootstrap  int    // simulated data sets for the goodness of fit; 0: asymptotic
	Seed       uint64 // of the simulation
}

// Fit is a fitted psychometric function. What the data do not determine is NaN: an interval's end that does not exist,
// the slope of a perfect step, the threshold of data that do not rise.
type Fit struct {
	Curve
	Scale             string     `json:"scale"`
	Confidence        float64    `json:"confidence"`
	ThresholdInterval [2]float64 `json:"threshold_interval"` // profile likelihood
	SlopeInterval     [2]float64 `json:"slope_interval"`     // profile likelihood
	LogLikelihood     float64    `json:"log_likelihood"`
	Deviance          float64    `json:"deviance"`
	DF                int        `json:"df"`
	P                 float64    `json:"p_fit"`
	Log10P            float64    `json:"log10_p_fit"`
	Pearson           float64    `json:"pearson"`
	Overdispersion    float64    `json:"overdispersion"` // Pearson/df
	RiseLR            float64    `json:"rise_likelihood_ratio"`
	warning.Warnings
}

// fitter holds the data in the unit in which the curve is symmetric.
type fitter struct {
	cfg          FitConfig
	u            []float64
	k, n         []float64
	doses        doses   // over listeners: the sufficient statistics
	risen        []risen // of the last curve evaluated
	lapse        float64 // the last likeliest rate that lay inside its limits
	low, high    float64 // extremes of u
	span         float64
	slopeLo      float64 // ln s
	slopeHi      float64
	saturatedLnL float64
}

// FitCurve fits a psychometric function by maximum likelihood. Rows of one listener at one dose are added up.
// It is an error if there are fewer than two doses, a count is out of range, a dose is not finite, or a dose is not above
// zero on a logarithmic scale.
func FitCurve(points []DosePoint, cfg FitConfig) (Fit, error) {
	f, err := newFitter(points, cfg)
	if err != nil {
		return Fit{}, err
	}
	return f.fit(), nil
}

func (c FitConfig) complete() (FitConfig, error) {
	if c.Guess == 0 && !c.NoGuess {
		c.Guess = 0.5
	}
	if c.Confidence == 0 {
		c.Confidence = 0.95
	}
	switch {
	case !(c.Guess >= 0 && c.Guess < 1):
		return c, fmt.Errorf("stats: guess %v is not within [0, 1)", c.Guess)
	case !(c.Lapse >= 0 && c.Guess+c.Lapse < 1):
		return c, fmt.Errorf("stats: lapse %v: with a guess of %v it must leave room for a rise", c.Lapse, c.Guess)
	case c.Bootstrap < 0:
		return c, fmt.Errorf("stats: %d simulated data sets", c.Bootstrap)
	}
	return c, checkFraction("confidence", c.Confidence)
}

func newFitter(points []DosePoint, cfg FitConfig) (*fitter, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return nil, err
	}
	f := &fitter{cfg: cfg}
	merged, err := mergeDoses(points)
	if err != nil {
		return nil, err
	}
	f.low, f.high = math.Inf(1), math.Inf(-1)
	curve := Curve{Shape: cfg.Shape, Linear: cfg.Linear}
	for _, p := range merged {
		switch {
		case p.Trials > MaxTrials: // time grows with them
			return nil, fmt.Errorf("stats: dose %v has %d trials: at most %d can be fitted", p.Dose, p.Trials, MaxTrials)
		case p.Dose <= 0 && !cfg.Linear:
			return nil, fmt.Errorf("stats: dose %v: a logarithmic scale needs doses above zero", p.Dose)
		case p.Dose < 0 && cfg.Shape == Weibull:
			return nil, fmt.Errorf("stats: dose %v: a Weibull function has no negative doses", p.Dose)
		}
		u := curve.unit(p.Dose)
		f.u, f.k, f.n = append(f.u, u), append(f.k, float64(p.Correct)), append(f.n, float64(p.Trials))
		if !math.IsInf(u, 0) {
			f.low, f.high = math.Min(f.low, u), math.Max(f.high, u)
		}
	}
	if !(f.high > f.low) {
		return nil, fmt.Errorf("stats: one dose: a psychometric function needs two different doses or more")
	}
	f.span = f.high - f.low
	f.slopeLo, f.slopeHi = math.Log(0.02/f.span), math.Log(2000/f.span)
	f.saturatedLnL = f.saturated()
	f.doses = f.addUp()
	return f, nil
}

// mergeDoses adds up rows of equal listener and dose, in order of first appearance.
func mergeDoses(points []DosePoint) ([]DosePoint, error) {
	type key struct {
		listener string
		dose     float64
	}
	var merged []DosePoint
	at := map[key]int{}
	for _, p := range points {
		if err := checkCounts(p.Correct, p.Trials); err != nil {
			return nil, fmt.Errorf("dose %v: %w", p.Dose, err)
		}
		if math.IsNaN(p.Dose) || math.IsInf(p.Dose, 0) {
			return nil, fmt.Errorf("stats: dose %v is not a number", p.Dose)
		}
		k := key{p.Listener, p.Dose}
		i, known := at[k]
		if !known {
			at[k] = len(merged)
			merged = append(merged, p)
			continue
		}
		merged[i].Correct += p.Correct
		merged[i].Trials += p.Trials
		if err := checkCounts(merged[i].Correct, merged[i].Trials); err != nil {
			return nil, fmt.Errorf("dose %v, rows added up: %w", p.Dose, err)
		}
	}
	return merged, nil
}

func (f *fitter) saturated() float64 {
	sum := 0.0
	for i := range f.k {
		sum += bernoulli(f.k[i], f.n[i], f.k[i]/f.n[i])
	}
	return sum
}

// bernoulli returns k·ln p + (n − k)·ln(1 − p), with 0·ln 0 = 0.
func bernoulli(k, n, p float64) float64 { return weighted(k, n-k, p) }

// ln returns the log-likelihood of a curve.
func (f *fitter) ln(ut, lnSlope, lapse float64) float64 {
	return f.lnOf(f.rises(ut, lnSlope), lapse)
}

// atBoth, atThreshold and atSlope return the largest log-likelihood with threshold and slope held, or one of them.
func (f *fitter) atBoth(ut, lnSlope float64) (ln, lapse float64) {
	data, lapse := f.rises(ut, lnSlope), f.cfg.Lapse
	if f.cfg.FreeLapse {
		lapse = f.bestLapse(data)
	}
	return f.lnOf(data, lapse), lapse
}

func (f *fitter) atThreshold(ut float64) (ln, lnSlope float64) {
	lnSlope, ln = scanPeak(func(s float64) float64 {
		v, _ := f.atBoth(ut, s)
		return v
	}, f.slopeLo, f.slopeHi, 16)
	return ln, lnSlope
}

func (f *fitter) atSlope(lnSlope float64) float64 {
	_, ln := peakAmong(func(ut float64) float64 {
		v, _ := f.atBoth(ut, lnSlope)
		return v
	}, f.thresholdsAt(lnSlope))
	return ln
}

// thresholdsAt returns where atSlope scans: evenly, and where the slope is so steep that a peak lies between two even steps, also
// around each dose, with the curve at that dose from hardly risen to nearly full. With more doses than closest, even steps are enough.
func (f *fitter) thresholdsAt(lnSlope float64) []float64 {
	const steps, closest = 40, 60 // doses
	at := evenly(f.low-2*f.span, f.high+2*f.span, steps)
	slope := math.Exp(lnSlope)
	if slope*(at[1]-at[0]) < 1 || len(f.doses.each) > closest {
		return at
	}
	low, high := f.cfg.Shape.telling()
	for _, d := range f.doses.each {
		if math.IsInf(d.u, -1) {
			continue
		}
		for _, v := range evenly(low, high, 8) {
			at = append(at, d.u-v/slope)
		}
	}
	slices.Sort(at)
	return at
}

func (f *fitter) best() (ut, lnSlope, lapse, ln float64) {
	ut, _ = scanPeak(func(u float64) float64 {
		v, _ := f.atThreshold(u)
		return v
	}, f.low-f.span, f.high+f.span, 30)
	_, lnSlope = f.atThreshold(ut)
	ln, lapse = f.atBoth(ut, lnSlope)
	return ut, lnSlope, lapse, ln
}

// flatRise is the gain in log-likelihood below which a rise does not count and the data are called flat.
const flatRise = 1e-7

func (f *fitter) fit() Fit {
	ut, lnSlope, lapse, ln := f.best()
	r := Fit{Confidence: f.cfg.Confidence, LogLikelihood: ln, Scale: "log10"}
	r.Curve = Curve{Shape: f.cfg.Shape, Guess: f.cfg.Guess, Lapse: lapse, Slope: math.Exp(lnSlope), Linear: f.cfg.Linear}
	r.Threshold = r.dose(ut)
	if f.cfg.Linear {
		r.Scale = "linear"
	}
	r.Deviance = math.Max(0, 2*(f.saturatedLnL-ln))
	r.DF = len(f.k) - 2
	if f.cfg.FreeLapse {
		r.DF--
	}
	r.Pearson = f.pearson(r.Curve)
	flat := f.flat()
	r.RiseLR = math.Max(0, 2*(ln-flat))
	f.intervals(&r, ut, lnSlope, ln)
	f.goodness(&r)
	f.judge(&r, ut, ln-flat)
	return r
}

// flat is the log-likelihood of guessing at every dose.
func (f *fitter) flat() float64 {
	sum := 0.0
	for i := range f.k {
		sum += bernoulli(f.k[i], f.n[i], math.Max(f.cfg.Guess, 1e-300))
	}
	return sum
}

func (f *fitter) pearson(c Curve) float64 {
	sum, ut := 0.0, c.unit(c.Threshold)
	for i, u := range f.u {
		p := c.Guess
		if !math.IsInf(u, -1) {
			p += (1 - c.Guess - c.Lapse) * c.Shape.rise(c.Slope*(u-ut))
		}
		if v := f.n[i] * p * (1 - p); v > 0 {
			sum += math.Pow(f.k[i]-f.n[i]*p, 2) / v
		}
	}
	return sum
}

// intervals walks outwards from the best fit to where the profile has fallen by half the χ²₁ quantile.
func (f *fitter) intervals(r *Fit, ut, lnSlope, ln float64) {
	z := normalUpperPoint(math.Log((1 - f.cfg.Confidence) / 2))
	threshold := func(u float64) float64 {
		v, _ := f.atThreshold(u)
		return v - ln + z*z/2
	}
	slope := func(s float64) float64 { return f.atSlope(s) - ln + z*z/2 }
	lo, hi := walk(threshold, ut, -f.span/8, 48), walk(threshold, ut, f.span/8, 48)
	r.ThresholdInterval = [2]float64{r.dose(lo), r.dose(hi)}
	r.SlopeInterval = [2]float64{
		math.Exp(walk(slope, lnSlope, -0.25, int((lnSlope-f.slopeLo)/0.25))),
		math.Exp(walk(slope, lnSlope, 0.25, int((f.slopeHi-lnSlope)/0.25)))}
}

// walk returns the first zero of f met from x in steps, NaN where f stays positive.
func walk(f func(float64) float64, x, step float64, steps int) float64 {
	for range steps {
		if next := x + step; f(next) < 0 {
			return rootBetween(f, math.Min(x, next), math.Max(x, next))
		}
		x += step
	}
	return math.NaN()
}

// judge sets to NaN what the data do not determine, and warns of it.
func (f *fitter) judge(r *Fit, ut, rise float64) {
	nan := math.NaN()
	if rise < flatRise {
		r.Threshold, r.Slope, r.ThresholdInterval[0], r.ThresholdInterval[1] = nan, nan, nan, nan
		r.SlopeInterval = [2]float64{nan, nan}
		r.Warn(noThreshold())
		return
	}
	if f.atSlope(f.slopeHi) > r.LogLikelihood-flatRise {
		r.Slope, r.SlopeInterval[1] = nan, nan
		r.Warn(warning.Newf(StepCurve, "the data are a step between two doses: the slope has no upper end and the threshold is somewhere between them"))
	}
	if ut < f.low || ut > f.high {
		r.Warn(warning.Newf(OutsideDoses, "the threshold %.4g lies outside the doses tested", r.Threshold).Of(r.Threshold, ""))
	}
	if r.DF >= 1 && r.Log10P <= math.Log10(poorFit) {
		r.Warn(warning.Newf(PoorFit, "the curve does not fit (deviance %.2f, df %d, p %.2g): trust a trend test before the threshold", r.Deviance, r.DF, r.P).Of(r.P, ""))
	}
	r.Warn(unbounded("threshold", r.ThresholdInterval)...)
}

// noThreshold warns that there is no threshold.
func noThreshold() warning.Warning {
	return warning.Newf(NoRise, "the answers do not rise above guessing with the dose: there is no threshold to give")
}

// unbounded warns of each end of an interval that does not exist.
func unbounded(name string, interval [2]float64) (list []warning.Warning) {
	for i, end := range []struct {
		code warning.Code
		name string
	}{{NoLowerThreshold, "lower"}, {NoUpperThreshold, "upper"}} {
		if math.IsNaN(interval[i]) {
			list = append(list, warning.Newf(end.code, "the %s has no %s limit: the doses tested do not bound it", name, end.name))
		}
	}
	return list
}
