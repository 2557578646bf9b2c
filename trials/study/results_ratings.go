package study

import (
	"heardiff/stats"
	"heardiff/trials"
)

// ratingReport is what the confidence given with the answers to one comparison shows.
type ratingReport struct {
	// Type is 1 where the rating, from sure of 'same' to sure of 'different', tells different pairs from same ones;
	// 2 where confidence tells right answers from wrong ones.
	Type    int `json:"type"`
	Rated   int `json:"rated_trials"`
	Unrated int `json:"unrated_trials"` // answered without a confidence: left out of this figure alone
	stats.RatingCurve
}

// rateConfidence returns nil where no confidence was given, or there is nothing to tell apart.
func rateConfidence(r trials.Result, comparison string) (*ratingReport, error) {
	report := ratingReport{Type: 2}
	answers := r.Plan.Design.Answers()
	if r.Plan.Design.ByRates() {
		report.Type = 1
	}
	var low, high []int
	for _, t := range r.Trials {
		if t.Comparison != comparison || t.Void != "" {
			continue
		}
		if t.Confidence == 0 {
			report.Unrated++
			continue
		}
		rating, isHigh := t.Confidence, t.Correct
		if report.Type == 1 {
			isHigh = t.Truth == answers[1]
			if t.Answer == answers[0] {
				rating = -rating
			}
		}
		if isHigh {
			high = append(high, rating)
		} else {
			low = append(low, rating)
		}
	}
	report.Rated = len(low) + len(high)
	if len(low) == 0 || len(high) == 0 {
		return nil, nil
	}
	curve, err := stats.CompareRatings(low, high, 0.95)
	report.RatingCurve = curve
	return &report, err
}
