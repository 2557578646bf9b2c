package trials

import (
	"fmt"
	"time"
)

// Summary is the result of a revealed session without its single trials: small enough to keep for ten thousand sessions.
type Summary struct {
	// Answers holds a matrix for each comparison of the plan, in its order: see Tally.Answers.
	Answers []Answers `json:"answers"`
	GivenUp bool      `json:"given_up"`
	Stopped Stop      `json:"stopped"`
	Voids   int       `json:"voids"`
	Flags   int       `json:"flags"`
	Hurried int       `json:"hurried"`
	Devices []string  `json:"devices,omitempty"`
	Silent  bool      `json:"silent"`
	Begun   time.Time `json:"begun"`
	Ended   time.Time `json:"ended"`
}

// SummaryVersion changes whenever the same entries could give another Summary; stored ones of other versions are not used.
const SummaryVersion = 2

// Summary returns the result without its single trials.
func (r Result) Summary() Summary {
	s := Summary{GivenUp: r.GivenUp, Stopped: r.Stopped, Voids: r.Voids, Flags: r.Flags,
		Hurried: r.Hurried, Devices: r.Devices, Silent: r.Silent, Begun: r.Begun.UTC(), Ended: r.Ended.UTC()}
	for _, t := range r.Tallies {
		s.Answers = append(s.Answers, t.Answers)
	}
	return s
}

// Result returns the session's result, without its single trials. It is an error if the summary is not of that plan.
func (s Summary) Result(session string, p Plan) (Result, error) {
	r := Result{Session: session, Plan: p, GivenUp: s.GivenUp, Stopped: s.Stopped, Voids: s.Voids, Flags: s.Flags,
		Hurried: s.Hurried, Devices: s.Devices, Silent: s.Silent, Begun: s.Begun, Ended: s.Ended}
	if len(s.Answers) != len(p.Comparisons) {
		return Result{}, fmt.Errorf("session %q: a summary of %d comparisons for a plan of %d", session, len(s.Answers), len(p.Comparisons))
	}
	for i, c := range p.Comparisons {
		t := Tally{Comparison: c, Answers: s.Answers[i]}
		if !t.Answers.fit(p.Design) {
			return Result{}, fmt.Errorf("session %q: a summary with counts that no %s session has", session, p.Design)
		}
		t.sum(p.Design)
		r.Tallies = append(r.Tallies, t)
	}
	return r, nil
}
