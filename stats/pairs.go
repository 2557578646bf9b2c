package stats

import (
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// Pairs counts the answers to duplicate pairs. A hit is 'different' said of a different pair.
type Pairs struct {
	Hits              int `json:"hits"`
	Misses            int `json:"misses"`
	FalseAlarms       int `json:"false_alarms"`
	CorrectRejections int `json:"correct_rejections"`
}

// PairScore is the score of duplicate pairs. The embedded Score holds the totals; its p, mid-p and two-sided p are
// Fisher's, its d′ intervals come from the profile likelihood. Evidence and proportion of discriminators are NaN: they
// need a chance of exactly 1/2 on every trial, which response bias destroys.
type PairScore struct {
	Score
	Pairs
	HitRate         float64 `json:"hit_rate"`
	FalseAlarmRate  float64 `json:"false_alarm_rate"`
	Corrected       bool    `json:"corrected"` // a rate was 0 or 1: d′ and criterion use (x + 1/2)/(n + 1)
	Criterion       float64 `json:"criterion"` // τ of the differencing model, in units of σ
	PCMax           float64 `json:"pc_max"`    // proportion correct of the same listener without bias
	BalancedCorrect float64 `json:"balanced_proportion"`
	ZDifference     float64 `json:"z_hit_minus_z_false_alarm"`

	CriterionInterval [2]float64  `json:"criterion_interval"` // likelihood of the false alarms
	LogLikelihood     float64     `json:"log_likelihood"`     // of hits and false alarms, without constants
	LikelihoodRoot    float64     `json:"likelihood_root"`    // signed: below 0 where hits fall short of false alarms
	PLikelihood       float64     `json:"p_likelihood_ratio"` // one-sided, large samples; Fisher's exact p decides
	Permutation       Permutation `json:"permutation"`        // the same answers on other deals
}

// ScorePairs scores the answers to duplicate pairs. It is an error if a count is negative, or if there are no same or no
// different pairs.
func ScorePairs(c Pairs, cfg ScoreConfig) (PairScore, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return PairScore{}, err
	}
	if err := c.check(); err != nil {
		return PairScore{}, err
	}
	s := PairScore{Pairs: c, HitRate: rate(c.Hits, c.Misses), FalseAlarmRate: rate(c.FalseAlarms, c.CorrectRejections)}
	s.Design, s.Plan, s.Confidence, s.Alpha = "same-different", cfg.Plan, cfg.Confidence, cfg.Alpha
	s.Trials, s.Correct = c.Hits+c.Misses+c.FalseAlarms+c.CorrectRejections, c.Hits+c.CorrectRejections
	s.Proportion, s.Chance = float64(s.Correct)/float64(s.Trials), pairChance
	s.BalancedCorrect = (s.HitRate + 1 - s.FalseAlarmRate) / 2
	iv, err := ProportionIntervals(s.Correct, s.Trials, cfg.Confidence)
	if err != nil {
		return PairScore{}, err
	}
	s.setProportion(iv)
	nan := math.NaN()
	s.Discriminators, s.DiscriminatorsUpper, s.DiscriminatorsInterval = nan, nan, [2]float64{nan, nan}
	s.EValue, s.Log10EValue, s.BayesFactor, s.Log10BayesFactor = nan, nan, nan, nan
	s.setFisher()
	s.setModels()
	s.setLikelihood()
	if s.Permutation, err = PermutePairs(c); err != nil {
		return PairScore{}, err
	}
	s.warnOfPairs()
	return s, nil
}

// UpperDiscriminators returns a one-sided upper bound of the proportion of discriminators. A listener who knows the answer
// on p_d of the trials and guesses with any bias on the others has a hit rate that exceeds the false-alarm rate by p_d, so
// the bound is the hit rate's upper limit less the false-alarm rate's lower limit, each at half the risk. NaN without pairs
// of both kinds.
func (c Pairs) UpperDiscriminators(confidence float64) float64 {
	different, same := c.Hits+c.Misses, c.FalseAlarms+c.CorrectRejections
	if different == 0 || same == 0 {
		return math.NaN()
	}
	each := (1 + confidence) / 2
	return math.Min(1, math.Max(0, UpperProportion(c.Hits, different, each)-LowerProportion(c.FalseAlarms, same, each)))
}

// pairChance is the share of right answers that an unbiased guesser gives to duplicate pairs.
const pairChance = 0.5

func (c Pairs) check() error {
	for _, v := range []struct {
		name  string
		count int
	}{{"hits", c.Hits}, {"misses", c.Misses}, {"false alarms", c.FalseAlarms}, {"correct rejections", c.CorrectRejections}} {
		if v.count < 0 {
			return fmt.Errorf("stats: %d %s: a count cannot be negative", v.count, v.name)
		}
		if v.count > MaxTrials {
			return fmt.Errorf("stats: %d %s: at most %d are scored", v.count, v.name, MaxTrials)
		}
	}
	if c.Hits+c.Misses == 0 || c.FalseAlarms+c.CorrectRejections == 0 {
		return fmt.Errorf("stats: %d different and %d same pairs: both kinds are needed", c.Hits+c.Misses, c.FalseAlarms+c.CorrectRejections)
	}
	return nil
}

func rate(yes, no int) float64 { return float64(yes) / float64(yes+no) }

// setModels fills in d′ and criterion of both models, with the log-linear correction (Hautus 1995) for rates of 0 and 1.
func (s *PairScore) setModels() {
	h, f := s.HitRate, s.FalseAlarmRate
	if s.Corrected = h == 0 || h == 1 || f == 0 || f == 1; s.Corrected {
		h = (float64(s.Hits) + 0.5) / float64(s.Hits+s.Misses+1)
		f = (float64(s.FalseAlarms) + 0.5) / float64(s.FalseAlarms+s.CorrectRejections+1)
	}
	s.Criterion = differencingCriterion(f)
	s.DPrimeDifferencing = differencingDPrime(h, s.Criterion)
	s.ZDifference = normalQuantile(h) - normalQuantile(f)
	s.PCMax = normalCDF(s.ZDifference / 2)
	s.DPrimeIndependent = pairIndependent(s.ZDifference)
	s.DPrime, s.DPrimeCorrected = s.DPrimeIndependent, s.DPrimeIndependent
	s.setIntervals()
}

// pairIndependent returns d′ = 2·Φ⁻¹{[1 + √(2·pc − 1)]/2} with pc = Φ(z/2); 0 for z ≤ 0, NaN where z is infinite.
//
// ref: Macmillan & Creelman (2005), chapter 9.
func pairIndependent(z float64) float64 {
	switch {
	case math.IsNaN(z) || math.IsInf(z, 1):
		return math.NaN()
	case z <= 0:
		return 0
	}
	root := math.Sqrt(math.Erf(z / (2 * math.Sqrt2)))
	// (1 − root)/2 without cancellation: 1 − root = (1 − root²)/(1 + root).
	tail := math.Erfc(z/(2*math.Sqrt2)) / (1 + root) / 2
	return 2 * normalUpperPoint(math.Log(tail))
}

// differencingCriterion solves F = 2·Φ(−τ/√2) for τ.
func differencingCriterion(f float64) float64 { return math.Sqrt2 * normalUpperPoint(math.Log(f/2)) }

// differencingHit returns H = Φ((d − τ)/√2) + Φ((−d − τ)/√2).
func differencingHit(d, tau float64) float64 {
	return normalCDF((d-tau)/math.Sqrt2) + normalCDF((-d-tau)/math.Sqrt2)
}

// equalRates is the relative difference that rounding may make between equal rates.
const equalRates = 1e-14

// differencingDPrime solves differencingHit = h for d; 0 where h is at or below the false-alarm rate.
func differencingDPrime(h, tau float64) float64 {
	if h <= differencingHit(0, tau)*(1+equalRates) {
		return 0
	}
	// At the upper end the first term of the hit rate alone exceeds h.
	return rootBetween(func(d float64) float64 { return differencingHit(d, tau) - h }, 0, tau+math.Sqrt2*normalQuantile(h)+1e-6)
}

func (s *PairScore) warnOfPairs() {
	if s.Hits+s.Misses != s.FalseAlarms+s.CorrectRejections {
		s.Warn(warning.Newf(UnequalPairs, "%d different and %d same pairs: percent correct (%.1f %%) depends on the habit of answering, %.1f %% with both kinds alike; hits and false alarms decide",
			s.Hits+s.Misses, s.FalseAlarms+s.CorrectRejections, 100*s.Proportion, 100*s.BalancedCorrect).Of(s.BalancedCorrect, ""))
	}
	if s.Corrected {
		s.Warn(warning.Newf(RatesAdjusted, "a rate was 0 or 1: d′ and criterion use the log-linear correction"))
	}
	if s.Critical == nil {
		s.Warn(warning.Newf(CannotDecide, "these totals cannot decide: no number of hits reaches α = %g", s.Alpha).Of(float64(s.Trials), "trials"))
	}
	if s.HitRate < s.FalseAlarmRate && s.Log10PBelow <= math.Log10(s.Alpha/2) {
		s.Warn(warning.Newf(ReliablyWrong, "reliably wrong: so few hits would come by chance with p = %.3g; look for exchanged answers before calling it nothing", s.PBelow).Of(s.PBelow, ""))
	}
}
