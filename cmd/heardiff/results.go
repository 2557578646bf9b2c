package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

func (a *app) resultsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "results [SESSION]",
		Short: "show what the sessions that have ended say",
		Long: `Show what the sessions that have ended say, every one of them: those given up too, marked
as such. Of a session that still runs nothing but its progress is shown.

p is one-sided: how often a guesser would score at least this well; the two-sided p is also
small for a listener who is reliably wrong (look for exchanged answers). For duplicate pairs it
is Fisher's exact test of hits against false alarms, which a habit of saying "different"
cannot lower; so it is for other designs in balanced order, where the numbers of both kinds are
known and the plain binomial would be too generous. A sequential plan has no p: "state"
says which boundary was reached. This p is of one session alone, uncorrected, and decides
nothing: what the whole study says follows the table, in the words of "link".

Where answers came with a confidence, the area under the curve says how well it tells
different pairs from same ones, or right answers from wrong ones (0.5 is chance).

With SESSION, diagnostics of that session follow: whether accuracy changed on the way (fatigue,
learning) and whether answers followed a pattern. They describe how the session went. No trial is
left out because of them, and no result is changed.`,
		Example: "  heardiff results\n  heardiff results 4f1c2a9b03de\n  heardiff results --json",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 1 && args[0] == "" {
				return misusedf("the SESSION named is empty")
			}
			return oneOrNone("at most a SESSION is")(c, args)
		},
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, args []string) error {
			session := ""
			if len(args) == 1 {
				session = args[0]
			}
			r, err := s.Results(ctx, session)
			if err != nil {
				return err
			}
			return a.print(r, func(w io.Writer) {
				resultsText(w, r)
				if len(args) == 1 {
					diagnosticsText(w, r)
					proofText(w, r)
				}
			})
		}),
	}
}

func resultsText(w io.Writer, r study.ResultsReport) {
	if len(r.Sessions) == 0 {
		fmt.Fprintln(w, "no session has begun")
		return
	}
	t := newTable("session", "listener", "comparison", "right", "of", "p uncorrected", "two-sided", "d′, independent", "group", "plan", "state")
	t.right(3, 4, 5, 6, 7)
	t.keyed(3)
	for _, s := range r.Sessions {
		addSessionRows(t, s)
	}
	t.print(w, "")
	for _, s := range r.Sessions {
		sessionNotes(w, s)
	}
	sessionThresholdsText(w, r)
	thresholdsText(w, r.Thresholds)
	thresholdDifferencesText(w, r.ThresholdDifferences)
	writeVerdicts(w, r.Verdicts, r.Family)
	for _, gap := range r.Absent {
		fmt.Fprintf(w, "\n%s\n", gap)
	}
}

func addSessionRows(t *table, r study.SessionReport) {
	id, whose := []string{study.ShortID(r.Session), listenerName(r)}, []string{r.Group, r.Plan, r.State}
	if len(r.Rows) == 0 {
		t.row(slices.Concat(id, []string{"(hidden until the end)", "", fmt.Sprint(r.Answered), "", "", ""}, whose)...)
	}
	for _, c := range gradedTogether(r.Rows) {
		d := "–"
		if c.Score != nil {
			d = decimals(c.Score.DPrime)
		}
		name, kind := c.Comparison.Name, c.Comparison.Kind
		if kind != trials.Scored && name != kind.String() {
			name += " (" + kind.String() + ")"
		}
		t.row(slices.Concat(id, []string{name, fmt.Sprint(c.Correct), fmt.Sprint(c.Trials), link.Probability(c.PValue()), link.Probability(c.PTwoSided()), d}, whose)...)
		id, whose = make([]string, len(id)), make([]string, len(whose))
	}
}

// listenerName returns the listener, marked where the answers say nothing of people.
func listenerName(r study.SessionReport) string {
	return r.Listener + notOfPeople(r.Simulated, r.Silent)
}

// notOfPeople is the mark in brackets behind the name of a listener whose answers say nothing of people; "" elsewhere.
func notOfPeople(simulated, silent bool) string {
	if mark := link.WordOf(simulated, silent); mark != "" {
		return " (" + mark + ")"
	}
	return ""
}

func sessionNotes(w io.Writer, r study.SessionReport) {
	ratingNotes(w, r)
	if len(r.Devices) > 0 {
		fmt.Fprintf(w, "\nsession %s was heard through: %s\n", study.ShortID(r.Session), strings.Join(r.Devices, "; "))
	}
	for _, m := range r.Marks {
		fmt.Fprintf(w, "\nsession %s: %s\n", study.ShortID(r.Session), m.Says)
	}
	if r.Silent {
		fmt.Fprintf(w, "\nsession %s says nothing of people: a part of it, or all, was answered where no device sounded\n", study.ShortID(r.Session))
	}
	if r.Hurried > 0 {
		fmt.Fprintf(w, "\nsession %s: hurried: %s, given before everything required had sounded for as long as the plan demands\n", study.ShortID(r.Session), trials.Counted(r.Hurried, "scored answer"))
	}
	switch {
	case r.Problem != "":
		fmt.Fprintf(w, "\nsession %s cannot be read: %s\n", study.ShortID(r.Session), r.Problem)
	case r.State == "given up":
		fmt.Fprintf(w, "\nsession %s was given up after %s: it is no full test of its plan, and stays counted as what it is\n", study.ShortID(r.Session), trials.Counted(r.Answered, "answer"))
	case r.Voided+r.Flagged > 0:
		fmt.Fprintf(w, "\nsession %s: %s void and asked anew, %s noted\n", study.ShortID(r.Session), trials.Counted(r.Voided, "trial"), trials.Counted(r.Flagged, "disturbance"))
	}
}

// proofText prints what a session said at its end: the seed of its order, and the hash of its last entry.
func proofText(w io.Writer, r study.ResultsReport) {
	for _, s := range r.Sessions {
		if s.Seed != "" {
			fmt.Fprintf(w, "\nsession %s\nseed    %s\nsession %s\n", study.ShortID(s.Session), s.Seed, s.Head)
		}
	}
}
