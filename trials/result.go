package trials

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"heardiff/stats"
)

// Tally counts the answers to one comparison.
type Tally struct {
	Comparison Comparison `json:"comparison"`
	Trials     int        `json:"trials"`
	Correct    int        `json:"correct"`
	// Answers counts the trials by right and by given answer: the first index is that of the right answer among the design's
	// answers (0 where X was A, or the pair was the same), the second that of the answer given.
	Answers Answers `json:"answers"`
	// For designs judged by rates; 0 in others. A hit is a different pair answered 'different'.
	Hits              int `json:"hits"`
	Misses            int `json:"misses"`
	FalseAlarms       int `json:"false_alarms"`
	CorrectRejections int `json:"correct_rejections"`
}

// TrialResult is one trial, revealed.
type TrialResult struct {
	Trial      int       `json:"trial"`
	Comparison string    `json:"comparison"`
	Kind       Kind      `json:"kind"`
	Truth      Answer    `json:"truth"`
	Answer     Answer    `json:"answer"` // "" for a void trial
	Correct    bool      `json:"correct"`
	Void       string    `json:"void"` // the reason, "" for a trial that counts
	Confidence int       `json:"confidence"`
	Seconds    float64   `json:"seconds"`
	Switches   int       `json:"switches"`
	Flags      []string  `json:"flags"`
	At         time.Time `json:"at"`
	// HeardS is how many seconds each label sounded, AnswerS how many passed on the sample clock from offering the trial to its answer; nil
	// where no sample clock ran. Hurried marks an answer that came before everything required was heard.
	HeardS  map[Label]float64 `json:"heard_s"`
	AnswerS *float64          `json:"answer_s"`
	Hurried bool              `json:"hurried"`
}

// Result is a session that has ended, revealed.
type Result struct {
	Session string  `json:"session"`
	Plan    Plan    `json:"plan"`
	Tallies []Tally `json:"tallies"` // one for each comparison, in the plan's order
	// GivenUp marks a session that was ended early: its counts are shown, but it is not a complete test of the plan.
	GivenUp bool `json:"given_up"`
	// Stopped says which boundary of a sequential plan ended the session, "" for none.
	Stopped Stop `json:"stopped,omitempty"`
	Voids   int  `json:"voids"`
	Flags   int  `json:"flags"`
	// Hurried counts the answers to scored trials that came before everything required was heard.
	Hurried int `json:"hurried"`
	// Devices are the outputs of the session, each named once. Silent marks a session of which at least a part was answered
	// at an output that makes no sound: it says nothing about listeners.
	Devices []string      `json:"devices"`
	Silent  bool          `json:"silent"`
	Trials  []TrialResult `json:"trials"`
	Begun   time.Time     `json:"begun"`
	Ended   time.Time     `json:"ended"`
}

// Result returns the revealed session, or ErrBlind where it has not ended.
func (s *Session) Result(entries []Entry) (Result, error) {
	if !s.ended() {
		return Result{}, ErrBlind
	}
	return Reveal(s.plan, entries)
}

// Reveal recomputes a session's result from its plan and its entries alone, with the seed that the last entry reveals. It
// returns ErrBlind for a session that has not ended, and an error that names the entry at which the chain, the seal or the
// order is broken.
func Reveal(p Plan, entries []Entry) (Result, error) {
	if len(entries) == 0 || entries[len(entries)-1].Kind != EntryEnd {
		return Result{}, ErrBlind
	}
	end := entries[len(entries)-1]
	raw, err := hex.DecodeString(end.Note)
	if err != nil || len(raw) != len(Seed{}) {
		return Result{}, fmt.Errorf("entry %d does not hold a seed", end.Number)
	}
	s, err := Resume(p, Seed(raw), entries, nil, func() time.Time { return end.At })
	if err != nil {
		return Result{}, err
	}
	if !s.ended() {
		return Result{}, errors.New("the journal ends before the last trial was answered")
	}
	return s.reveal(entries), nil
}

func (s *Session) reveal(entries []Entry) Result {
	r := Result{
		Session: s.id, Plan: s.plan, GivenUp: s.phase == GivenUp, Stopped: s.stopped, Voids: s.voids,
		Begun: entries[0].At, Ended: entries[len(entries)-1].At,
	}
	for _, c := range s.plan.Comparisons {
		r.Tallies = append(r.Tallies, Tally{Comparison: c, Answers: s.plan.Design.NoAnswers()})
	}
	flags := map[int][]string{}
	for _, e := range entries {
		switch e.Kind {
		case EntryOpen:
			r.addSitting(e)
		case EntryFlag:
			r.Flags++
			flags[e.Trial] = append(flags[e.Trial], e.Note)
		case EntryAnswer, EntryVoid:
			t := s.trials[e.Trial-1]
			one := s.revealTrial(t, e)
			one.Flags = flags[e.Trial]
			r.Trials = append(r.Trials, one)
			if e.Kind == EntryAnswer {
				r.Tallies[t.comparison].Answers.count(s.plan.Design, one)
			}
			if one.Hurried && one.Kind == Scored {
				r.Hurried++
			}
		}
	}
	for i := range r.Tallies {
		r.Tallies[i].sum(s.plan.Design)
	}
	return r
}

func (s *Session) revealTrial(t trial, e Entry) TrialResult {
	c := s.plan.Comparisons[t.comparison]
	r := TrialResult{
		Trial: e.Trial, Comparison: c.Name, Kind: c.Kind, Truth: t.right(),
		Confidence: e.Confidence, Seconds: e.Seconds, Switches: e.Switches, At: e.At,
		HeardS: s.plan.Design.listened(e), AnswerS: took(e),
	}
	if e.Kind == EntryVoid {
		r.Void = e.Note
		return r
	}
	r.Answer = e.Answer
	r.Correct = e.Answer == r.Truth
	r.Hurried = s.plan.hurried(e)
	return r
}

// addSitting takes over the output of a sitting.
func (r *Result) addSitting(e Entry) {
	device, silent := e.Device, e.Silent
	if device == "" { // old entries have no field for the device
		device = oldDevice(e.Note)
		silent = strings.HasPrefix(device, "null, ") || strings.HasPrefix(device, "file:")
	}
	r.Silent = r.Silent || silent
	if device != "" && !slices.Contains(r.Devices, device) {
		r.Devices = append(r.Devices, device)
	}
}

// oldDevice returns the device that the note of an old entry names, or "": a name, a rate and usually a format.
func oldDevice(note string) string {
	if strings.Contains(note, " Hz") || strings.HasPrefix(note, "by hand") {
		return note
	}
	return ""
}

// Answers counts trials by right answer (the first index) and given answer (the second).
type Answers [][]int

// NoAnswers returns counts of zero for each right and each given answer.
func (d Design) NoAnswers() Answers {
	all := make(Answers, len(d.of.answers))
	for i := range all {
		all[i] = make([]int, len(all))
	}
	return all
}

// fit reports whether the counts have the shape of the design's, none of them negative.
func (a Answers) fit(d Design) bool {
	n := len(d.of.answers)
	for _, row := range a {
		if len(row) != n || slices.Min(row) < 0 {
			return false
		}
	}
	return len(a) == n
}

func (a Answers) count(d Design, r TrialResult) { a[d.index(r.Truth)][d.index(r.Answer)]++ }

// Pairs returns the counts of a design of two answers as hits and false alarms: a hit is the second answer where it was
// right. They are 0 for other designs.
func (a Answers) Pairs() stats.Pairs {
	if len(a) != 2 {
		return stats.Pairs{}
	}
	return stats.Pairs{Hits: a[1][1], Misses: a[1][0], FalseAlarms: a[0][1], CorrectRejections: a[0][0]}
}

// Totals returns the number of answers and how many of them are right.
func (a Answers) Totals() (trials, correct int) {
	for i, row := range a {
		for k, n := range row {
			if trials += n; i == k {
				correct += n
			}
		}
	}
	return trials, correct
}

// Add adds the counts of other answers to the same design. It ignores answers of other designs that this one lacks.
func (a Answers) Add(b Answers) {
	for i := range min(len(a), len(b)) {
		for k := range min(len(a[i]), len(b[i])) {
			a[i][k] += b[i][k]
		}
	}
}

// sum fills in the totals of the answers.
func (t *Tally) sum(d Design) {
	t.Trials, t.Correct = t.Answers.Totals()
	if d.ByRates() {
		p := t.Answers.Pairs()
		t.Hits, t.Misses, t.FalseAlarms, t.CorrectRejections = p.Hits, p.Misses, p.FalseAlarms, p.CorrectRejections
	}
}
