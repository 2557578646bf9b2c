package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"heardiff/stats"
)

// choiceScore is what "score" prints for a procedure that no plan here uses, but results in print do.
type choiceScore struct {
	Schema string `json:"schema"`
	stats.ChoiceScore
}

func (a *app) scoreChoice(c *cobra.Command, f scoreFlags, p stats.Procedure, cfg stats.ScoreConfig) error {
	if err := needFlags(c, "correct", "trials"); err != nil {
		return err
	}
	if cfg.Plan != stats.FixedPlan {
		return misusedf("--plan sequential: known for abx alone")
	}
	s, err := stats.ScoreChoice(p, f.correct, f.trials, cfg)
	if err != nil {
		return rejected(err, "")
	}
	return a.print(choiceScore{"heardiff.score/1", s}, func(w io.Writer) { writeChoice(w, s) })
}

func writeChoice(w io.Writer, s stats.ChoiceScore) {
	intervalHead(w, s.Confidence)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "correct\t%d of %d\t(%.1f %%; by chance %.1f %%)\n", s.Correct, s.Trials, 100*s.Proportion, 100*s.Chance)
	if s.Critical != nil {
		fmt.Fprintf(t, "critical count\t%d\tat alpha %g\n", *s.Critical, s.Alpha)
	}
	fmt.Fprintf(t, "p, one-sided\t%s\tmid-p %s, two-sided %s\n", probability(s.P), probability(s.MidP), probability(s.PTwoSided))
	fmt.Fprintf(t, "interval of p\t%s\texact, %g %%\n", span(s.ClopperPearson), 100*s.Confidence)
	fmt.Fprintf(t, "d', %s\t%s\t%s\n", s.Design, number(s.DPrime), span(s.DPrimeInterval))
	fmt.Fprintf(t, "discriminators\t%s\t%s\n", number(s.Discriminators), span(s.DiscriminatorsInterval))
	fmt.Fprintf(t, "ruled out above\t%s\tof discriminators, one-sided %g %%\n", number(s.DiscriminatorsUpper), 100*s.Confidence)
	t.Flush()
	writeWarnings(w, s.Warnings)
}
