package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/columns"
	"heardiff/stats"
	"heardiff/stats/warning"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

type fitFlags struct {
	shape, scale, lapse string
	pooled              string
	next                bool
	guess, confidence   float64
	bootstrap           int
	seed                uint64
}

func (a *app) fitCommand() *cobra.Command {
	var f fitFlags
	c := &cobra.Command{
		Use:   "fit FILE.csv",
		Short: "a psychometric function: from which dose on is it heard",
		Long: `A psychometric function: from which dose on is it heard.

FILE.csv has the columns dose,correct,trials and, if you like, listener. The threshold is the
dose half-way between guessing and the best the listener does. Its interval comes from the
profile likelihood; an end that the data do not bound is shown as a dash (null in JSON).
With --pooled random each listener of the column listener has a threshold of their own, normal
(in log10 of the dose) about the mean; the slope is then that of one listener, and the fewer
they are, the wider is the interval of the mean.
--next names the dose at which one more trial is expected to narrow threshold and slope most,
whatever the answer; use it between sessions, not to stop at a lucky moment.
Where the fit is not earned (fewer than four doses, a curve that does not fit, a threshold
without an end) a trend test and an isotonic curve, which assume no shape, are printed too.`,
		Example: "  heardiff fit dose.csv --shape logistic --lapse free --bootstrap 1000",
		Args:    exactArgs("FILE.csv"),
		RunE:    func(c *cobra.Command, args []string) error { return a.fit(c.Context(), args[0], f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.shape, "shape", "weibull", "`weibull`, logistic or normal")
	fl.StringVar(&f.scale, "scale", "log", "scale of the dose: `log` (log10) or linear")
	fl.Float64Var(&f.guess, "guess", trials.ABX.Chance(), "chance level, fixed by the design: that of abx unless given")
	fl.StringVar(&f.lapse, "lapse", "0", "lapse rate, a `number` or free (0 to 0.1)")
	fl.StringVar(&f.pooled, "pooled", "common", "listeners: one `common` threshold, or random ones about a mean")
	fl.BoolVar(&f.next, "next", false, "say at which dose the next trial teaches most")
	confidenceFlag(fl, &f.confidence)
	fl.IntVar(&f.bootstrap, "bootstrap", 0, "simulated data sets for the goodness of fit; 0 is asymptotic")
	fl.Uint64Var(&f.seed, "seed", 1, "`seed` of the simulation")
	return c
}

func (a *app) fit(ctx context.Context, path string, f fitFlags) error {
	cfg, err := fitConfig(f)
	if err != nil {
		return misused(err)
	}
	t, err := readTable(ctx, path, "dose", "correct", "trials")
	if err != nil {
		return err
	}
	points, err := columns.Doses(t)
	if err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), "")
	}
	result, err := study.Interruptibly(ctx, func() (fitted, error) { return fitAll(points, cfg, f) })
	if err != nil {
		return rejected(fmt.Errorf("%s: %w", path, err), fitHint(points, cfg, f))
	}
	return a.print(result, func(w io.Writer) { writeFit(w, result) })
}

// fitAll computes all that the flags ask for.
func fitAll(points []stats.DosePoint, cfg stats.FitConfig, f fitFlags) (fitted, error) {
	result := fitted{Schema: "heardiff.fit/1"}
	var err error
	if result.Fit, err = stats.FitCurve(points, cfg); err != nil {
		return result, err
	}
	if f.pooled == "random" {
		random, err := stats.FitRandomThresholds(points, cfg)
		if err != nil {
			return result, err
		}
		result.Random = &random
	}
	if f.next {
		next, err := stats.NextDose(points, cfg)
		if err != nil {
			return result, err
		}
		result.Next = &next
	}
	return result, result.shapeless(points, cfg)
}

// fitted is what "fit" prints.
type fitted struct {
	Schema string `json:"schema"`
	stats.Fit
	Random *stats.RandomThresholds `json:"random_thresholds"` // null unless asked for
	Next   *stats.NextTrial        `json:"next"`              // null unless asked for
	Earned bool                    `json:"earned"`
	// NotEarned is why the threshold should not be relied on.
	NotEarned        []string              `json:"not_earned"`
	NotEarnedDetails []warning.Warning     `json:"not_earned_details"`
	Trend            stats.DoseTrend       `json:"trend"`
	Isotonic         []stats.IsotonicPoint `json:"isotonic"`
}

// shapeless adds what the data say without a curve.
func (f *fitted) shapeless(points []stats.DosePoint, cfg stats.FitConfig) error {
	why := f.Unreliable(points)
	f.NotEarned, f.NotEarnedDetails, f.Earned = why.Texts, why.Details, len(why.Details) == 0
	var err error
	if f.Trend, err = stats.CochranArmitage(points, cfg.Linear); err != nil {
		return err
	}
	f.Isotonic, err = stats.IsotonicCurve(points, cfg.Guess)
	return err
}

func fitHint(points []stats.DosePoint, cfg stats.FitConfig, f fitFlags) string {
	for _, p := range points {
		if p.Dose <= 0 && !cfg.Linear {
			return "--scale linear takes doses of zero"
		}
	}
	if f.pooled == "random" && !slices.ContainsFunc(points, func(p stats.DosePoint) bool { return p.Listener != points[0].Listener }) {
		return "random thresholds need a column listener with two listeners or more"
	}
	return ""
}

// maxBootstrap is the largest number of resamples: minutes of work, for an interval that a hundredth of them gives as well. A judgement, no
// source; TestWrongInputSaysWhatAndWhy holds it.
const maxBootstrap = 100_000

func fitConfig(f fitFlags) (stats.FitConfig, error) {
	cfg := stats.FitConfig{Guess: f.guess, NoGuess: f.guess == 0, Confidence: f.confidence, Bootstrap: f.bootstrap, Seed: f.seed,
		FreeLapse: f.lapse == "free", Linear: f.scale == "linear"}
	var err error
	if cfg.Shape, err = stats.ParseShape(f.shape); err != nil {
		return cfg, fmt.Errorf("--shape %q: weibull, logistic or normal is wanted", f.shape)
	}
	if f.lapse != "free" {
		if cfg.Lapse, err = strconv.ParseFloat(f.lapse, 64); err != nil || !(cfg.Lapse >= 0 && cfg.Lapse < 1) {
			return cfg, fmt.Errorf("--lapse %q: a fraction below 1, or free, is wanted", f.lapse)
		}
	}
	if err := cmp.Or(oneOf("pooled", f.pooled, "common", "random"), oneOf("scale", f.scale, "log", "linear")); err != nil {
		return cfg, err
	}
	switch {
	case f.pooled == "random" && cfg.FreeLapse:
		return cfg, errors.New("--pooled random and --lapse free: lapses and listeners who differ look alike; give the lapse rate as a number")
	case !(f.guess >= 0 && f.guess < 1):
		return cfg, fmt.Errorf("--guess %v: a fraction below 1 is wanted", f.guess)
	case f.guess+cfg.Lapse >= 1:
		return cfg, fmt.Errorf("--guess %v and --lapse %v leave no room for a rise", f.guess, cfg.Lapse)
	case !(f.confidence > 0 && f.confidence < 1):
		return cfg, fmt.Errorf("--confidence %v: a fraction inside (0, 1) is wanted", f.confidence)
	case f.bootstrap < 0 || f.bootstrap > maxBootstrap:
		return cfg, fmt.Errorf("--bootstrap %d: 0 to %d is wanted", f.bootstrap, maxBootstrap)
	}
	return cfg, nil
}

func writeFit(w io.Writer, r fitted) {
	intervalHead(w, r.Confidence)
	t := newTable()
	t.row("shape", fmt.Sprint(r.Shape), fmt.Sprintf("guess %g, lapse %.3f, %s dose", r.Guess, r.Lapse, r.Scale))
	t.row("threshold", dose(r.Threshold), dose(r.ThresholdInterval[0])+" to "+dose(r.ThresholdInterval[1]))
	t.row("slope", number(r.Slope), span(r.SlopeInterval))
	t.row("fit", "p "+link.Probability(r.P), fmt.Sprintf("deviance %.2f, df %d", r.Deviance, r.DF))
	t.row("overdispersion", number(r.Overdispersion), fmt.Sprintf("Pearson's chi-square %.2f over its degrees of freedom; 1 where the trials are independent", r.Pearson))
	t.print(w, "")
	warningLines(w, "note: ", r.Warnings)
	if r.Random != nil {
		writeRandom(w, *r.Random)
	}
	if !r.Earned {
		writeShapeless(w, r)
	}
	if n := r.Next; n != nil {
		fmt.Fprintf(w, "\nThe next trial teaches most at a dose of %s (%.4f bit expected); of the doses in the file, at %s (%.4f bit).\n",
			dose(n.Dose), n.Information, dose(n.Tested), n.InfoTested)
	}
}

// writeRandom writes the fit with a threshold for each listener.
func writeRandom(w io.Writer, r stats.RandomThresholds) {
	unit := "log10 of the dose"
	if r.Scale == "linear" {
		unit = "dose"
	}
	fmt.Fprintf(w, "\n%s, thresholds normal about a mean:\n", trials.Counted(r.Listeners, "listener"))
	t := newTable()
	t.row("mean threshold", dose(r.Threshold), dose(r.ThresholdInterval[0])+" to "+dose(r.ThresholdInterval[1]))
	t.row("between listeners", number(r.BetweenSD), fmt.Sprintf("%s, standard deviation of the threshold in %s", span(r.BetweenSDInterval), unit))
	t.row("slope of each", number(r.Slope), span(r.SlopeInterval))
	t.row("listeners differ", "p "+link.Probability(r.P), fmt.Sprintf("likelihood ratio %.2f", r.LR))
	t.print(w, "")
	warningLines(w, "note: ", r.Warnings)
}

// writeShapeless writes the trend test and the isotonic curve.
func writeShapeless(w io.Writer, r fitted) {
	fmt.Fprintf(w, "\nThe fit is not earned: %s. Without a curve:\n", strings.Join(r.NotEarned, "; "))
	exact := "too many tables to count for an exact p"
	switch {
	case math.IsNaN(r.Trend.P):
		exact = "nothing to compare: all answers are alike, or nobody came to two doses"
	case r.Trend.Listeners > 1:
		exact = "answers compared within each listener"
	case r.Trend.PExact >= 0:
		exact = "exact " + link.Probability(r.Trend.PExact)
	}
	fmt.Fprintf(w, "rises with the dose: p %s (Cochran-Armitage, one-sided, z %s; %s)\n\n", link.Probability(r.Trend.P), number(r.Trend.Z), exact)
	t := newTable("dose", "correct", "trials", "%", "isotonic, %")
	t.right(0, 1, 2, 3, 4)
	for _, p := range r.Isotonic {
		t.row(dose(p.Dose), fmt.Sprint(p.Correct), fmt.Sprint(p.Trials), fmt.Sprintf("%.1f", 100*p.Observed), fmt.Sprintf("%.1f", 100*p.Proportion))
	}
	t.print(w, "")
}

// dose writes a dose with four significant digits.
func dose(v float64) string { return figure(v, "%.4g") }
