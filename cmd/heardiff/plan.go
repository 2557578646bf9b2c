package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) planCommand() *cobra.Command {
	return group("plan", "fix what will be run, before the first trial", a.planNewCommand(), a.planShowCommand(), a.planListCommand())
}

// designLines lists the designs for help, one a line.
func designLines() string {
	var lines []string
	for _, d := range trials.Designs() {
		lines = append(lines, fmt.Sprintf("  %-15s %s", d, d.Words()))
	}
	return strings.Join(lines, "\n")
}

func (a *app) planNewCommand() *cobra.Command {
	o := study.UsualPlan()
	c := &cobra.Command{
		Use:   "new --design DESIGN --a CHAIN --b CHAIN --trials N …",
		Short: "make a plan",
		Long:  planHelp(),
		Example: `  heardiff plan new --design abx --a hall --b attic --trials 42 --alpha 0.05
  heardiff plan new --design same-different --a hall --b attic --trials 60 --positive 8 --negative 8 --listeners 6
  heardiff plan new --ladder random-jitter --design two-interval --trials 20 --practice 4
  heardiff plan new --threshold random-jitter --threshold periodic-jitter --within 2dB`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			o.AlphaGiven, o.DesignGiven = c.Flags().Changed("alpha"), c.Flags().Changed("design")
			if len(o.Threshold.Ladders) > 0 && !c.Flags().Changed("practice") {
				o.Practice = -1
			}
			if len(o.Threshold.Ladders) > 0 && !c.Flags().Changed("positive") {
				o.Positive = -1
			}
			return a.newPlan(c.Context(), o)
		},
	}
	planFlags(&o, c.Flags())
	return c
}

// planHelp is what "plan new --help" says of a plan.
func planHelp() string {
	return `Make a plan: which chains, which excerpt, how many trials, at what risk, and the smallest
effect worth finding (as the proportion of trials on which the listener truly knows).
A plan cannot change once its first session has begun.

--design is the question that each trial asks:
` + designLines() + `

Controls keep the test honest: positive ones (a plain level difference) show that this
listener, here, can hear something plain; negative ones (the same audio twice) show that
nothing leaks. They are mixed in unseen. Practice comes first, with feedback, uncounted.

Looking at the score after every trial and stopping at p ≤ 0.05 would call 20 of 100
guessers hearers by trial 100; so the score is withheld until the plan is done. With
--stopping sequential the session itself ends at the first trial where the evidence for
"heard" or "ruled out" suffices, by boundaries that hold the risk however often one looks,
and at --trials at the latest. It takes more trials at most, but fewer where much is heard.
--boundary chooses them ("heardiff power --plan sequential" shows what each costs): evidence
after every trial, or a group-sequential boundary after --looks equal groups.

An answer is marked as hurried where what must be heard (of ABX X and a reference, else all)
sounded for less than --least-seconds in its trial (half a second: common practice, no source); every result
names how many were. A 'ruled out' says so where there was no positive control.

Order: with "independent" each trial is a fair coin, as the exact test assumes, and no run of
past trials says anything of the next; with "balanced" each assignment comes equally often, which a
listener who counts could use near the end, so that the test allows for it and finds less.

With --ladder each dose that "prepare --ladder" made is compared with the clean excerpt, --trials
times each: a threshold test by the method of constant stimuli. --a names the chain where the
study holds ladders of several.

With --threshold each next dose follows from the answers so far, --trials at the most; several
ladders, each given by a --threshold of its own, are mixed unseen:
  bayes      at the dose from which the threshold is expected to become known best; one trial in
             ten, drawn by lot, is at the largest dose, so that slips show
  staircase  down a step after three right answers, up after a wrong one
  constant   each dose equally often, in random order
--within ends it when the 95 % interval of the threshold is that narrow. Practice and catch trials
are at the largest dose, --negative ones at none. --training is a run to learn by, from the largest
dose down: every answer is followed by how it went, and no result counts it.

` + howAlphaIsShared + `

Layout: "interleaved" spreads fatigue over all comparisons, "blocked" lets the listener stay
with one; both draw their order by chance.`
}

func planFlags(o *study.PlanOptions, f *pflag.FlagSet) {
	f.StringVar(&o.ID, "id", "", "the plan's `name` (else the next number)")
	f.StringVar(&o.Design, "design", o.Design, "`abx`, or "+strings.TrimPrefix(trials.DesignNames(), "abx, "))
	f.StringVarP(&o.A, "a", "a", "", "the reference `chain`")
	f.StringVarP(&o.B, "b", "b", "", "the `chain` compared with it")
	f.StringVar(&o.Excerpt, "excerpt", "", "the `excerpt` (else the only one that holds both chains)")
	f.StringVar(&o.Ladder, "ladder", "", "compare a clean excerpt with each dose of a prepared ladder: its `kind`, or its words")
	f.StringArrayVar(&o.Threshold.Ladders, "threshold", nil, "find the threshold on a prepared `ladder`, the next dose by the answers: its kind, or its words")
	f.StringVar(&o.Threshold.Within, "within", "", "a threshold run ends when the 95 % interval is ± so many `dB` or narrower (else at --trials)")
	f.StringVar(&o.Threshold.Procedure, "procedure", o.Threshold.Procedure, "how a threshold run chooses its doses: `bayes`, staircase or constant")
	f.BoolVar(&o.Threshold.Training, "training", false, "a threshold run to learn by, with feedback; it counts in no result")
	f.StringArrayVar(&o.Also, "also", nil, "a further comparison in the same sitting, `A:B[:EXCERPT]`")
	f.IntVar(&o.Trials, "trials", 0, "`trials` of each comparison; of a threshold run the most of each ladder (else 250)")
	f.Float64Var(&o.Alpha, "alpha", o.Alpha, "the accepted `risk` that the study calls any guesser a hearer (else that of its first plan)")
	f.IntVar(&o.Listeners, "listeners", 0, "`number` of listeners the study is planned for (else those added before its first session)")
	f.IntVar(&o.Comparisons, "comparisons", 0, "`number` of comparisons it is planned for (else those planned before its first session)")
	f.Float64Var(&o.SmallestEffect, "smallest-effect", o.SmallestEffect, "the smallest `proportion` of discriminators worth finding")
	f.IntVar(&o.Practice, "practice", 0, "practice `trials` with feedback, on a plain difference")
	f.IntVar(&o.Positive, "positive", 0, "`trials` with a plain difference, mixed in")
	f.IntVar(&o.Negative, "negative", 0, "`trials` with the same audio twice, mixed in")
	f.Float64Var(&o.RestMinutes, "rest", o.RestMinutes, "a rest is due after so many `minutes`; 0 for never")
	f.Float64Var(&o.LeastSeconds, "least-seconds", o.LeastSeconds, "an answer is marked as hurried where what must be heard in a trial sounded for less than so many `seconds`; 0 for never")
	f.BoolVar(&o.ByHand, "by-hand", false, "no files: a helper at a switch box connects the chains (single-blind)")
	f.StringVar(&o.Layout, "layout", o.Layout, "`interleaved` or blocked comparisons")
	f.StringVar(&o.Stopping, "stopping", o.Stopping, "`fixed`, or sequential: end as soon as the evidence suffices")
	f.StringVar(&o.Boundary, "boundary", o.Boundary, "the `form` of sequential stopping: "+study.Boundaries)
	f.IntVar(&o.Looks, "looks", 0, "`number` of looks of sequential stopping (else 5; by evidence, after every trial)")
	f.StringVar(&o.Order, "order", o.Order, "`independent` (a fair coin each trial) or balanced")
}

func (a *app) newPlan(ctx context.Context, o study.PlanOptions) error {
	if err := o.Check(); err != nil {
		return err
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	p, family, err := s.NewPlan(ctx, o)
	if err != nil {
		return err
	}
	r, err := reportPlan(p, family)
	if err != nil {
		return err
	}
	return a.printStep(ctx, s, r, func(w io.Writer) { r.text(w) })
}

func (a *app) planShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show ID",
		Short: "show a plan and what it can find",
		Args:  exactArgs("ID"),
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, args []string) error {
			p, err := s.Plan(ctx, args[0])
			if err != nil {
				return study.InStudy(err)
			}
			family, _, err := s.StudyFamily(ctx)
			if err != nil {
				return err
			}
			return a.printPlan(p, family)
		}),
	}
}
