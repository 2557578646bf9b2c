package main

import (
	"context"
	"fmt"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// howAlphaIsShared is told by "plan new", for that is where it is fixed.
const howAlphaIsShared = `If nobody hears anything, the study says 'heard' anywhere with probability at most alpha, which
its first plan fixes. What it asks is fixed when its first session begins: the comparisons of
the plans made by then, each with an equal share, and the listeners added by then. Of one
comparison a single listener has all; of several, half asks whether the average of all hears
it and half is divided among them, or a third each where there are groups. What a result
'heard' does not need passes on to the others. --listeners and --comparisons plan for more
than there are yet: what nobody planned has half a percent of alpha. Repeats, fresh plans and
sessions given up all count; a twentieth or so of each share is kept for them, and grows with
the evidence. So the order and the moment of looking cost nothing.

'Ruled out' does not share alpha: each is wrong with probability at most alpha by itself, and so is
'ruled out' of every row, but that some one of several is wrong is likelier. Shared among four
listeners, 42 trials would rule 30 % out with a chance of 0.22, not 0.56.`

// fit checks a plan against what the study asks already, and returns that with the plan, and the level at which the first
// test of one listener is judged.
func (o planOptions) fit(ctx context.Context, s *store.Store, p *trials.Plan) (link.Family, float64, error) {
	before, fixed, err := studyFamily(ctx, s)
	if err != nil {
		return before, 0, err
	}
	switch {
	case fixed && (o.listeners > 0 || o.pairs > 0):
		return before, 0, rejected(fmt.Errorf("the study has begun: it is planned for %d listeners and %d comparisons", before.Listeners, before.Comparisons),
			"these share its alpha, and cannot be changed once answers are in; what comes on top has a small part kept for it")
	case before.Alpha == 0:
	case !o.alphaGiven:
		p.Alpha = before.Alpha
	case p.Alpha != before.Alpha:
		return before, 0, rejected(fmt.Errorf("the study's alpha is %g, fixed by its first plan, and not %g", before.Alpha, p.Alpha), "leave --alpha out")
	}
	if o.listeners > 0 || o.pairs > 0 {
		p.Study = &trials.Scope{Listeners: o.listeners, Comparisons: o.pairs}
	}
	f := before
	if !fixed {
		if f, _, err = studyFamily(ctx, s, *p); err != nil {
			return f, 0, err
		}
	}
	return f, f.LevelOf(*p), nil
}

// warnOfControls warns of controls that cannot say anything.
func (a *app) warnOfControls(p trials.Plan) {
	if n := p.Count(trials.NegativeControl); n > 0 && !link.CanTrip(p.Design, n) {
		a.warn("%d negative controls can never show a leak in one session: even %d of %d right come by chance more often than %g; %d or more can",
			n, n, n, link.LeakAlpha, link.LeastNegative(p.Design))
	}
}
