package stats

import (
	"fmt"
	"math"
)

// ChoiceScore is what k of n says of a forced choice of any procedure. NaN is not measurable.
type ChoiceScore struct {
	Design         string     `json:"design"`
	Trials         int        `json:"trials"`
	Correct        int        `json:"correct"`
	Proportion     float64    `json:"proportion"`
	Chance         float64    `json:"chance"`
	P              float64    `json:"p_value"` // one-sided, exact
	Log10P         float64    `json:"log10_p_value"`
	MidP           float64    `json:"mid_p"`
	PTwoSided      float64    `json:"p_two_sided"`
	PBelow         float64    `json:"p_below"`
	Confidence     float64    `json:"confidence"`
	ClopperPearson [2]float64 `json:"clopper_pearson"`
	DPrime         float64    `json:"d_prime"` // 0 at or below chance, NaN at a perfect score
	DPrimeInterval [2]float64 `json:"d_prime_interval"`
	// Discriminators is max(0, (p − p₀)/(1 − p₀)), and its interval and one-sided upper limit from those of p.
	Discriminators         float64    `json:"discriminators"`
	DiscriminatorsInterval [2]float64 `json:"discriminators_interval"`
	DiscriminatorsUpper    float64    `json:"discriminators_upper"`
	Alpha                  float64    `json:"alpha"`
	Critical               *int       `json:"critical_correct"` // nil where no count reaches α
	Reached                bool       `json:"critical_reached"`
	Warnings               []string   `json:"warnings"`
}

// ScoreChoice returns what k correct of n say where the question was asked by the given procedure: so a result published
// for another one comes to the same scale. The plan is fixed. It is an error if the counts or the configuration are out
// of range.
func ScoreChoice(p Procedure, k, n int, cfg ScoreConfig) (ChoiceScore, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return ChoiceScore{}, err
	}
	b, err := BinomialTest(k, n, p.Chance())
	if err != nil {
		return ChoiceScore{}, err
	}
	iv, err := ProportionIntervals(k, n, cfg.Confidence)
	if err != nil {
		return ChoiceScore{}, err
	}
	pc := float64(k) / float64(n)
	s := ChoiceScore{Design: p.String(), Trials: n, Correct: k, Proportion: pc, Chance: p.Chance(),
		P: b.P, Log10P: b.Log10P, MidP: b.MidP, PTwoSided: b.TwoSided, PBelow: b.Below,
		Confidence: cfg.Confidence, ClopperPearson: iv.ClopperPearson, DPrime: p.DPrime(pc), Alpha: cfg.Alpha}
	known := func(pc float64) float64 { return math.Max(0, (pc-s.Chance)/(1-s.Chance)) }
	s.Discriminators, s.DiscriminatorsUpper = known(pc), known(UpperProportion(k, n, cfg.Confidence))
	for i, end := range iv.ClopperPearson {
		s.DPrimeInterval[i], s.DiscriminatorsInterval[i] = p.DPrime(end), known(end)
	}
	if critical, _, ok := CriticalCount(n, s.Chance, cfg.Alpha); ok {
		s.Critical, s.Reached = &critical, k >= critical
	}
	s.Warnings = s.warnings()
	return s, nil
}

func (s ChoiceScore) warnings() []string {
	var w []string
	if s.Critical == nil {
		w = append(w, fmt.Sprintf("%d trials cannot decide: even %d correct of %d does not reach α = %g", s.Trials, s.Trials, s.Trials, s.Alpha))
	}
	if s.PBelow <= s.Alpha/2 && !s.Reached {
		w = append(w, fmt.Sprintf("reliably wrong: %d correct or fewer would come by chance with p = %.3g; look for exchanged answers before calling it nothing", s.Correct, s.PBelow))
	}
	if !s.Reached {
		w = append(w, fmt.Sprintf("not reaching the critical count rules out only p_d above %.3f (one-sided %g %% limit)", s.DiscriminatorsUpper, 100*s.Confidence))
	}
	return w
}
