package stats

import (
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// Diagnostics describes how a listener answered in a session: whether accuracy changed over time and whether answers
// followed a pattern. It only describes: no trial is excluded because of it and no result changes. All probabilities are
// two-sided unless their name says otherwise, and none is corrected for multiple comparisons.
type Diagnostics struct {
	Trials     int          `json:"trials"`
	RightWrong Runs         `json:"runs_of_right_and_wrong"`
	Answers    Runs         `json:"runs_of_answers"`
	Halves     Halves       `json:"halves"`
	Trend      TrialTrend   `json:"trend"`
	Bias       ResponseBias `json:"response_bias"`
	Pattern    Pattern      `json:"pattern"`
	// Notes are what stands out, in words, NoteDetails the same as data.
	Notes       []string          `json:"notes"`
	NoteDetails []warning.Warning `json:"note_details"`
}

// Halves compares the first half of the trials with the second; the middle one of an odd number belongs to the second.
type Halves struct {
	First  Count   `json:"first"`
	Second Count   `json:"second"`
	P      float64 `json:"p_value"` // Fisher's exact, two-sided
}

// TrialTrend tests whether accuracy rises or falls with the trial number.
type TrialTrend struct {
	Z     float64 `json:"z"`       // score test of a logistic regression on the trial's number; above 0 it rises
	P     float64 `json:"p_value"` // over all orders of the right and wrong answers; from Z where there are too many
	Exact bool    `json:"exact"`
}

// ResponseBias compares the share of the second of the two answers with one half.
type ResponseBias struct {
	Second   int        `json:"second"`
	Trials   int        `json:"trials"`
	Share    float64    `json:"share"`
	Interval [2]float64 `json:"interval"` // Clopper–Pearson
	P        float64    `json:"p_value"`  // exact binomial
}

// Pattern looks for answers that depend on the one before. Its probabilities are one-sided, for a fair coin.
type Pattern struct {
	Repeats            int     `json:"repeats"` // answers equal to the one before
	Of                 int     `json:"of"`      // answers that have one before
	LongestSame        int     `json:"longest_same"`
	PSame              float64 `json:"p_longest_same"`
	LongestAlternating int     `json:"longest_alternating"`
	PAlternating       float64 `json:"p_longest_alternating"`
}

// Diagnose returns the diagnostics of a session's trials, in the order in which they were answered. second says whether the
// second of the design's two answers was given, right whether the answer was right. It is an error if there are none, the
// lengths differ, or confidence is not inside (0, 1).
func Diagnose(second, right []bool, confidence float64) (Diagnostics, error) {
	if len(second) != len(right) || len(right) == 0 {
		return Diagnostics{}, fmt.Errorf("stats: %d answers and %d judgements of them: equal numbers are needed, at least one", len(second), len(right))
	}
	d := accuracyOf(right)
	d.Answers, d.Pattern = TestRuns(second), patternOf(second)
	d.Bias = ResponseBias{Second: d.Answers.Second, Trials: len(second), Share: float64(d.Answers.Second) / float64(len(second))}
	iv, err := ProportionIntervals(d.Bias.Second, d.Bias.Trials, confidence)
	if err != nil {
		return Diagnostics{}, err
	}
	b, err := BinomialTest(d.Bias.Second, d.Bias.Trials, 0.5)
	d.Bias.Interval, d.Bias.P = iv.ClopperPearson, b.TwoSided
	d.note()
	return d, err
}

// DiagnoseAccuracy is Diagnose for a design with more than two answers: it reports only whether accuracy changed over
// time. The counts of answers are 0 and their probabilities NaN. It is an error if there are no trials.
func DiagnoseAccuracy(right []bool) (Diagnostics, error) {
	if len(right) == 0 {
		return Diagnostics{}, fmt.Errorf("stats: no trials")
	}
	d, nan := accuracyOf(right), math.NaN()
	d.Answers = TestRuns(nil)
	d.Bias = ResponseBias{Share: nan, Interval: [2]float64{nan, nan}, P: nan}
	d.Pattern = Pattern{PSame: nan, PAlternating: nan}
	d.note()
	return d, nil
}

func accuracyOf(right []bool) Diagnostics {
	return Diagnostics{Trials: len(right), RightWrong: TestRuns(right), Halves: compareHalves(right), Trend: trendOverTrials(right)}
}

func countTrue(v []bool) Count {
	c := Count{Trials: len(v)}
	for _, x := range v {
		if x {
			c.Correct++
		}
	}
	return c
}

func compareHalves(right []bool) Halves {
	middle := len(right) / 2
	h := Halves{First: countTrue(right[:middle]), Second: countTrue(right[middle:]), P: math.NaN()}
	if middle > 0 {
		table := hypergeometric{nd: h.First.Trials, ns: h.Second.Trials, m: h.First.Correct + h.Second.Correct}
		h.P = math.Exp(table.lnTwoSided(h.First.Correct))
	}
	return h
}

// trendOverTrials tests the sum of the trial numbers that were answered right. Given how many were, each set of trial
// numbers is equally likely, so that the sum is Wilcoxon's rank sum.
//
//	z = Σ (i − ī)·y / √[p·(1 − p)·Σ (i − ī)²]
//
// ref: Cox & Snell (1989) for the score test; Wilcoxon (1945).
func trendOverTrials(right []bool) TrialTrend {
	c := countTrue(right)
	n, k := c.Trials, c.Correct
	if k == 0 || k == n {
		return TrialTrend{Z: math.NaN(), P: math.NaN()}
	}
	sum := 0
	for i, y := range right {
		if y {
			sum += i + 1
		}
	}
	p, middle := float64(k)/float64(n), float64(n+1)/2
	squares := float64(n) * (float64(n)*float64(n) - 1) / 12
	t := TrialTrend{Z: (float64(sum) - float64(k)*middle) / math.Sqrt(p*(1-p)*squares)}
	t.P = math.Min(1, 2*math.Exp(lnNormalUpper(math.Abs(t.Z))))
	if rankSumCost(k, n) <= rankSumLimit {
		least := k * (k + 1) / 2
		t.P, t.Exact = rankSumTwoSided(sum-least, k, n), true
	}
	return t
}

func patternOf(second []bool) Pattern {
	p := Pattern{Of: len(second) - 1}
	turned := make([]bool, len(second)) // every other answer inverted: alternating answers become equal ones
	for i, s := range second {
		turned[i] = s != (i%2 == 1)
		if i > 0 && s == second[i-1] {
			p.Repeats++
		}
	}
	p.LongestSame, p.PSame = LongestRun(second)
	p.LongestAlternating, p.PAlternating = LongestRun(turned)
	return p
}

// worthNoting is the p below which a diagnostic is reported as a note (judgement, no source: seven tests at 0.01 raise a
// note in at most 7 % of sessions by chance). TestDiagnosticsKeepTheirErrorRate and TestWhatLimitsAResultHasItsCode hold it.
const worthNoting = 0.01

// Note adds notes.
func (d *Diagnostics) Note(list ...warning.Warning) {
	for _, n := range list {
		d.Notes, d.NoteDetails = append(d.Notes, n.Text), append(d.NoteDetails, n)
	}
}

func (d *Diagnostics) note() {
	note := func(code warning.Code, p float64, format string, args ...any) {
		if p < worthNoting {
			d.Note(warning.Newf(code, format, args...).Of(p, ""))
		}
	}
	trend, direction := AccuracyFell, "fell"
	if d.Trend.Z > 0 {
		trend, direction = AccuracyRose, "rose"
	}
	note(HalvesDiffer, d.Halves.P, "accuracy changed between the halves: %d of %d, then %d of %d right (p = %.2g)",
		d.Halves.First.Correct, d.Halves.First.Trials, d.Halves.Second.Correct, d.Halves.Second.Trials, d.Halves.P)
	note(trend, d.Trend.P, "accuracy %s over the session (p = %.2g)", direction, d.Trend.P)
	note(RunsOfRight, d.RightWrong.P, "right and wrong answers formed %d runs where about %.0f are expected (p = %.2g)", d.RightWrong.Runs, d.RightWrong.Expected, d.RightWrong.P)
	note(OnePreferred, d.Bias.P, "one answer was preferred: the second of the two was given in %d of %d (p = %.2g)", d.Bias.Second, d.Bias.Trials, d.Bias.P)
	note(RunsOfAnswers, d.Answers.P, "answers formed %d runs where about %.0f are expected (p = %.2g)", d.Answers.Runs, d.Answers.Expected, d.Answers.P)
	note(SameInARow, d.Pattern.PSame, "the same answer was given %d times in a row (p = %.2g for a fair coin)", d.Pattern.LongestSame, d.Pattern.PSame)
	note(Alternating, d.Pattern.PAlternating, "answers alternated %d times in a row (p = %.2g for a fair coin)", d.Pattern.LongestAlternating, d.Pattern.PAlternating)
}
