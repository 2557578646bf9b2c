package study

import (
	"context"
	"strings"
	"time"

	"heardiff/trials"
	"heardiff/trials/link"
)

// StudyFamily returns what the study asks: the plans made here, and the listeners added, before its first session began, and the given
// plans, which are about to be made. It also reports whether the first session has begun: from then on the family is fixed.
func (s *Study) StudyFamily(ctx context.Context, also ...trials.Plan) (f link.Family, fixed bool, err error) {
	begun, fixed, err := s.firstSession(ctx)
	if err != nil {
		return f, false, err
	}
	made, err := s.record.PlansMade(ctx)
	if err != nil {
		return f, false, err
	}
	var plans, later []trials.Plan
	for _, p := range made {
		switch {
		case strings.Contains(p.ID, "@"): // from another site: the rules of this study judge its results
		case fixed && p.Made.After(begun):
			later = append(later, p.Plan)
		default:
			plans = append(plans, p.Plan)
		}
	}
	if len(plans) == 0 && len(later) > 0 {
		plans = later[:1]
	}
	groups, err := s.groupsPlanned(ctx, begun, fixed)
	return link.NewFamily(append(plans, also...), groups), fixed, err
}

// firstSession returns when the first session began here.
func (s *Study) firstSession(ctx context.Context) (begun time.Time, any bool, err error) {
	sessions, err := s.Sessions(ctx)
	for _, v := range sessions {
		if v.Site == "" && (!any || v.Created.Before(begun)) {
			begun, any = v.Created, true
		}
	}
	return begun, any, err
}

// groupsPlanned returns the groups of the listeners who were added before the first session: of people only, if there are any.
func (s *Study) groupsPlanned(ctx context.Context, begun time.Time, fixed bool) ([]string, error) {
	listeners, err := s.Listeners(ctx)
	var people, computed []string
	for _, l := range listeners {
		switch {
		case fixed && l.Added.After(begun):
		case l.Simulated:
			computed = append(computed, l.Group)
		default:
			people = append(people, l.Group)
		}
	}
	if len(people) > 0 {
		return people, err
	}
	return computed, err
}
