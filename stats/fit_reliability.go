package stats

import (
	"math"

	"heardiff/stats/warning"
)

// poorFit is the p_fit at or below which a curve counts as not fitting (common practice, no source).
const poorFit = 0.05

// minDoses is the number of doses below which threshold and slope mostly reflect the assumed shape: two more than a fit
// has parameters (judgement, no source; TestFitThatIsNotEarnedSaysWhatTheDataCan holds it).
const minDoses = 4

// Unreliable returns the reasons why the fit's threshold should not be relied on: too few doses for its parameters, a
// curve that does not fit, a threshold that is not bounded. It is empty where the fit can be used; otherwise a trend test
// and an isotonic curve, which assume no shape, say what the data can.
func (f Fit) Unreliable(points []DosePoint) (why warning.Warnings) {
	doses := map[float64]bool{}
	for _, p := range points {
		doses[p.Dose] = true
	}
	if len(doses) < minDoses {
		why.Warn(warning.Newf(FewDoses, "%d doses: threshold and slope come from the shape assumed rather than the data", len(doses)).Of(float64(len(doses)), "doses"))
	}
	if f.DF >= 1 && f.Log10P <= math.Log10(poorFit) {
		why.Warn(warning.Newf(PoorFit, "the curve does not fit (p %.2g)", f.P).Of(f.P, ""))
	}
	switch lo, hi := math.IsNaN(f.ThresholdInterval[0]), math.IsNaN(f.ThresholdInterval[1]); {
	case math.IsNaN(f.Threshold):
		why.Warn(warning.Newf(NoRise, "the answers do not rise above guessing with the dose"))
	case lo && hi:
		why.Warn(warning.Newf(Unbounded, "the threshold is bounded on neither side"))
	case lo:
		why.Warn(warning.Newf(NoLowerThreshold, "the threshold has no lower limit"))
	case hi:
		why.Warn(warning.Newf(NoUpperThreshold, "the threshold has no upper limit"))
	}
	return why
}
