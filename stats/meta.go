package stats

import (
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// Effect is one site's estimate and its sampling variance, on a scale of the caller's choice on which the estimate is about
// normal. LogitEffect makes one from counts.
type Effect struct {
	Site     string  `json:"site"`
	Estimate float64 `json:"estimate"`
	Variance float64 `json:"variance"` // above zero
}

// LogitEffect returns a site's k correct of n as the logit of its proportion with the Haldane–Anscombe correction,
// which adds one half to right and wrong answers alike, at every count and not only at 0 and n, where the logit would
// be infinite.
//
//	ln[(k + 1/2)/(n − k + 1/2)], variance 1/(k + 1/2) + 1/(n − k + 1/2)
//
// It is an error if the counts are out of range.
//
// ref: Haldane (1956), Anscombe (1956); the variance: Gart & Zweifel (1967).
func LogitEffect(site string, c Count) (Effect, error) {
	if err := checkCounts(c.Correct, c.Trials); err != nil {
		return Effect{}, fmt.Errorf("site %q: %w", site, err)
	}
	right, wrong := float64(c.Correct)+0.5, float64(c.Trials-c.Correct)+0.5
	return Effect{Site: site, Estimate: math.Log(right / wrong), Variance: 1/right + 1/wrong}, nil
}

// MetaAnalysis combines the effects of several sites, allowing for true differences between them. Everything is on the
// scale of the effects. A mean over sites is not a count: it cannot be turned back into k of n.
type MetaAnalysis struct {
	Effects    []Effect `json:"effects"`
	Confidence float64  `json:"confidence"`
	Q          float64  `json:"q"` // Cochran's: weighted squares about the common mean, χ² where the sites are alike
	DF         int      `json:"df"`
	P          float64  `json:"p_value"` // of Q
	Log10P     float64  `json:"log10_p_value"`
	// Tau2Interval is of the variance between sites, by the Q profile; 0 and NaN where an end does not exist.
	Tau2Interval      [2]float64    `json:"tau2_interval"`
	Common            RandomEffects `json:"common"` // τ² = 0: one truth for all sites
	DerSimonianLaird  RandomEffects `json:"dersimonian_laird"`
	RestrictedMaximum RandomEffects `json:"reml"`
	warning.Warnings
}

// RandomEffects is the combination at one estimate of τ², the variance between the sites' true effects.
type RandomEffects struct {
	Tau2         float64    `json:"tau2"`
	I2           float64    `json:"i2"` // share of the variance that is not sampling error, 0 to 1
	H2           float64    `json:"h2"` // total variance over sampling variance, 1/(1 − I²)
	Mean         float64    `json:"mean"`
	SE           float64    `json:"se"`
	Wald         [2]float64 `json:"wald"` // of the mean, normal
	HartungKnapp [2]float64 `json:"hartung_knapp"`
	// Prediction is where the true effect of a further site lies; NaN with fewer than three sites.
	Prediction [2]float64 `json:"prediction"`
	Weights    []float64  `json:"weights"` // of the effects, in their order, summing to 1
}

// CombineEffects combines two or more effects. It is an error if there are fewer, an estimate is not finite or a
// variance not above zero, or confidence is outside (0, 1).
//
// ref: DerSimonian & Laird (1986); restricted maximum likelihood as in Viechtbauer (2005); I² and H² of Higgins &
// Thompson (2002) with their typical sampling variance; Hartung & Knapp (2001); the prediction interval of Higgins,
// Thompson & Spiegelhalter (2009), Student's t with two degrees of freedom fewer than sites; Q profile of Viechtbauer
// (2007).
func CombineEffects(effects []Effect, confidence float64) (MetaAnalysis, error) {
	if err := checkEffects(effects); err != nil {
		return MetaAnalysis{}, err
	}
	if err := checkFraction("confidence", confidence); err != nil {
		return MetaAnalysis{}, err
	}
	e := sites(effects)
	m := MetaAnalysis{Effects: effects, Confidence: confidence, DF: len(effects) - 1}
	m.Q = e.q(0)
	ln := lnChiSquareUpper(m.Q, m.DF)
	m.P, m.Log10P = math.Exp(ln), log10Of(ln)
	m.Tau2Interval = e.profileQ(confidence)
	m.Common = e.at(0, confidence)
	m.DerSimonianLaird = e.at(e.dersimonianLaird(), confidence)
	m.RestrictedMaximum = e.at(e.restrictedMaximum(), confidence)
	m.warn()
	return m, nil
}

func checkEffects(effects []Effect) error {
	if len(effects) < 2 {
		return fmt.Errorf("stats: %d sites: a combination needs two or more", len(effects))
	}
	for _, e := range effects {
		switch {
		case math.IsNaN(e.Estimate) || math.IsInf(e.Estimate, 0):
			return fmt.Errorf("stats: site %q: the estimate %v is not a number", e.Site, e.Estimate)
		case !(e.Variance > 0) || math.IsInf(e.Variance, 0):
			return fmt.Errorf("stats: site %q: the variance %v is not above zero", e.Site, e.Variance)
		}
	}
	return nil
}

// sites is a set of effects under the random-effects model: estimate i is normal about μ with variance vᵢ + τ².
type sites []Effect

// sums returns Σw, Σw² and the weighted mean at τ², with weights w = 1/(v + τ²).
func (e sites) sums(tau2 float64) (w, w2, mean float64) {
	for _, s := range e {
		x := 1 / (s.Variance + tau2)
		w += x
		w2 += x * x
		mean += x * s.Estimate
	}
	return w, w2, mean / w
}

// q is the weighted sum of squares about the weighted mean; it falls as τ² grows.
func (e sites) q(tau2 float64) float64 {
	_, _, mean := e.sums(tau2)
	sum := 0.0
	for _, s := range e {
		sum += (s.Estimate - mean) * (s.Estimate - mean) / (s.Variance + tau2)
	}
	return sum
}

// dersimonianLaird is the moment estimate (Q − df)/(Σw − Σw²/Σw), not below zero.
func (e sites) dersimonianLaird() float64 {
	w, w2, _ := e.sums(0)
	return math.Max(0, (e.q(0)-float64(len(e)-1))/(w-w2/w))
}

// lnRestricted is the restricted log-likelihood, without constants.
func (e sites) lnRestricted(tau2 float64) float64 {
	w, _, _ := e.sums(tau2)
	sum := -math.Log(w) - e.q(tau2)
	for _, s := range e {
		sum -= math.Log(s.Variance + tau2)
	}
	return sum / 2
}

// score is twice the derivative of lnRestricted.
func (e sites) score(tau2 float64) float64 {
	w, w2, mean := e.sums(tau2)
	sum := w2/w - w
	for _, s := range e {
		x := 1 / (s.Variance + tau2)
		sum += x * x * (s.Estimate - mean) * (s.Estimate - mean)
	}
	return sum
}

// restrictedMaximum scans the restricted likelihood, which can have several maxima, and takes the root of the score
// next to the highest.
func (e sites) restrictedMaximum() float64 {
	top := e.widest()
	if top == 0 {
		return 0
	}
	const steps = 200
	place := func(i int) float64 { f := float64(i) / steps; return top * f * f } // denser where τ is small
	best, at := math.Inf(-1), 0
	for i := range steps + 1 {
		if l := e.lnRestricted(place(i)); l > best {
			best, at = l, i
		}
	}
	lo, hi := place(max(at-1, 0)), place(min(at+1, steps))
	if at <= 1 && e.score(0) <= 0 && !(e.score(hi) < 0 && e.score(place(at)) > 0) {
		return 0
	}
	root := rootBetween(e.score, lo, hi)
	if math.IsNaN(root) || e.lnRestricted(0) >= e.lnRestricted(root) {
		return 0
	}
	return root
}

// widest is an upper bound of every estimate of τ²: the sum of squares about the mean.
func (e sites) widest() float64 {
	mean, sum := 0.0, 0.0
	for _, s := range e {
		mean += s.Estimate / float64(len(e))
	}
	for _, s := range e {
		sum += (s.Estimate - mean) * (s.Estimate - mean)
	}
	return sum
}

// mostDoublings ends the search for an upper end of τ² beyond any plausible value: 2¹²⁰ times the largest variance.
const mostDoublings = 120

// profileQ returns the range of τ² over which Q lies within its χ² limits.
func (e sites) profileQ(confidence float64) [2]float64 {
	df, ln := len(e)-1, math.Log((1-confidence)/2)
	upper := func(t float64) float64 { return lnChiSquareUpper(e.q(t), df) - ln }
	lower := func(t float64) float64 {
		below, _ := lnGammaTails(float64(df)/2, e.q(t)/2)
		return below - ln
	}
	iv := [2]float64{0, 0}
	top := e.widest()
	for _, s := range e {
		top = math.Max(top, s.Variance)
	}
	for grown := 0; grown < mostDoublings && lower(top) > 0; grown += 2 {
		top *= 4
	}
	if upper(0) < 0 {
		iv[0] = rootBetween(upper, 0, top)
	}
	if lower(0) > 0 {
		iv[1] = rootBetween(lower, 0, top)
	}
	return iv
}

// at combines at a given τ².
func (e sites) at(tau2, confidence float64) RandomEffects {
	w, _, mean := e.sums(tau2)
	r := RandomEffects{Tau2: tau2, Mean: mean, SE: 1 / math.Sqrt(w), Weights: make([]float64, len(e))}
	for i, s := range e {
		r.Weights[i] = 1 / (s.Variance + tau2) / w
	}
	k := float64(len(e))
	w0, squares, _ := e.sums(0)
	typical := (k - 1) / (w0 - squares/w0)
	r.I2, r.H2 = tau2/(tau2+typical), tau2/typical+1
	tail := (1 - confidence) / 2
	z := normalUpperPoint(math.Log(tail))
	r.Wald = around(mean, z*r.SE)
	r.HartungKnapp = around(mean, studentUpperPoint(tail, k-1)*math.Sqrt(e.q(tau2)/(k-1))*r.SE)
	r.Prediction = [2]float64{math.NaN(), math.NaN()}
	if k > 2 {
		r.Prediction = around(mean, studentUpperPoint(tail, k-2)*math.Sqrt(tau2+r.SE*r.SE))
	}
	return r
}

func around(mean, half float64) [2]float64 { return [2]float64{mean - half, mean + half} }

// fewSites is the number of sites below which the variance between them is little more than a guess (common practice,
// no source). TestWhatTheIntervalsCover shows the coverage of the intervals with six sites.
const fewSites = 10

func (m *MetaAnalysis) warn() {
	if k := len(m.Effects); k < fewSites {
		m.Warn(warning.Newf(FewSites, "%d sites say little about how much sites differ: tau² is between %.3g and %.3g; the normal interval is too short, read the Hartung–Knapp one; a further site falls outside the prediction interval more often than stated",
			k, m.Tau2Interval[0], m.Tau2Interval[1]).Of(float64(k), "sites"))
	}
	r := m.RestrictedMaximum
	if r.HartungKnapp[1]-r.HartungKnapp[0] < r.Wald[1]-r.Wald[0] {
		m.Warn(warning.Newf(SitesAgree, "the sites agree more closely than their sampling errors allow (Q %.2f, df %d): the Hartung–Knapp interval comes out shorter than the normal one; read the longer", m.Q, m.DF).Of(m.Q, ""))
	}
}
