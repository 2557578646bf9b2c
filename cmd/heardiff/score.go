package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// peekingCost is said wherever somebody may look at p while a test is running; a test computes its figures.
const peekingCost = `Fix the number of trials first. Looking at p after every trial and stopping at the first
p <= 0.05 calls a fair coin 'heard' with probability 0.0876 by trial 16, 0.1579 by trial 50
and 0.2021 by trial 100 (computed exactly). '--plan sequential' may be looked at any time:
there the e-value decides, and it reaches 1/alpha by chance with probability at most alpha.`

// whatDiscriminatorsAre explains the word wherever help uses it.
const whatDiscriminatorsAre = `The proportion of discriminators is that of trials on which the answer is truly known, where
the others are guessed: 0 for a guesser, 1 for a listener who is always right, (p - chance)/(1 - chance),
which is 2p - 1 in ABX.`

type scoreFlags struct {
	design            string
	correct, trials   int
	hits, misses      int
	falseAlarms       int
	correctRejections int
	alpha, confidence float64
	plan              string
}

func (a *app) scoreCommand() *cobra.Command {
	var f scoreFlags
	c := &cobra.Command{
		Use:   "score --design abx --correct K --trials N",
		Short: "what a count of right answers says: exact p, intervals, d', what is ruled out",
		Long: `What a count of right answers says: exact p, intervals, d', what is ruled out.

` + whatDiscriminatorsAre + `

` + peekingCost + `

A duplicate-pair test is judged from hits and false alarms, never from percent correct,
which a habit of saying "different" can raise when same and different pairs are unequal in number.`,
		Example: "  heardiff score --design abx --correct 12 --trials 16\n" +
			"  heardiff score --design triangle --correct 12 --trials 24\n" +
			"  heardiff score --design same-different --hits 12 --misses 4 --false-alarms 5 --correct-rejections 11",
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error { return a.score(c, f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.design, "design", "", "`abx`, or "+strings.TrimPrefix(trials.DesignNames(), "abx, ")+"; duo-trio, 2-afc, 3-afc or tetrad of a result in print")
	fl.IntVar(&f.correct, "correct", 0, "right answers (all but same-different)")
	fl.IntVar(&f.trials, "trials", 0, "trials (all but same-different)")
	fl.IntVar(&f.hits, "hits", 0, "'different' said of different pairs")
	fl.IntVar(&f.misses, "misses", 0, "'same' said of different pairs")
	fl.IntVar(&f.falseAlarms, "false-alarms", 0, "'different' said of same pairs")
	fl.IntVar(&f.correctRejections, "correct-rejections", 0, "'same' said of same pairs")
	alphaFlag(fl, &f.alpha)
	confidenceFlag(fl, &f.confidence)
	fl.StringVar(&f.plan, "plan", "fixed", "`fixed`, or sequential where results were looked at on the way")
	return c
}

func alphaFlag(f *pflag.FlagSet, alpha *float64) {
	f.Float64Var(alpha, "alpha", 0.05, "accepted risk of 'heard' by chance")
}

func confidenceFlag(f *pflag.FlagSet, confidence *float64) {
	f.Float64Var(confidence, "confidence", 0.95, "confidence of two-sided intervals")
}

func (a *app) score(c *cobra.Command, f scoreFlags) error {
	cfg, err := scoreConfig(f)
	if err != nil {
		return misused(err)
	}
	d, err := trials.ParseDesign(f.design)
	if err == nil && d.ByRates() {
		return a.scoreRates(c, f, cfg)
	}
	if err == nil {
		return a.scoreCounts(c, f, d.Procedure(), func(k, n int) (stats.Score, error) { return d.Score(k, n, cfg) })
	}
	p, err := stats.ParseProcedure(f.design)
	if err != nil {
		return misusedf("--design %q: %s is wanted; of a result in print also duo-trio, 2-afc, 3-afc or tetrad", f.design, trials.DesignNames())
	}
	return a.scoreCounts(c, f, p, func(k, n int) (stats.Score, error) { return stats.ScoreChoice(p, k, n, cfg) })
}

// The flags that hold the counts of a design, and of a design judged by rates.
var wantedCounts, wantedRates = []string{"correct", "trials"}, []string{"hits", "misses", "false-alarms", "correct-rejections"}

// countFlags refuses the counts of another design, and counts that are missing.
func countFlags(c *cobra.Command, f scoreFlags, wanted, others []string) error {
	for _, name := range others {
		if c.Flags().Changed(name) {
			return misusedf("--%s does not go with --design %s: --%s is wanted", name, f.design, strings.Join(wanted, ", --"))
		}
	}
	return needFlags(c, wanted...)
}

func (a *app) scoreCounts(c *cobra.Command, f scoreFlags, p stats.Procedure, score func(k, n int) (stats.Score, error)) error {
	if err := countFlags(c, f, wantedCounts, wantedRates); err != nil {
		return err
	}
	s, err := score(f.correct, f.trials)
	if err != nil {
		return rejected(err, "")
	}
	return a.print(countScore{"heardiff.score/1", s}, func(w io.Writer) { writeScore(w, p, s) })
}

func (a *app) scoreRates(c *cobra.Command, f scoreFlags, cfg stats.ScoreConfig) error {
	if err := countFlags(c, f, wantedRates, wantedCounts); err != nil {
		return err
	}
	s, err := stats.ScorePairs(stats.Pairs{Hits: f.hits, Misses: f.misses, FalseAlarms: f.falseAlarms,
		CorrectRejections: f.correctRejections}, cfg)
	if err != nil {
		return rejected(err, "")
	}
	return a.print(pairScore{"heardiff.score/1", s}, func(w io.Writer) { writePairs(w, s) })
}

type countScore struct {
	Schema string `json:"schema"`
	stats.Score
}

type pairScore struct {
	Schema string `json:"schema"`
	stats.PairScore
}

func scoreConfig(f scoreFlags) (stats.ScoreConfig, error) {
	cfg := stats.ScoreConfig{Alpha: f.alpha, Confidence: f.confidence}
	for name, v := range map[string]float64{"alpha": f.alpha, "confidence": f.confidence} {
		if !(v > 0 && v < 1) {
			return cfg, fmt.Errorf("--%s %v: a fraction inside (0, 1) is wanted", name, v)
		}
	}
	if f.plan == "sequential" {
		cfg.Plan = stats.SequentialPlan
	}
	return cfg, oneOf("plan", f.plan, "fixed", "sequential")
}

func needFlags(c *cobra.Command, names ...string) error {
	for _, name := range names {
		if !c.Flags().Changed(name) {
			return misusedf("--%s is missing", name)
		}
	}
	return nil
}

// intervalHead says above a table what its intervals are.
func intervalHead(w io.Writer, confidence float64) {
	fmt.Fprintf(w, "intervals: two-sided, %g %%\n", 100*confidence)
}

func writeScore(w io.Writer, p stats.Procedure, s stats.Score) {
	if s.Plan == stats.FixedPlan {
		intervalHead(w, s.Confidence)
	}
	chance := fmt.Sprintf("%.3g", s.Chance)
	t := newTable()
	t.row("correct", fmt.Sprintf("%d of %d", s.Correct, s.Trials), fmt.Sprintf("(%.1f %%; by chance %.1f %%)", 100*s.Proportion, 100*s.Chance))
	if s.Critical != nil {
		t.row("critical count", fmt.Sprint(*s.Critical), fmt.Sprintf("at alpha %g, plan %s", s.Alpha, planName(s.Plan)))
	}
	if s.Plan == stats.SequentialPlan {
		// p, intervals and limits of a fixed number of trials are not valid where it depended on the answers.
		t.row("e-value", number(s.EValue), fmt.Sprintf("the Bayes factor of p uniform between %[1]s and 1 against %[1]s; %[2]s at least is heard", chance, number(1/s.Alpha)))
		t.print(w, "")
		warningLines(w, "note: ", s.Warnings)
		return
	}
	t.row("p, one-sided", link.Probability(s.P), fmt.Sprintf("mid-p %s, two-sided %s", link.Probability(s.MidP), link.Probability(s.PTwoSided)))
	t.row("interval of p", span(s.ClopperPearson), fmt.Sprintf("exact, %g %%", 100*s.Confidence))
	if p.TwoModels() {
		t.row("d', independent", number(s.DPrimeIndependent), span(s.DPrimeInterval))
		t.row("d', differencing", number(s.DPrimeDifferencing), span(s.DPrimeDifferencingInterval))
	} else {
		t.row("d', "+s.Design, number(s.DPrime), span(s.DPrimeInterval))
	}
	t.row("discriminators", number(s.Discriminators), span(s.DiscriminatorsInterval))
	t.row("ruled out above", number(s.DiscriminatorsUpper), fmt.Sprintf("of discriminators, one-sided %g %%", 100*(1-s.Alpha)))
	t.row("Bayes factor", number(s.BayesFactor), fmt.Sprintf("of p uniform between %[1]s and 1 against %[1]s; also the e-value", chance))
	t.print(w, "")
	warningLines(w, "note: ", s.Warnings)
}

func writePairs(w io.Writer, s stats.PairScore) {
	intervalHead(w, s.Confidence)
	t := newTable()
	t.row("hit rate", fmt.Sprintf("%.3f", s.HitRate), fmt.Sprintf("%d of %d", s.Hits, s.Hits+s.Misses))
	t.row("false-alarm rate", fmt.Sprintf("%.3f", s.FalseAlarmRate), fmt.Sprintf("%d of %d", s.FalseAlarms, s.FalseAlarms+s.CorrectRejections))
	t.row("p, one-sided", link.Probability(s.P), fmt.Sprintf("Fisher exact; mid-p %s, two-sided %s", link.Probability(s.MidP), link.Probability(s.PTwoSided)))
	t.row("p, other deals", link.Probability(s.Permutation.PCoin), "the same answers where a coin deals each pair anew; two-sided "+link.Probability(s.Permutation.PCoinTwoSided))
	t.row("d', independent", number(s.DPrimeIndependent), span(s.DPrimeInterval))
	t.row("d', differencing", number(s.DPrimeDifferencing), span(s.DPrimeDifferencingInterval))
	t.row("criterion", number(s.Criterion), span(s.CriterionInterval)+"; in units of sigma, differencing")
	t.print(w, "")
	warningLines(w, "note: ", s.Warnings)
}

func span(v [2]float64) string { return number(v[0]) + " to " + number(v[1]) }

func planName(p stats.Plan) string {
	name, _ := p.MarshalText()
	return string(name)
}
