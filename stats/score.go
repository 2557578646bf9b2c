package stats

import (
	"cmp"
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// Plan says how the number of trials was determined, and so which figure decides.
type Plan uint8

// Plans.
const (
	FixedPlan      Plan = iota // n was fixed before the first trial: the exact p decides
	SequentialPlan             // results were looked at along the way: only the e-value decides
)

// MarshalText writes the plan as the command line names it.
func (p Plan) MarshalText() ([]byte, error) {
	if p == SequentialPlan {
		return []byte("sequential"), nil
	}
	return []byte("fixed"), nil
}

// ScoreConfig sets how a score is judged. Zero fields are 0.05, 0.95, a fixed plan and ABX.
type ScoreConfig struct {
	Alpha      float64 // accepted risk of 'heard' by chance, inside (0, 1)
	Confidence float64 // of two-sided intervals, inside (0, 1)
	Plan       Plan
	// Procedure sets the chance level and the models of d′.
	Procedure Procedure
	Design    string // name of the design in the score; "": the procedure's
}

func (c ScoreConfig) complete() (ScoreConfig, error) {
	if c.Alpha == 0 {
		c.Alpha = 0.05
	}
	if c.Confidence == 0 {
		c.Confidence = 0.95
	}
	if err := checkFraction("alpha", c.Alpha); err != nil {
		return c, err
	}
	if err := c.Procedure.check(); err != nil {
		return c, err
	}
	return c, checkFraction("confidence", c.Confidence)
}

func checkFraction(name string, v float64) error {
	if !(v > 0 && v < 1) {
		return fmt.Errorf("stats: %s %v is not inside (0, 1)", name, v)
	}
	return nil
}

// Score is everything that k of n says about one listener, or about several taken as one. NaN means not measurable.
type Score struct {
	Design      string  `json:"design,omitempty"`
	Plan        Plan    `json:"plan"`
	Trials      int     `json:"trials"`
	Correct     int     `json:"correct"`
	Proportion  float64 `json:"proportion"`
	Chance      float64 `json:"chance"`  // of a right answer by guessing, p₀
	P           float64 `json:"p_value"` // one-sided: at least this many by chance
	Log10P      float64 `json:"log10_p_value"`
	MidP        float64 `json:"mid_p"`
	Log10MidP   float64 `json:"log10_mid_p"`
	PTwoSided   float64 `json:"p_two_sided"`
	Log10PTwo   float64 `json:"log10_p_two_sided"`
	PBelow      float64 `json:"p_below"` // at most this many by chance: small where reliably wrong
	Log10PBelow float64 `json:"log10_p_below"`

	Confidence     float64    `json:"confidence"`
	ClopperPearson [2]float64 `json:"clopper_pearson"`
	Wilson         [2]float64 `json:"wilson"`
	Jeffreys       [2]float64 `json:"jeffreys"`
	MidPInterval   [2]float64 `json:"mid_p_interval"`

	// DPrime and its interval use the usual model of the procedure: independent observations in ABX and duplicate pairs,
	// comparison of distances in duo-trio, triangle and tetrad. DPrimeIndependent and DPrimeDifferencing are NaN where the
	// procedure has no such model. All are 0 at or below chance, NaN at a perfect score.
	DPrime                     float64    `json:"d_prime"`
	DPrimeIndependent          float64    `json:"d_prime_independent"`
	DPrimeDifferencing         float64    `json:"d_prime_differencing"`
	DPrimeInterval             [2]float64 `json:"d_prime_interval"`
	DPrimeDifferencingInterval [2]float64 `json:"d_prime_differencing_interval"`
	DPrimeCorrected            float64    `json:"d_prime_corrected"` // as DPrime, at (k + 1/2)/(n + 1): finite at a perfect score

	Discriminators         float64    `json:"discriminators"`
	DiscriminatorsInterval [2]float64 `json:"discriminators_interval"`
	DiscriminatorsUpper    float64    `json:"discriminators_upper"` // one-sided upper limit at the level alpha: more is ruled out

	BayesFactor      float64 `json:"bayes_factor_10"`
	Log10BayesFactor float64 `json:"log10_bayes_factor_10"`
	EValue           float64 `json:"e_value"`
	Log10EValue      float64 `json:"log10_e_value"`

	Alpha    float64 `json:"alpha"`
	Critical *int    `json:"critical_correct"` // smallest count that decides under the plan; nil where none does
	Reached  bool    `json:"critical_reached"`

	warning.Warnings
}

// ScoreABX scores k correct of n ABX trials. It is an error if the counts or the configuration are out of range.
func ScoreABX(k, n int, cfg ScoreConfig) (Score, error) {
	return ScoreChoice(ABXObservations, k, n, cfg)
}

// ScoreChoice scores k correct of n of the given procedure, so that results published for other procedures are put on the
// same scale. It is an error if the counts or the configuration are out of range.
func ScoreChoice(p Procedure, k, n int, cfg ScoreConfig) (Score, error) {
	cfg.Procedure = p
	cfg, err := cfg.complete()
	if err != nil {
		return Score{}, err
	}
	b, err := BinomialTest(k, n, p.Chance())
	if err != nil {
		return Score{}, err
	}
	iv, err := ProportionIntervals(k, n, cfg.Confidence)
	if err != nil {
		return Score{}, err
	}
	s := Score{Design: cmp.Or(cfg.Design, p.String()), Plan: cfg.Plan, Trials: n, Correct: k, Proportion: float64(k) / float64(n), Chance: p.Chance(),
		Confidence: cfg.Confidence, Alpha: cfg.Alpha}
	s.setTest(b)
	s.setProportion(iv)
	s.setDPrime(p)
	s.EValue, s.Log10EValue = EValue(k, n, s.Chance)
	s.BayesFactor, s.Log10BayesFactor = s.EValue, s.Log10EValue
	s.setCritical()
	s.warn()
	return s, nil
}

func (s *Score) setTest(b Binomial) {
	s.P, s.Log10P, s.MidP, s.Log10MidP = b.P, b.Log10P, b.MidP, b.Log10MidP
	s.PTwoSided, s.Log10PTwo, s.PBelow, s.Log10PBelow = b.TwoSided, b.Log10TwoSided, b.Below, b.Log10Low
}

func (s *Score) setProportion(iv Intervals) {
	s.ClopperPearson, s.Wilson, s.Jeffreys, s.MidPInterval = iv.ClopperPearson, iv.Wilson, iv.Jeffreys, iv.MidP
	s.Discriminators = Discriminators(s.Proportion, s.Chance)
	s.DiscriminatorsInterval = [2]float64{Discriminators(iv.ClopperPearson[0], s.Chance), Discriminators(iv.ClopperPearson[1], s.Chance)}
	s.DiscriminatorsUpper = Discriminators(UpperProportion(s.Correct, s.Trials, 1-s.Alpha), s.Chance)
}

func (s *Score) setDPrime(p Procedure) {
	independent, differencing := p.models()
	s.DPrime, s.DPrimeIndependent, s.DPrimeDifferencing = p.DPrime(s.Proportion), independent(s.Proportion), differencing(s.Proportion)
	for i, pc := range s.ClopperPearson {
		s.DPrimeInterval[i], s.DPrimeDifferencingInterval[i] = p.DPrime(pc), differencing(pc)
	}
	s.DPrimeCorrected = p.DPrime((float64(s.Correct) + 0.5) / (float64(s.Trials) + 1))
}

func (s *Score) setCritical() {
	k, _, ok := CriticalCount(s.Trials, s.Chance, s.Alpha)
	if s.Plan == SequentialPlan {
		k, ok = EvidenceCount(s.Trials, s.Chance, s.Alpha)
	}
	if ok {
		s.Critical, s.Reached = &k, s.Correct >= k
	}
}

// Discriminators returns the proportion of discriminators at proportion correct p and chance level p₀,
// max(0, (p − p₀)/(1 − p₀)).
func Discriminators(p, chance float64) float64 { return math.Max(0, (p-chance)/(1-chance)) }

func (s *Score) warn() {
	if s.Critical == nil {
		s.Warn(warning.Newf(CannotDecide, "%[1]d trials cannot decide: even %[1]d correct of %[1]d does not reach α = %[2]g", s.Trials, s.Alpha).Of(float64(s.Trials), "trials"))
	}
	if s.Reached && s.Plan == FixedPlan && s.ClopperPearson[0] <= s.Chance {
		s.Warn(warning.Newf(ChanceInside, "the one-sided test reaches α = %g, yet the two-sided %g %% interval still holds %.3g (lower end %.3f)",
			s.Alpha, 100*s.Confidence, s.Chance, s.ClopperPearson[0]).Of(s.ClopperPearson[0], ""))
	}
	// Wrong answers are counted as right ones, so that CriticalCount gives the limit.
	if k, _, ok := CriticalCount(s.Trials, 1-s.Chance, s.Alpha/2); ok && s.Trials-s.Correct >= k {
		s.Warn(warning.Newf(ReliablyWrong, "reliably wrong: %d correct or fewer would come by chance with p = %.3g; look for exchanged answers before calling it nothing",
			s.Correct, s.PBelow).Of(s.PBelow, ""))
	}
	if !s.Reached && s.Plan == FixedPlan {
		s.Warn(warning.Newf(BoundOnly, "not reaching the critical count rules out only a proportion of discriminators above %.3f (one-sided limit at alpha %g)",
			s.DiscriminatorsUpper, s.Alpha).Of(s.DiscriminatorsUpper, ""))
	}
}

// FromDiscriminators returns the proportion correct at a proportion pd of discriminators, p₀ + (1 − p₀)·p_d.
func FromDiscriminators(pd, chance float64) float64 { return chance + (1-chance)*pd }
