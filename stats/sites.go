package stats

import (
	"math"

	"heardiff/stats/warning"
)

// SiteScore is the total of one site.
type SiteScore struct {
	Site       string  `json:"site"`
	Listeners  int     `json:"listeners"`
	Correct    int     `json:"correct"`
	Trials     int     `json:"trials"`
	Proportion float64 `json:"proportion"`
}

// SiteAnalysis combines the sites' totals, as logits, by the random-effects model. Its proportions are means over sites:
// they are not counts of trials, and none can be computed from them.
type SiteAnalysis struct {
	Scale      string `json:"scale"`      // of the effects: logit
	Correction string `json:"correction"` // for counts of 0 and n: haldane-anscombe
	// Dispersion measures how much listeners of one site differ beyond chance: Pearson's χ² over its degrees of freedom,
	// all sites together. Where above 1 it multiplies the variances of the effects. NaN with one listener at each site.
	Dispersion float64     `json:"dispersion"`
	Sites      []SiteScore `json:"sites"`
	MetaAnalysis
	Mean               float64    `json:"mean"`          // REML, as a proportion
	MeanInterval       [2]float64 `json:"mean_interval"` // Hartung–Knapp
	PredictionInterval [2]float64 `json:"prediction_interval"`
}

// analyseSites returns nil where the listeners come from fewer than two sites.
//
// ref: quasi-likelihood variance, Wedderburn (1974); McCullagh & Nelder (1989), section 4.5.
func analyseSites(listeners []Listener, cfg ScoreConfig) (*SiteAnalysis, error) {
	a := SiteAnalysis{Scale: "logit", Correction: "haldane-anscombe"}
	members := map[string][]Count{}
	for _, l := range listeners {
		if members[l.Site] == nil {
			a.Sites = append(a.Sites, SiteScore{Site: l.Site})
		}
		members[l.Site] = append(members[l.Site], Count{l.Correct, l.Trials})
	}
	if len(a.Sites) < 2 {
		return nil, nil
	}
	a.Dispersion = dispersionWithin(a.Sites, members)
	effects := make([]Effect, len(a.Sites))
	for i := range a.Sites {
		s := &a.Sites[i]
		t := sumCounts(members[s.Site])
		s.Listeners, s.Correct, s.Trials, s.Proportion = len(members[s.Site]), t.Correct, t.Trials, float64(t.Correct)/float64(t.Trials)
		e, err := LogitEffect(s.Site, t)
		if err != nil {
			return nil, err
		}
		if a.Dispersion > 1 {
			e.Variance *= a.Dispersion
		}
		effects[i] = e
	}
	m, err := CombineEffects(effects, cfg.Confidence)
	if err != nil {
		return nil, err
	}
	a.MetaAnalysis = m
	r := m.RestrictedMaximum
	a.Mean, a.MeanInterval, a.PredictionInterval = expit(r.Mean), expits(r.HartungKnapp), expits(r.Prediction)
	if a.Dispersion > 1 {
		a.Warn(warning.Newf(Overdispersed, "listeners of one site differ (dispersion %.2[1]f): the sites' variances are %.2[1]f times those of as many trials of one listener", a.Dispersion).Of(a.Dispersion, ""))
	}
	return &a, nil
}

// dispersionWithin returns Pearson's χ² of listeners against their own site's proportion, over its degrees of freedom.
// Sites where all answers are right, or all wrong, do not contribute.
func dispersionWithin(sites []SiteScore, members map[string][]Count) float64 {
	chi2, df := 0.0, 0
	for _, s := range sites {
		if h := TestHeterogeneity(members[s.Site]); !math.IsNaN(h.Chi2) {
			chi2 += h.Chi2
			df += h.DF
		}
	}
	return chi2 / float64(df)
}

// expit returns the proportion whose logit is x.
func expit(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func expits(x [2]float64) [2]float64 { return [2]float64{expit(x[0]), expit(x[1])} }
