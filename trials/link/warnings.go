package link

import (
	"maps"
	"slices"
	"strings"

	"heardiff/stats/warning"
	"heardiff/trials"
)

// The codes of a Result's warnings. What is known against the blindness of a session has its mark as code; what is known of absent
// sessions comes with the input.
const (
	SimulatedAnswers   warning.Code = "simulated-answers"   // some come from a computation
	SilentAnswers      warning.Code = "silent-answers"      // some were given where no device sounded
	PeopleAlone        warning.Code = "people-alone"        // Value is how many sessions no sum includes
	NoSetUp            warning.Code = "no-set-up"           // the recording set-up was not measured by itself
	NoReplay           warning.Code = "no-replay"           // the replay chain was not measured
	SeveralComparisons warning.Code = "several-comparisons" // Value is how many
)

// warn adds what the study does not show.
func (r *Result) warn(in Input) {
	if r.Simulated {
		r.Warn(warning.Newf(SimulatedAnswers, "some answers are simulated: they come from a computation, not from people"))
	}
	if r.Silent {
		r.Warn(warning.Newf(SilentAnswers, "some answers were given where no device sounded: they say nothing of what anybody hears"))
	}
	r.Warn(leftOut(in.Results)...)
	r.Warn(in.Absent...)
	for _, h := range in.Results {
		for _, m := range h.Marks {
			r.Warn(warning.Newf(warning.Code(m.Code), "session %.12s: %s", h.Session, m.Says))
		}
	}
	has := func(role string) bool {
		return slices.ContainsFunc(in.Chains, func(c Chain) bool { return c.Role == role })
	}
	if !has("floor") {
		r.Warn(warning.Newf(NoSetUp, "the recording set-up was not measured by itself: figures hold its own faults too"))
	}
	if !has("replay") {
		r.Warn(warning.Newf(NoReplay, "the replay chain was not measured: what it hides is unknown"))
	}
	several := map[string]bool{}
	for _, row := range r.Rows {
		if row.Kind != "listener" {
			several[row.Comparison] = true
		}
	}
	if n := len(several); n > 1 {
		names := strings.Join(slices.Sorted(maps.Keys(several)), ", ")
		r.Warn(warning.Newf(SeveralComparisons, "%s were made (%s): verdicts allow for that number", trials.Counted(n, "comparison"), names).Of(float64(n), "comparisons"))
	}
}
