package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"heardiff/measure/match"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

func (a *app) linkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "link",
		Short: "set what was heard beside what was measured of the same chains",
		Long: `Set each listener's result beside the measured differences of the very same chains.

If nobody hears anything, the chance that a study says 'heard' in any row, ever, is at most
its alpha, whatever its people do: more listeners, repeats, sessions given up, fresh plans,
looks. "help plan new" says how the rows share it. "uncorrected" is each row's own p, which
never decides; "over the study" is p after all that, and decides.

The verdicts: heard (what else could explain it is named first); ruled out (the upper bound
of how often the answer can have been known, valid over repeats and looks, lies below the
smallest effect of the plans; "ruled out above" is that bound, at the level alpha for each
row by itself; of a group or of all it speaks of the average listener); undecided (with what a fresh plan would do); void (a
negative control passed over all sessions of a listener; a positive control missed, under a
null; a level, alignment or response error under a 'heard'). What is void is in no sum.`,
		Example: "  heardiff link\n  heardiff link --json",
		Args:    exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := a.linkStudy(c.Context())
			if err != nil {
				return err
			}
			return a.print(l.result, func(w io.Writer) { linkText(w, l.result) })
		},
	}
}

// linked is a study with its link, and what a report needs besides.
type linked struct {
	result   link.Result
	input    link.Input
	plans    []trials.Plan
	sessions []endedSession
	excerpts []store.Excerpt
	// compared holds how the presentations of each pairing differ, in the order of input.Pairings.
	compared []match.Result
	figures  studyFigures
	head     store.Head // of the study's record
}

// linkStudy reads the study and links it.
func (a *app) linkStudy(ctx context.Context) (linked, error) {
	s, err := a.openStudy(ctx)
	if err != nil {
		return linked{}, err
	}
	defer s.Close()
	return a.linkOpen(ctx, s)
}

// linkOpen links a study that is open.
func (a *app) linkOpen(ctx context.Context, s *store.Store) (linked, error) {
	l := linked{}
	study, err := s.Study(ctx)
	if err != nil {
		return l, err
	}
	l.input.Title = study.Title
	if l.figures, err = readFigures(ctx, s); err != nil {
		return l, err
	}
	l.input.Chains, l.input.Entered = l.figures.chains, l.figures.entered
	if l.plans, err = s.Plans(ctx); err != nil {
		return l, err
	}
	if l.input.Family, _, err = studyFamily(ctx, s); err != nil {
		return l, err
	}
	if err := l.readSessions(ctx, a, s); err != nil {
		return l, err
	}
	if l.excerpts, err = s.Excerpts(ctx); err != nil {
		return l, err
	}
	if err := l.readPairings(ctx, a, s); err != nil {
		return l, err
	}
	if l.head, err = s.Head(ctx); err != nil {
		return l, err
	}
	l.input.Metrics = studyMetrics()
	l.result, err = link.Build(l.input)
	return l, err
}

// readSessions reads the sessions that have ended; one that cannot be read is warned of and left out.
func (l *linked) readSessions(ctx context.Context, a *app, s *store.Store) (err error) {
	l.sessions, err = endedSessions(ctx, s, func(v store.Session, err error) error {
		a.warn("session %s is left out: %v", shortID(v.ID), err)
		return nil
	})
	if err != nil {
		return err
	}
	if l.input.Absent, err = absences(ctx, s); err != nil {
		return err
	}
	marks, err := a.markedSessions(ctx, s, l.sessions)
	for _, v := range l.sessions {
		l.input.Results = append(l.input.Results, link.Heard{Listener: v.Listener, Group: v.who.Group, Simulated: v.who.Simulated, Marks: marks[v.ID], Arrived: v.arrived, Result: v.result})
	}
	return err
}

// readPairings measures, for every comparison that was asked about, how its two presentations differ.
func (l *linked) readPairings(ctx context.Context, a *app, s *store.Store) error {
	seen, by := map[[4]string]bool{}, a.comparer(s)
	progress := a.progress("comparing presentations")
	defer progress(1)
	for i, p := range l.plans {
		progress(float64(i) / float64(len(l.plans)+1))
		for _, c := range p.Comparisons {
			key := [4]string{c.A, c.B, c.Excerpt, doseAudio(c)}
			if c.Kind != trials.Scored || seen[key] {
				continue
			}
			seen[key] = true
			pairing, compared, err := l.pairing(ctx, by, c)
			if err != nil {
				return fmt.Errorf("comparison %q: %w", c.Name, err)
			}
			l.input.Pairings, l.compared = append(l.input.Pairings, pairing), append(l.compared, compared)
		}
	}
	return nil
}

func (l *linked) pairing(ctx context.Context, by comparer, c trials.Comparison) (link.Pairing, match.Result, error) {
	nan := math.NaN()
	p := link.Pairing{A: c.A, B: c.B, Excerpt: c.Excerpt, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan, LevelErrorDB: nan, OffsetErrorUS: nan, Dose: nan,
		BitPerfect: l.figures.delivered(c.A, c.B), AudioB: doseAudio(c)}
	first, okA := l.presentation(c.AudioA)
	second, okB := l.presentation(c.AudioB)
	if !okA || !okB {
		return p, match.Result{}, nil
	}
	if d := doseOf(second); d != nil {
		p.Treatment, p.Dose, p.DoseMetric, p.BitPerfect = d.Words, d.Value, doseMetrics[d.Quantity], nil
	}
	p.LevelErrorDB, p.OffsetErrorUS = preparedErrors(first, second)
	r, err := by.compare(ctx, first, second)
	if errors.Is(err, match.ErrUnrelated) {
		return p, match.Result{}, nil
	}
	if err != nil {
		return p, r, err
	}
	p.NullDB, p.ResponseMaxDB, p.LoudnessDifferenceLU = r.NullDB, r.ResponseMaxDB, r.LoudnessDifferenceLU
	p.Identical = r.Identical
	return p, r, nil
}

// doseAudio tells apart the doses of a chain that is compared with itself.
func doseAudio(c trials.Comparison) string {
	if c.A == c.B {
		return c.AudioB
	}
	return ""
}

func (l *linked) presentation(sha string) (store.Presentation, bool) {
	for _, e := range l.excerpts {
		for _, p := range e.Presentations {
			if p.SHA256 == sha {
				return p, true
			}
		}
	}
	return store.Presentation{}, false
}

func linkText(w io.Writer, r link.Result) {
	if r.Simulated {
		fmt.Fprint(w, "SIMULATED: some answers come from a computation, not from people.\n\n")
	}
	if r.Silent {
		fmt.Fprint(w, "NO SOUND: some answers were given where no device sounded.\n\n")
	}
	if len(r.Rows) == 0 {
		fmt.Fprintln(w, "no session has ended yet")
	}
	t := newTable("comparison", "design", "listener", "right", "of", "p uncorrected", "over the study", "d′, independent", "ruled out above", "random (ps)", "lines (ps)", "noise (dB)", "null (dB)", "verdict")
	t.right(3, 4, 5, 6, 7, 8, 9, 10, 11, 12)
	for _, v := range r.Rows {
		who := v.Listener
		switch v.Kind {
		case "all":
			who = fmt.Sprintf("all %d", v.Listeners)
		case "group":
			who = fmt.Sprintf("%s (%d)", v.Group, v.Listeners)
		}
		m := v.Measured
		who += notOfPeople(v.Simulated, v.Silent)
		t.row(v.Comparison, v.Design, who, fmt.Sprint(v.Correct), fmt.Sprint(v.Trials), probability(v.P), probability(v.PStudy), decimals(v.DPrime),
			decimals(v.UpperPD), differenceText(m.Of(link.RandomJitter)), differenceText(m.Of(link.DeterministicJitter)), differenceText(m.Of(link.Noise)),
			figure(m.NullDB, "%.1f"), string(v.Verdict))
	}
	t.print(w, "")
	if len(r.Rows) > 0 {
		fmt.Fprintf(w, "\nRuled out above: proportion of discriminators, at level %g for each row. Jitter and noise: B less A; \"> +9\" is more than that, where one of the two is at its floor. A dash is not known.\n", r.Family.Alpha)
	}
	if len(r.Rows) > 0 {
		fmt.Fprintf(w, "%s\n", r.Family.Words())
	}
	for _, v := range r.Rows {
		if v.Kind == "all" {
			fmt.Fprintf(w, "\n%s (%s): %s\n  %s\n  heard by %d of %d listeners\n", v.Comparison, v.Design, v.Verdict, v.Reason, v.HeardBy.Count, v.HeardBy.Of)
			for _, c := range v.Confounds {
				if !c.InReason {
					fmt.Fprintf(w, "  also: %s\n", c.Says)
				}
			}
		}
	}
	enteredText(w, r.Entered, r.Metrics)
	for _, trend := range r.Trends {
		if trend.Group == "" && (trend.Treatment != "" || trend.Metric == link.RandomJitter || trend.Metric == link.DeterministicJitter) {
			fmt.Fprintf(w, "\n%s\n", trend.Says)
		}
	}
	if r.Cheapest != nil {
		fmt.Fprintf(w, "\n%s\n", r.Cheapest.Says)
	}
	for _, warning := range r.Warnings {
		fmt.Fprintf(w, "\nwarning: %s\n", warning)
	}
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

// differenceText returns B less A, or the bound that is all there is to say of it.
func differenceText(p link.Pair) string {
	switch {
	case p.DifferenceBeyond > 0:
		return "> " + figure(p.DifferenceBeyond, "%+.1f")
	case p.DifferenceBeyond < 0:
		return "< " + figure(p.DifferenceBeyond, "%+.1f")
	}
	return figure(p.Difference, "%+.1f")
}
