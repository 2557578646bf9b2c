package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

func (a *app) linkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "link",
		Short: "compare what was heard with what was measured of the same chains",
		Long: `Compare each listener's result with the measured differences of the very same chains.

If nobody hears anything, the chance that a study says 'heard' in any row, ever, is at most
its alpha, whatever its people do: more listeners, repeats, sessions given up, fresh plans,
looks. "heardiff help plan new" says how the rows share it. "uncorrected" is each row's own p, which
never decides; "over the study" is p after all that, and decides.

The verdicts: heard (what else could explain it is named first); ruled out (the upper bound
of how often the answer can have been known, valid over repeats and looks, lies below the
smallest effect of the plans; "ruled out above" is that bound, at the level alpha for each
row by itself; for a group or for all it is of the average listener); undecided (with what a fresh plan would do); void (a
negative control passed over all sessions of a listener; a positive control missed, under a
null; a level, alignment or response error under a 'heard'). What is void is in no sum.`,
		Example: "  heardiff link\n  heardiff link --json",
		Args:    exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := a.linkStudy(c.Context())
			if err != nil {
				return err
			}
			return a.print(l.Result, func(w io.Writer) { linkText(w, l.Result) })
		},
	}
}

// linked is a study with its link, and how the command shows it.
type linked struct{ study.Linked }

// linkStudy reads the study and links it.
func (a *app) linkStudy(ctx context.Context) (linked, error) {
	s, err := a.openStudy(ctx)
	if err != nil {
		return linked{}, err
	}
	defer s.Close()
	l, err := s.Link(ctx)
	return linked{l}, err
}

func linkText(w io.Writer, r link.Result) {
	everyone := !slices.ContainsFunc(r.Rows, func(v link.Row) bool { return v.Simulated != r.Simulated || v.Silent != r.Silent })
	which := "some"
	if everyone {
		which = "all"
	}
	if r.Simulated {
		fmt.Fprintf(w, "SIMULATED: %s answers come from a computation, not from people.\n\n", which)
	}
	if r.Silent {
		fmt.Fprintf(w, "NO SOUND: %s answers were given where no device sounded.\n\n", which)
	}
	if len(r.Rows) == 0 {
		fmt.Fprintln(w, "no session has ended yet")
	}
	heardText(w, r.Rows, everyone)
	if len(r.Rows) > 0 {
		fmt.Fprintf(w, "\nRuled out above: proportion of discriminators, at level %g for each row. A dash is not known.\n", r.Family.Alpha)
		fmt.Fprintf(w, "%s\n", r.Family.Words())
	}
	linkMeasuredText(w, r.Rows)
	for _, v := range r.Rows {
		if v.Kind == "all" {
			fmt.Fprintf(w, "\n%s (%s): %s\n  %s\n  heard by %d of %s\n", v.Comparison, v.Design, v.Verdict, v.Reason, v.HeardBy.Count, trials.Counted(v.HeardBy.Of, "listener"))
			for _, c := range v.Confounds {
				if !c.InReason {
					fmt.Fprintf(w, "  also: %s\n", c.Says)
				}
			}
		}
	}
	thresholdsText(w, r.Thresholds)
	thresholdDifferencesText(w, r.ThresholdDifferences)
	againstText(w, r)
	enteredText(w, r.Entered, r.Metrics)
	for _, trend := range r.Trends {
		if trend.Group == "" && (trend.Treatment != "" || trend.Metric == link.RandomJitter || trend.Metric == link.DeterministicJitter) {
			fmt.Fprintf(w, "\n%s\n", trend.Says)
		}
	}
	if r.Cheapest != nil {
		fmt.Fprintf(w, "\n%s\n", r.Cheapest.Says)
	}
	warningLines(w, "\nwarning: ", r.Warnings)
}

// heardText prints what was heard: a row for each listener, group and sum. Where all answers are alike in coming from people or not, no row is
// marked.
func heardText(w io.Writer, rows []link.Row, alike bool) {
	t := newTable("comparison", "design", "listener", "right", "of", "p uncorrected", "over the study", "d′, independent", "ruled out above", "verdict")
	t.right(3, 4, 5, 6, 7, 8)
	t.keyed(3)
	for _, v := range rows {
		who := v.Listener
		switch v.Kind {
		case "all":
			who = fmt.Sprintf("all %d", v.Listeners)
		case "group":
			who = fmt.Sprintf("%s (%d)", v.Group, v.Listeners)
		}
		if !alike {
			who += notOfPeople(v.Simulated, v.Silent)
		}
		t.row(v.Comparison, v.Design, who, fmt.Sprint(v.Correct), fmt.Sprint(v.Trials), link.Probability(v.P), link.Probability(v.PStudy), decimals(v.DPrime),
			decimals(v.UpperPD), string(v.Verdict))
	}
	t.print(w, "")
}

// enteredText prints what was measured elsewhere: it is never averaged with what was measured here.
func enteredText(w io.Writer, entered []link.Entered, metrics link.Metrics) {
	if len(entered) == 0 {
		return
	}
	fmt.Fprint(w, "\nEntered, not measured here:\n")
	t := newTable("chain", "figure", "value", "limit", "unit", "source")
	t.right(2, 3)
	for _, e := range entered {
		name, _ := metrics.Words(e.Metric)
		t.row(e.Chain, name, figure(e.Value, "%g"), figure(e.Limit, "%g"), e.Unit, e.Source)
	}
	t.print(w, "")
}
