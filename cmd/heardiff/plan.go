package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/store"
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

// planOptions are the flags of "plan new".
type planOptions struct {
	id, design, chainA, chainB, excerpt, layout, order string
	stopping, boundary, ladder                         string
	looks                                              int
	also                                               []string
	trials, practice, positive, negative               int
	listeners, pairs                                   int
	alpha, effect, rest, least                         float64
	alphaGiven                                         bool
	byHand                                             bool
}

func (a *app) planNewCommand() *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "new --design DESIGN --a CHAIN --b CHAIN --trials N …",
		Short: "make a plan",
		Long: `Make a plan: which chains, which excerpt, how many trials, at what risk, and the smallest
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
and at --trials at the latest. It needs more trials at most, and fewer where much is heard.
--boundary chooses them ("heardiff power --plan sequential" shows what each costs): evidence
after every trial, or a group-sequential boundary after --looks equal groups.

An answer is marked as hurried where what must be heard (of ABX X and a reference, else all)
sounded for less than --least-seconds in its trial (half a second: common practice, no source); every result
names how many were. Nothing is ruled out without a word where there was no positive control.

Order: with "independent" each trial is a fair coin, as the exact test assumes, and no run of
past trials tells of the next; with "balanced" each assignment comes equally often, which a
listener who counts could use near the end, so that the test allows for it and finds less.

With --ladder each dose that "prepare --ladder" made is compared with the clean excerpt, --trials
times each: a threshold test by the method of constant stimuli. --a names the chain where the
study holds ladders of several.

` + howAlphaIsShared + `

Layout: "interleaved" spreads fatigue over all comparisons, "blocked" lets the listener stay
with one; both draw their order by chance.`,
		Example: `  heardiff plan new --design abx --a direct --b optical --trials 42 --alpha 0.05
  heardiff plan new --design same-different --a direct --b optical --trials 60 --positive 8 --negative 8 --listeners 6
  heardiff plan new --ladder random-jitter --design two-interval --trials 20 --practice 4`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			o.alphaGiven = c.Flags().Changed("alpha")
			return a.newPlan(c.Context(), o)
		},
	}
	o.define(c.Flags())
	return c
}

func (o *planOptions) define(f *pflag.FlagSet) {
	f.StringVar(&o.id, "id", "", "the plan's `name` (else the next number)")
	f.StringVar(&o.design, "design", "abx", "`abx`, or "+strings.TrimPrefix(trials.DesignNames(), "abx, "))
	f.StringVar(&o.chainA, "a", "", "the reference `chain`")
	f.StringVar(&o.chainB, "b", "", "the `chain` compared with it")
	f.StringVar(&o.excerpt, "excerpt", "", "the `excerpt` (else the only one that holds both chains)")
	f.StringVar(&o.ladder, "ladder", "", "compare a clean excerpt with each dose of a prepared ladder: its `kind`, or its words")
	f.StringArrayVar(&o.also, "also", nil, "a further comparison in the same sitting, `A:B[:EXCERPT]`")
	f.IntVar(&o.trials, "trials", 0, "`trials` of each comparison")
	f.Float64Var(&o.alpha, "alpha", 0.05, "the accepted `risk` that the study calls any guesser a hearer (else that of its first plan)")
	f.IntVar(&o.listeners, "listeners", 0, "`number` of listeners the study is planned for (else those added before its first session)")
	f.IntVar(&o.pairs, "comparisons", 0, "`number` of comparisons it is planned for (else those planned before its first session)")
	f.Float64Var(&o.effect, "smallest-effect", 0.3, "the smallest `proportion` of discriminators worth finding")
	f.IntVar(&o.practice, "practice", 0, "practice `trials` with feedback, on a plain difference")
	f.IntVar(&o.positive, "positive", 0, "`trials` with a plain difference, mixed in")
	f.IntVar(&o.negative, "negative", 0, "`trials` with the same audio twice, mixed in")
	f.Float64Var(&o.rest, "rest", 20, "a rest is due after so many `minutes`; 0 for never")
	f.Float64Var(&o.least, "least-seconds", trials.LeastSeconds, "an answer is marked as hurried where what must be heard in a trial sounded for less than so many `seconds`; 0 for never")
	f.BoolVar(&o.byHand, "by-hand", false, "no files: a helper at a switch box connects the chains (single-blind)")
	f.StringVar(&o.layout, "layout", "interleaved", "`interleaved` or blocked comparisons")
	f.StringVar(&o.stopping, "stopping", "fixed", "`fixed`, or sequential: end as soon as the evidence suffices")
	f.StringVar(&o.boundary, "boundary", "evidence", "the `form` of sequential stopping: "+boundaries)
	f.IntVar(&o.looks, "looks", 0, "`number` of looks of sequential stopping (else 5; by evidence, after every trial)")
	f.StringVar(&o.order, "order", "independent", "`independent` (a fair coin each trial) or balanced")
}

func (a *app) newPlan(ctx context.Context, o planOptions) error {
	p, err := (&o).plan()
	if err != nil {
		return err
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if o.byHand {
		p.Comparisons, err = o.comparisonByHand(ctx, s)
	} else {
		p.Comparisons, err = o.comparisons(ctx, s)
	}
	if err != nil {
		return err
	}
	if p.ID == "" {
		plans, err := s.Plans(ctx)
		if err != nil {
			return err
		}
		p.ID = fmt.Sprint(len(plans) + 1)
	}
	family, level, err := o.fit(ctx, s, &p)
	if err != nil {
		return err
	}
	if o.stopping == "sequential" {
		made, err := makeLooks(p.Design, o.boundary, p.Count(trials.Scored), o.looks, p.SmallestEffect, stats.Usable(level), stats.Usable(p.Alpha))
		if err != nil {
			return misused(err)
		}
		p.Looks = &made.looks
	}
	if err := p.Validate(); err != nil {
		return misused(err)
	}
	if err := s.AddPlan(ctx, p); err != nil {
		return inStudy(err)
	}
	a.warnOfControls(p)
	return a.printPlan(p, family)
}

// plan turns the flags into a plan without its comparisons.
func (o *planOptions) plan() (trials.Plan, error) {
	p := trials.Plan{ID: o.id, Alpha: o.alpha, SmallestEffect: o.effect, RestMinutes: o.rest, SingleBlind: o.byHand, LeastSeconds: o.least}
	if err := p.Design.UnmarshalText([]byte(o.design)); err != nil {
		return p, misusedf("--design %q: %s", o.design, trials.DesignNames())
	}
	if err := p.Layout.UnmarshalText([]byte(o.layout)); err != nil {
		return p, misusedf("--layout %q: interleaved or blocked", o.layout)
	}
	if err := p.Order.UnmarshalText([]byte(o.order)); err != nil {
		return p, misusedf("--order %q: independent or balanced", o.order)
	}
	if o.stopping != "fixed" && o.stopping != "sequential" {
		return p, misusedf("--stopping %q: fixed or sequential", o.stopping)
	}
	if err := o.checkLooks(); err != nil {
		return p, err
	}
	switch {
	case o.ladder != "" && (o.chainB != "" || len(o.also) > 0 || o.byHand):
		return p, misusedf("--ladder compares an excerpt with doses of itself: it goes without --b, --also and --by-hand")
	case o.ladder == "" && (o.chainA == "" || o.chainB == ""):
		return p, misusedf("two chains are wanted: --a CHAIN --b CHAIN")
	case o.trials < 1:
		return p, misusedf("--trials %d: one or more (\"heardiff power\" tells how many)", o.trials)
	case o.listeners < 0 || o.pairs < 0:
		return p, misusedf("--listeners %d, --comparisons %d: zero or more", o.listeners, o.pairs)
	case o.practice < 0 || o.positive < 0 || o.negative < 0:
		return p, misusedf("--practice %d, --positive %d, --negative %d: zero or more", o.practice, o.positive, o.negative)
	}
	for _, pair := range o.also {
		if n := strings.Count(pair, ":"); n < 1 || n > 2 {
			return p, misusedf("--also %q: A:B or A:B:EXCERPT", pair)
		}
	}
	settings := p
	if settings.ID == "" {
		settings.ID = "1" // its number is not known yet
	}
	return p, misused(settings.ValidateSettings())
}

// checkLooks refuses boundaries that go with nothing.
func (o *planOptions) checkLooks() error {
	if o.stopping != "sequential" && (o.boundary != "evidence" || o.looks != 0) {
		return misusedf("--boundary and --looks go with --stopping sequential")
	}
	if o.boundary != "evidence" && o.looks == 0 {
		o.looks = 5
	}
	return checkBoundary(o.boundary, o.looks, o.looks != 0)
}

// comparisons finds the prepared audio of all that is asked about, controls and practice included.
func (o planOptions) comparisons(ctx context.Context, s *store.Store) ([]trials.Comparison, error) {
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return nil, err
	}
	if o.ladder != "" {
		all, err := o.rungs(excerpts)
		if err != nil {
			return nil, err
		}
		return o.addControls(excerpts, all)
	}
	pairs := append([]string{o.chainA + ":" + o.chainB + ":" + o.excerpt}, o.also...)
	var all []trials.Comparison
	for _, pair := range pairs {
		names := append(strings.Split(pair, ":"), "")
		c, err := compareChains(excerpts, names[0], names[1], names[2])
		if err != nil {
			return nil, err
		}
		c.Trials = o.trials
		all = append(all, c)
	}
	return o.addControls(excerpts, all)
}

// compareChains finds the excerpt, by name or because it is the only one, that holds both chains.
func compareChains(excerpts []store.Excerpt, chainA, chainB, name string) (trials.Comparison, error) {
	var found []trials.Comparison
	var names []string
	for _, e := range excerpts {
		if name != "" && e.Name != name {
			continue
		}
		a, okA := presentation(e, chainA, "")
		b, okB := presentation(e, chainB, "")
		if !okA || !okB {
			continue
		}
		names = append(names, e.Name)
		title := chainA + " – " + chainB
		if len(excerpts) > 1 {
			title += ", " + e.Name
		}
		found = append(found, trials.Comparison{Name: title, A: chainA, B: chainB, Excerpt: e.Name, AudioA: a.SHA256, AudioB: b.SHA256})
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return trials.Comparison{}, rejected(fmt.Errorf("no prepared excerpt %s holds both %q and %q", name, chainA, chainB),
			`"heardiff prepare" makes excerpts from the music captures`)
	}
	return trials.Comparison{}, misusedf("%d excerpts hold both %q and %q: choose one with --excerpt (%s)", len(found), chainA, chainB, strings.Join(names, ", "))
}

// excerptNames lists excerpts for a message.
func excerptNames(excerpts []store.Excerpt) string {
	var names []string
	for _, e := range excerpts {
		names = append(names, e.Name)
	}
	return strings.Join(names, ", ")
}

func presentation(e store.Excerpt, chain, treatment string) (store.Presentation, bool) {
	for _, p := range e.Presentations {
		if p.Chain == chain && p.Treatment == treatment {
			return p, true
		}
	}
	return store.Presentation{}, false
}

// addControls adds practice and controls, made of the first comparison's reference.
func (o planOptions) addControls(excerpts []store.Excerpt, all []trials.Comparison) ([]trials.Comparison, error) {
	first := all[0]
	base := trials.Comparison{A: first.A, B: first.A, Excerpt: first.Excerpt, AudioA: first.AudioA, AudioB: first.AudioA}
	if o.practice > 0 || o.positive > 0 {
		plain, err := plainDifference(excerpts, first)
		if err != nil {
			return nil, err
		}
		base.AudioB = plain.SHA256
	}
	for _, c := range []struct {
		kind trials.Kind
		n    int
	}{{trials.Practice, o.practice}, {trials.PositiveControl, o.positive}} {
		if c.n > 0 {
			base.Name, base.Kind, base.Trials = c.kind.String(), c.kind, c.n
			all = append(all, base)
		}
	}
	if o.negative > 0 {
		base.Name, base.Kind, base.Trials, base.AudioB = trials.NegativeControl.String(), trials.NegativeControl, o.negative, base.AudioA
		all = append(all, base)
	}
	return all, nil
}

// plainDifference finds the treated presentation that prepare made for controls.
func plainDifference(excerpts []store.Excerpt, c trials.Comparison) (store.Presentation, error) {
	for _, e := range excerpts {
		if e.Name != c.Excerpt {
			continue
		}
		if p, ok := presentation(e, c.A, controlTreatment); ok {
			return p, nil
		}
	}
	return store.Presentation{}, rejected(fmt.Errorf("excerpt %q holds no control of chain %q", c.Excerpt, c.A), `prepare the excerpt anew`)
}

func (a *app) planShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show ID",
		Short: "show a plan and what it can find",
		Args:  exactArgs("ID"),
		RunE: a.onStudy(func(ctx context.Context, s *store.Store, args []string) error {
			p, err := s.Plan(ctx, args[0])
			if err != nil {
				return inStudy(err)
			}
			family, _, err := studyFamily(ctx, s)
			if err != nil {
				return err
			}
			return a.printPlan(p, family)
		}),
	}
}

func (a *app) planListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "list the plans",
		Args:  exactArgs(),
		RunE: a.onStudy(func(ctx context.Context, s *store.Store, _ []string) error {
			plans, err := s.Plans(ctx)
			if err != nil {
				return err
			}
			result := struct {
				Schema string        `json:"schema"`
				Plans  []trials.Plan `json:"plans"`
			}{"heardiff.plans/1", plans}
			return a.print(result, func(w io.Writer) {
				t := newTable("plan", "design", "trials", "alpha", "comparisons")
				t.right(2, 3)
				for _, p := range plans {
					t.row(p.ID, p.Design.String(), fmt.Sprint(p.Trials()), fmt.Sprint(p.Alpha), comparisonNames(p))
				}
				t.print(w, "")
			})
		}),
	}
}

func comparisonNames(p trials.Plan) string {
	var names []string
	for _, c := range p.Comparisons {
		if c.Kind == trials.Scored {
			names = append(names, c.Name)
		}
	}
	return strings.Join(names, "; ")
}
