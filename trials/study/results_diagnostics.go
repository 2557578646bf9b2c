package study

import (
	"fmt"

	"heardiff/stats"
	"heardiff/stats/warning"
	"heardiff/trials"
)

// The codes of what is noted of a session beyond the notes of its diagnostics.
const (
	CouldStop     warning.Code = "could-stop"     // its plan lets evidence end it
	TakenTogether warning.Code = "taken-together" // Value is how many comparisons
)

// diagnose describes the scored trials in the order in which they were answered. Practice, controls and void trials are left out: they are
// easier, or ask nothing.
func (r *SessionReport) diagnose(result trials.Result) error {
	var second, right []bool
	answers := result.Plan.Design.Answers()
	for _, t := range result.Trials {
		if t.Kind == trials.Scored && t.Void == "" {
			second = append(second, t.Answer == answers[1])
			right = append(right, t.Correct)
		}
	}
	if len(right) == 0 {
		return nil
	}
	d, err := diagnosis(len(answers), second, right)
	if err != nil {
		return fmt.Errorf("session %q: %w", r.Session, err)
	}
	if result.Plan.Sequential() {
		d.Note(warning.Newf(CouldStop, "the session could stop when its evidence sufficed: right answers crowd at the end of one that did"))
	}
	if n := countScored(result.Plan); n > 1 {
		d.Note(warning.Newf(TakenTogether, "%s are taken together: what differs between them can look like a change on the way", trials.Counted(n, "comparison")).Of(float64(n), "comparisons"))
	}
	r.Diagnostics = &d
	return nil
}

// diagnosis describes trials in order; with more than two answers it looks for no pattern.
func diagnosis(answers int, second, right []bool) (stats.Diagnostics, error) {
	if answers > 2 {
		return stats.DiagnoseAccuracy(right)
	}
	return stats.Diagnose(second, right, 0.95)
}

func countScored(p trials.Plan) int {
	n := 0
	for _, c := range p.Comparisons {
		if c.Kind == trials.Scored {
			n++
		}
	}
	return n
}
