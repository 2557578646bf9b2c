package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

// ResultsReport is the result of the sessions of a study.
type ResultsReport struct {
	Schema   string          `json:"schema"`
	Sessions []SessionReport `json:"sessions"`
	// Verdicts are the verdicts of the whole study, see trials/link.
	Verdicts []VerdictReport    `json:"verdicts"`
	Family   link.FamilySummary `json:"-"`
	// Thresholds are the thresholds of the study's threshold runs, see trials/link.
	Thresholds           []link.Threshold           `json:"thresholds"`
	ThresholdDifferences []link.ThresholdDifference `json:"threshold_differences"`
	Absences
}

// SessionReport is one session. Rows and Trials stay empty until it has ended.
type SessionReport struct {
	Session   string `json:"session"`
	Plan      string `json:"plan"`
	Listener  string `json:"listener"`
	Group     string `json:"group"`
	Simulated bool   `json:"simulated"`
	// Silent marks a session of which a part, or all, was answered where no device sounded; Devices are all devices used.
	Silent  bool     `json:"silent"`
	Devices []string `json:"devices"`
	// Hurried counts the scored answers that came before everything required had sounded for as long as the plan demands.
	Hurried int `json:"hurried"`
	// Marks say what the ledger of this account knows against the blindness of the session.
	Marks    []link.Mark `json:"marks"`
	State    string      `json:"state"` // running, completed, stopped: heard, stopped: ruled out, or given up; or unreadable, with the Problem
	Problem  string      `json:"problem,omitempty"`
	Answered int         `json:"answered"`
	Voided   int         `json:"voided"`
	Flagged  int         `json:"flags"`
	// Head is the hash of the session's last entry, Seed what its order was dealt from, once it has ended.
	Head string             `json:"head"`
	Seed string             `json:"seed,omitempty"`
	Rows []ComparisonReport `json:"comparisons"`
	// Thresholds are what the session alone says about the ladders of a threshold run, training included.
	Thresholds []link.SessionThreshold `json:"thresholds,omitempty"`
	Trials     []trials.TrialResult    `json:"trials"`
	// Diagnostics describe the scored trials of a session that has ended; they change no result.
	Diagnostics *stats.Diagnostics `json:"diagnostics,omitempty"`
}

// ComparisonReport is one comparison of an ended session.
type ComparisonReport struct {
	trials.Tally
	// Score is nil where there is none; pairs holds it too, with the rates of hits and false alarms, for designs judged by
	// rates. In JSON either has the name that the design gives it.
	Score *stats.Score
	pairs *stats.PairScore
	named string
	// Conditional is the p that replaces the count's in balanced order: Fisher's, given how often each answer was given.
	Conditional *float64 `json:"p_value_conditional,omitempty"`
	// ConditionalTwoSided is its two-sided value: small too where the listener is reliably wrong.
	ConditionalTwoSided *float64 `json:"p_two_sided_conditional,omitempty"`
	// Ratings is nil where the answers came without confidence.
	Ratings *ratingReport `json:"confidence_ratings,omitempty"`
	// Reached reports whether the count that decides under the plan was reached.
	Reached bool `json:"critical_reached"`
	// sequential marks a row whose p decides nothing.
	sequential bool
}

// MarshalJSON writes the score under the name that its design gives it.
func (c ComparisonReport) MarshalJSON() ([]byte, error) {
	data, err := wire.Object(c)
	if err != nil || c.Score == nil {
		return data, err
	}
	var score any = c.Score
	if c.pairs != nil {
		score = c.pairs
	}
	named, err := wire.Marshal(map[string]any{c.named: score})
	if err != nil {
		return nil, err
	}
	return slices.Concat(data[:len(data)-1], []byte(","), named[1:]), nil
}

// Results returns the results of sessions that have ended, and the progress of those that are running; given a session, or the beginning of
// its id, only that one's.
func (s *Study) Results(ctx context.Context, session string) (ResultsReport, error) {
	r, err := s.sessionResults(ctx, session)
	if err != nil {
		return r, err
	}
	l, err := s.Link(ctx)
	if err != nil { // a file that cannot be read must not cost the counts
		s.warn("the results of the whole study are not available: %v", err)
		return r, nil
	}
	r.Verdicts, r.Family = VerdictsOf(l.Result, ""), l.Result.Family
	r.Thresholds, r.ThresholdDifferences = l.Result.Thresholds, l.Result.ThresholdDifferences
	return r, nil
}

func (s *Study) sessionResults(ctx context.Context, only string) (ResultsReport, error) {
	r := ResultsReport{Schema: "heardiff.results/1"}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return r, err
	}
	watch, err := s.watch(ctx)
	if err != nil {
		return r, err
	}
	if r.Absences, err = s.absences(ctx); err != nil {
		return r, err
	}
	for _, v := range sessions {
		if !strings.HasPrefix(v.ID, only) { // the table shows the first twelve characters
			continue
		}
		one, err := s.reportSession(ctx, v, watch)
		if err != nil {
			return r, err
		}
		r.Sessions = append(r.Sessions, one)
	}
	if only != "" && len(r.Sessions) == 0 {
		return r, advised(Rejection, fmt.Errorf("session %q is not in the study", only), phrasef("%v lists the sessions", call(ToReadResults)))
	}
	return r, nil
}

// reportSession reads one session. A fault in its record becomes its Problem, so that one broken session does not hide the others.
func (s *Study) reportSession(ctx context.Context, v Session, w ledgerWatch) (SessionReport, error) {
	r := SessionReport{Session: v.ID, Plan: v.Plan, Listener: v.Listener, State: "running"}
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
	if r.Thresholds, err = link.OfSession(link.Heard{Listener: v.Listener, Group: r.Group, Simulated: r.Simulated, Result: result}); err != nil {
		return r, err
	}
	return r, r.fill(result)
}

func (r *SessionReport) count(entries []trials.Entry) {
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

func (r *SessionReport) fill(result trials.Result) error {
	r.State, r.Trials = "completed", result.Trials
	r.Silent, r.Devices, r.Hurried = result.Silent, result.Devices, result.Hurried
	switch {
	case result.GivenUp:
		r.State = "given up"
	case result.Stopped != "":
		r.State = "stopped: " + string(result.Stopped)
	}
	for _, t := range result.Tallies {
		row, err := ScoreRow(result, t)
		if err != nil {
			return fmt.Errorf("session %q: score %q: %w", r.Session, t.Comparison.Name, err)
		}
		r.Rows = append(r.Rows, row)
	}
	return r.diagnose(result)
}

// ScoreRow scores one comparison. It returns only the counts for practice, and if there are no trials or (as in a negative control) no
// pairs of one kind.
func ScoreRow(r trials.Result, t trials.Tally) (ComparisonReport, error) {
	row, err := fixedRow(r, t)
	if err != nil {
		return row, err
	}
	if k := t.Comparison.Kind; k != trials.Practice && k != trials.Graded {
		row.Ratings, err = rateConfidence(r, t.Comparison.Name)
	}
	if r.Plan.Sequential() && t.Comparison.Kind == trials.Scored {
		// Only the boundary decides: a p that takes the number of trials for fixed would be too small.
		row.sequential, row.Reached = true, r.Stopped == trials.StopHeard
	}
	return row, err
}

// fixedRow scores a comparison as if its number of trials had been fixed.
func fixedRow(r trials.Result, t trials.Tally) (ComparisonReport, error) {
	row := ComparisonReport{Tally: t}
	cfg := stats.ScoreConfig{Alpha: r.Plan.Alpha}
	if r.Plan.Sequential() {
		cfg.Plan = stats.SequentialPlan
	}
	if k := t.Comparison.Kind; t.Trials == 0 || k == trials.Practice || k == trials.Graded {
		return row, nil
	}
	d := r.Plan.Design
	row.named = d.ResultKey()
	if d.ByRates() {
		return row, row.scoreRates(cfg)
	}
	score, err := d.Score(t.Correct, t.Trials, cfg)
	row.Score, row.Reached = &score, score.Reached
	if err == nil && r.Plan.Order == trials.Balanced {
		err = row.condition(cfg)
	}
	return row, err
}

// scoreRates scores hits against false alarms, where there are trials of both kinds.
func (c *ComparisonReport) scoreRates(cfg stats.ScoreConfig) error {
	if c.Hits+c.Misses == 0 || c.FalseAlarms+c.CorrectRejections == 0 {
		return nil
	}
	score, err := stats.ScorePairs(stats.Pairs{Hits: c.Hits, Misses: c.Misses, FalseAlarms: c.FalseAlarms, CorrectRejections: c.CorrectRejections}, cfg)
	c.pairs, c.Score, c.Reached = &score, &score.Score, score.Reached
	return err
}

// condition sets the p of a count in balanced order.
func (c *ComparisonReport) condition(cfg stats.ScoreConfig) error {
	c.Reached = false
	pairs := c.Answers.Pairs()
	if pairs.Hits+pairs.Misses == 0 || pairs.FalseAlarms+pairs.CorrectRejections == 0 {
		return nil // a session given up before both kinds of trial came
	}
	s, err := stats.ScorePairs(pairs, cfg)
	c.Conditional, c.ConditionalTwoSided, c.Reached = &s.P, &s.PTwoSided, s.Reached
	return err
}

// PValue returns the p that decides, NaN where none does.
func (c ComparisonReport) PValue() float64 {
	return c.decisive(c.Conditional, func(s *stats.Score) float64 { return s.P })
}

// PTwoSided returns the two-sided p of the same test: a listener who is reliably wrong is a finding too.
func (c ComparisonReport) PTwoSided() float64 {
	return c.decisive(c.ConditionalTwoSided, func(s *stats.Score) float64 { return s.PTwoSided })
}

// decisive returns the conditional figure where there is one, else the score's; NaN where none of a fixed number of trials is valid.
func (c ComparisonReport) decisive(conditional *float64, scored func(*stats.Score) float64) float64 {
	switch {
	case c.sequential:
		return math.NaN()
	case conditional != nil:
		return *conditional
	case c.Score != nil:
		return scored(c.Score)
	}
	return math.NaN()
}
