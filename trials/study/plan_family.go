package study

import (
	"context"
	"fmt"

	"heardiff/trials"
	"heardiff/trials/link"
)

// fit checks a plan against what the study already asks, and returns the family that includes it, and the level at which the first test of
// one listener is judged.
func (o PlanOptions) fit(ctx context.Context, s *Study, p *trials.Plan) (link.Family, float64, error) {
	before, fixed, err := s.StudyFamily(ctx)
	if err != nil {
		return before, 0, err
	}
	switch {
	case fixed && (o.Listeners > 0 || o.Comparisons > 0):
		return before, 0, Rejected(fmt.Errorf("the study has begun: it is planned for %s and %s", trials.Counted(before.Listeners, "listener"), trials.Counted(before.Comparisons, "comparison")),
			"these share its alpha, and cannot be changed once answers are in; what is added later shares a small part that is kept for it")
	case before.Alpha == 0:
	case !o.AlphaGiven:
		p.Alpha = before.Alpha
	case p.Alpha != before.Alpha:
		return before, 0, advised(Rejection, fmt.Errorf("the study's alpha is %g, fixed by its first plan, and not %g", before.Alpha, p.Alpha), phrasef("leave %v out", OptionAlpha))
	}
	if o.Listeners > 0 || o.Comparisons > 0 {
		p.Study = &trials.Scope{Listeners: o.Listeners, Comparisons: o.Comparisons}
	}
	f := before
	if !fixed {
		if f, _, err = s.StudyFamily(ctx, *p); err != nil {
			return f, 0, err
		}
	}
	return f, f.LevelOf(*p), nil
}
