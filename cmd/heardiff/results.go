package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

func (a *app) resultsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "results [SESSION]",
		Short: "show what the sessions that have ended say",
		Long: `Show what the sessions that have ended say, every one of them: those given up too, marked
as such. Of a session that still runs nothing but its progress is shown.

p is one-sided: how often a guesser would score at least this well; two-sided it is small
for who is reliably wrong too (look for exchanged answers). For duplicate pairs it
is Fisher's exact test of hits against false alarms, which a habit of saying "different"
cannot lower; so it is for other designs in balanced order, where the numbers of both kinds are
known and the plain binomial would be too generous. A sequential plan has no p: "state"
says which boundary was reached. This p is of one session alone, uncorrected, and decides
nothing: what the whole study says follows the table, in the words of "link".

Where answers came with a confidence, the area under the curve says how well it tells
different pairs from same ones, or right answers from wrong ones (0.5 is chance).

Of one SESSION diagnostics follow: whether accuracy changed on the way (fatigue, learning)
and whether answers followed a pattern. They describe how the session went. No trial is left
out for them and no result changed.`,
		Example: "  heardiff results\n  heardiff results 4f1c2a9b03de\n  heardiff results --json",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 && args[0] == "" {
				return misusedf("the SESSION named is empty")
			}
			if len(args) > 1 {
				return misusedf("%d arguments given: at most a SESSION is wanted", len(args))
			}
			return nil
		},
		RunE: a.onStudy(func(ctx context.Context, s *store.Store, args []string) error {
			r, err := a.studyResults(ctx, s, args)
			if err != nil {
				return err
			}
			if l, err := a.linkOpen(ctx, s); err != nil {
				a.warn("what the whole study says cannot be had: %v", err) // the counts are not lost to a file that is
			} else {
				r.Verdicts, r.family = verdictsOf(l.result, ""), l.result.Family
			}
			return a.print(r, func(w io.Writer) {
				r.text(w)
				if len(args) == 1 {
					r.diagnosticsText(w)
					r.proofText(w)
				}
			})
		}),
	}
}

// resultsReport is what "results" tells.
type resultsReport struct {
	Schema   string          `json:"schema"`
	Sessions []sessionReport `json:"sessions"`
	// Verdicts are those of the whole study, see "link".
	Verdicts []verdictReport `json:"verdicts"`
	family   link.Said
	// Absent names what was begun at other sites and has not come back.
	Absent []string `json:"absent"`
}

// sessionReport is one session. Rows and Trials stay empty until it has ended.
type sessionReport struct {
	Session   string `json:"session"`
	Plan      string `json:"plan"`
	Listener  string `json:"listener"`
	Group     string `json:"group"`
	Simulated bool   `json:"simulated"`
	// Silent marks a session of which a part, or all, was answered where no device sounded; Devices is every one used.
	Silent  bool     `json:"silent"`
	Devices []string `json:"devices"`
	// Hurried counts the scored answers that came before what the plan wants heard had sounded for as long as it wants.
	Hurried int `json:"hurried"`
	// Marks say what the ledger of this account knows against the blindness of the session.
	Marks    []link.Mark `json:"marks"`
	State    string      `json:"state"` // running, completed, stopped: heard, stopped: ruled out, or given up; or unreadable, with the Problem
	Problem  string      `json:"problem,omitempty"`
	Answered int         `json:"answered"`
	Voided   int         `json:"voided"`
	Flagged  int         `json:"flags"`
	// Head is the hash of the session's last entry, Seed what its order was dealt from, once it has ended.
	Head   string               `json:"head"`
	Seed   string               `json:"seed,omitempty"`
	Rows   []comparisonReport   `json:"comparisons"`
	Trials []trials.TrialResult `json:"trials"`
	// Diagnostics describe the scored trials of a session that has ended; they change no result.
	Diagnostics *stats.Diagnostics `json:"diagnostics,omitempty"`
}

// comparisonReport is one comparison of an ended session.
type comparisonReport struct {
	trials.Tally
	// score is nil where no score can be had; pairs holds it too, with what hits and false alarms say, of designs judged by
	// rates. In JSON either stands under the name that the design gives it.
	score *stats.Score
	pairs *stats.PairScore
	named string
	// Conditional is the p that stands for a count in balanced order: Fisher's, given how often each answer was given.
	Conditional *float64 `json:"p_value_conditional,omitempty"`
	// ConditionalTwoSided stands beside it: small too where the listener is reliably wrong.
	ConditionalTwoSided *float64 `json:"p_two_sided_conditional,omitempty"`
	// Ratings is nil where the answers came without confidence.
	Ratings *ratingReport `json:"confidence_ratings,omitempty"`
	// Reached reports whether the count that decides under the plan was reached.
	Reached bool `json:"critical_reached"`
	// sequential marks a row whose p decides nothing.
	sequential bool
}

// MarshalJSON writes the score under the name that its design gives it.
func (c comparisonReport) MarshalJSON() ([]byte, error) {
	type plain comparisonReport
	data, err := wire.Marshal(plain(c))
	if err != nil || c.score == nil {
		return data, err
	}
	var score any = c.score
	if c.pairs != nil {
		score = c.pairs
	}
	named, err := wire.Marshal(map[string]any{c.named: score})
	if err != nil {
		return nil, err
	}
	return slices.Concat(data[:len(data)-1], []byte(","), named[1:]), nil
}

func (a *app) studyResults(ctx context.Context, s *store.Store, only []string) (resultsReport, error) {
	r := resultsReport{Schema: "heardiff.results/1"}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return r, err
	}
	watch, err := a.watch(ctx, s)
	if err != nil {
		return r, err
	}
	if r.Absent, err = absences(ctx, s); err != nil {
		return r, err
	}
	for _, v := range sessions {
		if len(only) > 0 && !strings.HasPrefix(v.ID, only[0]) { // the table shows the first twelve characters
			continue
		}
		one, err := reportSession(ctx, s, v, watch)
		if err != nil {
			return r, err
		}
		r.Sessions = append(r.Sessions, one)
	}
	if len(only) > 0 && len(r.Sessions) == 0 {
		return r, rejected(fmt.Errorf("session %q is not in the study", only[0]), `"heardiff results" lists the sessions`)
	}
	return r, nil
}

// reportSession reads one session. What is wrong with its record becomes its Problem, so that one broken session
// hides no other.
func reportSession(ctx context.Context, s *store.Store, v store.Session, w watch) (sessionReport, error) {
	r := sessionReport{Session: v.ID, Plan: v.Plan, Listener: v.Listener, State: "running"}
	listener, err := s.Listener(ctx, v.Listener)
	if err != nil {
		return r, err
	}
	r.Group, r.Simulated = listener.Group, listener.Simulated
	plan, err := s.Plan(ctx, v.Plan)
	if err != nil {
		return r, err
	}
	entries, err := s.Entries(ctx, v.ID)
	if err != nil {
		return r, err
	}
	r.count(entries)
	if r.Marks, err = w.marks(v.ID, v.Site, entries); err != nil {
		return r, err
	}
	result, err := trials.Reveal(plan, entries)
	if errors.Is(err, trials.ErrBlind) {
		return r, nil
	}
	if err != nil {
		r.State, r.Problem = "unreadable", err.Error()
		return r, nil
	}
	r.Seed = entries[len(entries)-1].Note
	return r, r.fill(result)
}

func (r *sessionReport) count(entries []trials.Entry) {
	for _, e := range entries {
		switch e.Kind {
		case trials.EntryAnswer:
			r.Answered++
		case trials.EntryVoid:
			r.Voided++
		case trials.EntryFlag:
			r.Flagged++
		}
		r.Head = e.Hash
	}
}

func (r *sessionReport) fill(result trials.Result) error {
	r.State, r.Trials = "completed", result.Trials
	r.Silent, r.Devices, r.Hurried = result.Silent, result.Devices, result.Hurried
	switch {
	case result.GivenUp:
		r.State = "given up"
	case result.Stopped != "":
		r.State = "stopped: " + string(result.Stopped)
	}
	for _, t := range result.Tallies {
		row, err := scoreRow(result, t)
		if err != nil {
			return fmt.Errorf("session %q: score %q: %w", r.Session, t.Comparison.Name, err)
		}
		r.Rows = append(r.Rows, row)
	}
	return r.diagnose(result)
}

// scoreRow scores one comparison: nothing but the counts for practice, and where no score can be had because
// there are no trials, or (as in a negative control) no pairs of one kind.
func scoreRow(r trials.Result, t trials.Tally) (comparisonReport, error) {
	row, err := fixedRow(r, t)
	if err != nil {
		return row, err
	}
	if t.Comparison.Kind != trials.Practice {
		row.Ratings, err = rateConfidence(r, t.Comparison.Name)
	}
	if r.Plan.Sequential() && t.Comparison.Kind == trials.Scored {
		// Only the boundary decides: a p that takes the number of trials for fixed would be too small.
		row.sequential, row.Reached = true, r.Stopped == trials.StopHeard
	}
	return row, err
}

// fixedRow scores a comparison as if its number of trials had been fixed.
func fixedRow(r trials.Result, t trials.Tally) (comparisonReport, error) {
	row := comparisonReport{Tally: t}
	cfg := stats.ScoreConfig{Alpha: r.Plan.Alpha}
	if r.Plan.Sequential() {
		cfg.Plan = stats.SequentialPlan
	}
	if t.Trials == 0 || t.Comparison.Kind == trials.Practice {
		return row, nil
	}
	d := r.Plan.Design
	row.named = d.ResultKey()
	if d.ByRates() {
		return row, row.scoreRates(cfg)
	}
	score, err := d.Score(t.Correct, t.Trials, cfg)
	row.score, row.Reached = &score, score.Reached
	if err == nil && r.Plan.Order == trials.Balanced {
		err = row.condition(cfg)
	}
	return row, err
}

// scoreRates scores hits against false alarms, where there are trials of both kinds.
func (c *comparisonReport) scoreRates(cfg stats.ScoreConfig) error {
	if c.Hits+c.Misses == 0 || c.FalseAlarms+c.CorrectRejections == 0 {
		return nil
	}
	score, err := stats.ScorePairs(stats.Pairs{Hits: c.Hits, Misses: c.Misses, FalseAlarms: c.FalseAlarms, CorrectRejections: c.CorrectRejections}, cfg)
	c.pairs, c.score, c.Reached = &score, &score.Score, score.Reached
	return err
}

// condition sets the p of a count in balanced order.
func (c *comparisonReport) condition(cfg stats.ScoreConfig) error {
	c.Reached = false
	pairs := c.Answers.Pairs()
	if pairs.Hits+pairs.Misses == 0 || pairs.FalseAlarms+pairs.CorrectRejections == 0 {
		return nil // a session given up before both kinds came
	}
	s, err := stats.ScorePairs(pairs, cfg)
	c.Conditional, c.ConditionalTwoSided, c.Reached = &s.P, &s.PTwoSided, s.Reached
	return err
}

// pValue returns the p that decides, NaN where none does.
func (c comparisonReport) pValue() float64 {
	switch {
	case c.sequential:
		return math.NaN()
	case c.Conditional != nil:
		return *c.Conditional
	case c.score != nil:
		return c.score.P
	}
	return math.NaN()
}

// pTwoSided returns the two-sided p beside it: a listener who is reliably wrong is a finding too.
func (c comparisonReport) pTwoSided() float64 {
	switch {
	case c.sequential:
		return math.NaN()
	case c.ConditionalTwoSided != nil:
		return *c.ConditionalTwoSided
	case c.score != nil:
		return c.score.PTwoSided
	}
	return math.NaN()
}

func (r resultsReport) text(w io.Writer) {
	if len(r.Sessions) == 0 {
		fmt.Fprintln(w, "no session has begun")
		return
	}
	t := newTable("session", "listener", "group", "plan", "state", "comparison", "kind", "right", "of", "p uncorrected", "two-sided", "d′, independent")
	t.right(7, 8, 9, 10, 11)
	for _, s := range r.Sessions {
		s.addRows(t)
	}
	t.print(w, "")
	for _, s := range r.Sessions {
		s.notes(w)
	}
	writeVerdicts(w, r.Verdicts, r.family)
	for _, gap := range r.Absent {
		fmt.Fprintf(w, "\n%s\n", gap)
	}
}

func (r sessionReport) addRows(t *table) {
	id := []string{shortID(r.Session), r.name(), r.Group, r.Plan, r.State}
	if len(r.Rows) == 0 {
		t.row(append(id, "(hidden until the end)", "", "", fmt.Sprint(r.Answered), "", "", "")...)
	}
	for _, c := range r.Rows {
		d := "–"
		if c.score != nil {
			d = decimals(c.score.DPrime)
		}
		t.row(append(id, c.Comparison.Name, c.Comparison.Kind.String(), fmt.Sprint(c.Correct), fmt.Sprint(c.Trials),
			probability(c.pValue()), probability(c.pTwoSided()), d)...)
		id = make([]string, len(id))
	}
}

// name returns the listener, marked where the answers say nothing of people.
func (r sessionReport) name() string { return r.Listener + notOfPeople(r.Simulated, r.Silent) }

// notOfPeople is the mark in brackets behind the name of a listener whose answers say nothing of people; "" elsewhere.
func notOfPeople(simulated, silent bool) string {
	if mark := link.WordOf(simulated, silent); mark != "" {
		return " (" + mark + ")"
	}
	return ""
}

func (r sessionReport) notes(w io.Writer) {
	r.ratingNotes(w)
	if len(r.Devices) > 0 {
		fmt.Fprintf(w, "\nsession %s was heard through: %s\n", shortID(r.Session), strings.Join(r.Devices, "; "))
	}
	for _, m := range r.Marks {
		fmt.Fprintf(w, "\nsession %s: %s\n", shortID(r.Session), m.Says)
	}
	if r.Silent {
		fmt.Fprintf(w, "\nsession %s says nothing of people: a part of it, or all, was answered where no device sounded\n", shortID(r.Session))
	}
	if r.Hurried > 0 {
		fmt.Fprintf(w, "\nsession %s: %d scored answers were hurried: given before what the plan wants heard had sounded for as long as it wants\n", shortID(r.Session), r.Hurried)
	}
	switch {
	case r.Problem != "":
		fmt.Fprintf(w, "\nsession %s cannot be read: %s\n", shortID(r.Session), r.Problem)
	case r.State == "given up":
		fmt.Fprintf(w, "\nsession %s was given up after %d answers: it is no full test of its plan, and stays counted as what it is\n", shortID(r.Session), r.Answered)
	case r.Voided+r.Flagged > 0:
		fmt.Fprintf(w, "\nsession %s: %d void trials asked anew, %d disturbances noted\n", shortID(r.Session), r.Voided, r.Flagged)
	}
}

// proofText prints what a session said at its end: the seed of its order, and the hash of its last entry.
func (r resultsReport) proofText(w io.Writer) {
	for _, s := range r.Sessions {
		if s.Seed != "" {
			fmt.Fprintf(w, "\nsession %s\nseed    %s\nsession %s\n", shortID(s.Session), s.Seed, s.Head)
		}
	}
}

func shortID(id string) string { return fmt.Sprintf("%.12s", id) }
