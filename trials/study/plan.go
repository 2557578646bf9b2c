package study

import (
	"context"
	"fmt"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// PlanOptions say what a plan is to be. UsualPlan returns the usual values.
type PlanOptions struct {
	ID     string // "": the next number
	Design string
	A, B   string // the chains that are compared; A is the reference
	// Excerpt names the excerpt; "": the only one that holds both chains.
	Excerpt string
	// Also are further comparisons in the same sitting, A:B or A:B:EXCERPT.
	Also []string
	// Ladder compares a clean excerpt of A with each dose of a prepared ladder, by its kind or its words; "": none.
	Ladder string
	// Threshold makes it a threshold run; Trials is then the maximum number of trials for each ladder.
	Threshold ThresholdOptions
	// DesignGiven: Design was requested; if nothing was, a threshold run chooses its own.
	DesignGiven bool
	// ByHand: no files, a helper connects the chains.
	ByHand bool

	Trials                       int // of each comparison
	Practice, Positive, Negative int // trials of practice and of controls; in a threshold run, below 0: as many as usual
	Layout, Order                string
	Stopping, Boundary           string
	Looks                        int

	Alpha float64
	// AlphaGiven: an alpha other than that of the study's first plan is refused; otherwise the first plan's alpha is used.
	AlphaGiven     bool
	SmallestEffect float64 // proportion of discriminators
	RestMinutes    float64 // 0: never
	LeastSeconds   float64
	// Listeners and Comparisons are what the study is planned for; 0: what there is when its first session begins.
	Listeners, Comparisons int
}

// UsualPlan returns the options of an ABX plan, without what it compares and how often.
func UsualPlan() PlanOptions {
	return PlanOptions{Design: "abx", Layout: "interleaved", Order: "independent", Stopping: "fixed", Boundary: "evidence",
		Threshold: ThresholdOptions{Procedure: "bayes"},
		Alpha:     0.05, SmallestEffect: 0.3, RestMinutes: 20, LeastSeconds: trials.LeastSeconds}
}

// Check refuses options from which no study could make a plan.
func (o PlanOptions) Check() error {
	_, err := o.plan()
	return err
}

// NewPlan fixes what will be run, before the first trial, and returns the plan with what the whole study asks.
func (s *Study) NewPlan(ctx context.Context, o PlanOptions) (trials.Plan, link.Family, error) {
	var family link.Family
	p, err := o.plan()
	if err != nil {
		return p, family, err
	}
	if len(o.Threshold.Ladders) > 0 {
		err = o.thresholdRun(ctx, s, &p)
	} else if o.ByHand {
		p.Comparisons, err = o.comparisonByHand(ctx, s)
	} else {
		p.Comparisons, err = o.comparisons(ctx, s)
	}
	if err != nil {
		return p, family, err
	}
	if p.ID == "" {
		plans, err := s.Plans(ctx)
		if err != nil {
			return p, family, err
		}
		p.ID = fmt.Sprint(len(plans) + 1)
	}
	family, level, err := o.fit(ctx, s, &p)
	if err != nil {
		return p, family, err
	}
	if o.Stopping == "sequential" {
		made, err := MakeLooks(p.Design, o.Boundary, p.Count(trials.Scored), o.Looks, p.SmallestEffect, stats.Usable(level), stats.Usable(p.Alpha))
		if err != nil {
			return p, family, Misused(err)
		}
		p.Looks = &made.Looks
	}
	if err := p.Validate(); err != nil {
		return p, family, Misused(err)
	}
	if err := s.record.AddPlan(ctx, p); err != nil {
		return p, family, InStudy(err)
	}
	s.warnOfControls(p)
	return p, family, nil
}

// warnOfControls warns of controls that cannot show anything.
func (h *Host) warnOfControls(p trials.Plan) {
	if n := p.Count(trials.NegativeControl); n > 0 && !link.CanTrip(p.Design, n) {
		h.warn("%d negative controls can never show a leak in one session: even %d of %d right come by chance more often than %g; %d or more can",
			n, n, n, link.LeakAlpha, link.LeastNegative(p.Design))
	}
}

// plan turns the options into a plan without its comparisons.
func (o *PlanOptions) plan() (trials.Plan, error) {
	if err := o.asThreshold(); err != nil {
		return trials.Plan{}, err
	}
	p := trials.Plan{ID: o.ID, Alpha: o.Alpha, SmallestEffect: o.SmallestEffect, RestMinutes: o.RestMinutes, SingleBlind: o.ByHand, LeastSeconds: o.LeastSeconds}
	if err := p.Design.UnmarshalText([]byte(o.Design)); err != nil {
		return p, misusedf("%v %q: %s", OptionDesign, o.Design, trials.DesignNames())
	}
	if err := p.Layout.UnmarshalText([]byte(o.Layout)); err != nil {
		return p, misusedf("%v %q: interleaved or blocked", OptionLayout, o.Layout)
	}
	if err := p.Order.UnmarshalText([]byte(o.Order)); err != nil {
		return p, misusedf("%v %q: independent or balanced", OptionOrder, o.Order)
	}
	if o.Stopping != "fixed" && o.Stopping != "sequential" {
		return p, misusedf("%v %q: fixed or sequential", OptionStopping, o.Stopping)
	}
	if err := o.checkLooks(); err != nil {
		return p, err
	}
	if err := o.checkCompared(); err != nil {
		return p, err
	}
	if err := o.checkNumbers(); err != nil {
		return p, err
	}
	settings := p
	if settings.ID == "" {
		settings.ID = "1" // its number is not known yet
	}
	return p, Misused(settings.ValidateSettings())
}

// checkCompared refuses a choice of what is compared that no plan can have.
func (o PlanOptions) checkCompared() error {
	switch {
	case o.Ladder != "" && (o.B != "" || len(o.Also) > 0 || o.ByHand):
		return misusedf("%v compares an excerpt with doses of itself: it goes without %v, %v and %v", OptionLadder, OptionB, OptionAlso, OptionByHand)
	case o.Ladder == "" && len(o.Threshold.Ladders) == 0 && (o.A == "" || o.B == ""):
		return misusedf("two chains are wanted: %v CHAIN and %v CHAIN", OptionA, OptionB)
	}
	for _, pair := range o.Also {
		if n := strings.Count(pair, ":"); n < 1 || n > 2 {
			return misusedf("%v %q: A:B or A:B:EXCERPT", OptionAlso, pair)
		}
	}
	return nil
}

// checkNumbers refuses numbers that are out of range.
func (o PlanOptions) checkNumbers() error {
	if o.Trials < 1 {
		return advised(Misuse, &PhrasedError{phrasef("%v %d: one or more", OptionTrials, o.Trials)}, phrasef("%v says how many", call(ToFindTrials)))
	}
	for _, of := range []struct {
		option Option
		number int
	}{{OptionListeners, o.Listeners}, {OptionComparisons, o.Comparisons}, {OptionPractice, o.Practice}, {OptionPositive, o.Positive}, {OptionNegative, o.Negative}} {
		if of.number < 0 {
			return misusedf("%v %d: zero or more", of.option, of.number)
		}
	}
	return nil
}

// checkLooks refuses boundaries and looks without sequential stopping.
func (o *PlanOptions) checkLooks() error {
	if o.Stopping != "sequential" && (o.Boundary != "evidence" || o.Looks != 0) {
		return misusedf("%v and %v go with %v sequential", OptionBoundary, OptionLooks, OptionStopping)
	}
	if o.Boundary != "evidence" && o.Looks == 0 {
		o.Looks = 5
	}
	return CheckBoundary(o.Boundary, o.Looks, o.Looks != 0)
}

// comparisons finds the prepared audio for everything that is asked about, controls and practice included.
func (o PlanOptions) comparisons(ctx context.Context, s *Study) ([]trials.Comparison, error) {
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return nil, err
	}
	if o.Ladder != "" {
		all, err := o.rungs(excerpts)
		if err != nil {
			return nil, err
		}
		return o.addControls(excerpts, all)
	}
	pairs := append([]string{o.A + ":" + o.B + ":" + o.Excerpt}, o.Also...)
	var all []trials.Comparison
	for _, pair := range pairs {
		names := append(strings.Split(pair, ":"), "")
		c, err := compareChains(excerpts, names[0], names[1], names[2])
		if err != nil {
			return nil, err
		}
		c.Trials = o.Trials
		all = append(all, c)
	}
	return o.addControls(excerpts, all)
}

// compareChains finds the excerpt, by name or because it is the only one, that holds both chains.
func compareChains(excerpts []Excerpt, chainA, chainB, name string) (trials.Comparison, error) {
	var found []trials.Comparison
	var names []string
	for _, e := range excerpts {
		if name != "" && e.Name != name {
			continue
		}
		a, okA := presentation(e, chainA, "")
		b, okB := presentation(e, chainB, "")
		if !okA || !okB {
			continue
		}
		names = append(names, e.Name)
		title := chainA + " – " + chainB
		if len(excerpts) > 1 {
			title += ", " + e.Name
		}
		found = append(found, trials.Comparison{Name: title, A: chainA, B: chainB, Excerpt: e.Name, AudioA: a.SHA256, AudioB: b.SHA256})
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return trials.Comparison{}, advised(Rejection, fmt.Errorf("no prepared excerpt %s holds both %q and %q", name, chainA, chainB),
			phrasef("%v makes excerpts from the music captures", call(ToPrepare)))
	}
	return trials.Comparison{}, misusedf("%d excerpts hold both %q and %q: choose one with %v (%s)", len(found), chainA, chainB, OptionExcerpt, strings.Join(names, ", "))
}

// excerptNames lists excerpts for a message.
func excerptNames(excerpts []Excerpt) string {
	var names []string
	for _, e := range excerpts {
		names = append(names, e.Name)
	}
	return strings.Join(names, ", ")
}

func presentation(e Excerpt, chain, treatment string) (Presentation, bool) {
	for _, p := range e.Presentations {
		if p.Chain == chain && p.Treatment == treatment {
			return p, true
		}
	}
	return Presentation{}, false
}

// addControls adds practice and controls, made of the first comparison's reference.
func (o PlanOptions) addControls(excerpts []Excerpt, all []trials.Comparison) ([]trials.Comparison, error) {
	first := all[0]
	base := trials.Comparison{A: first.A, B: first.A, Excerpt: first.Excerpt, AudioA: first.AudioA, AudioB: first.AudioA}
	if o.Practice > 0 || o.Positive > 0 {
		plain, err := plainDifference(excerpts, first)
		if err != nil {
			return nil, err
		}
		base.AudioB = plain.SHA256
	}
	for _, c := range []struct {
		kind trials.Kind
		n    int
	}{{trials.Practice, o.Practice}, {trials.PositiveControl, o.Positive}} {
		if c.n > 0 {
			base.Name, base.Kind, base.Trials = c.kind.String(), c.kind, c.n
			all = append(all, base)
		}
	}
	if o.Negative > 0 {
		base.Name, base.Kind, base.Trials, base.AudioB = trials.NegativeControl.String(), trials.NegativeControl, o.Negative, base.AudioA
		all = append(all, base)
	}
	return all, nil
}

// plainDifference finds the treated presentation that prepare made for controls.
func plainDifference(excerpts []Excerpt, c trials.Comparison) (Presentation, error) {
	for _, e := range excerpts {
		if e.Name != c.Excerpt {
			continue
		}
		if p, ok := presentation(e, c.A, controlTreatment); ok {
			return p, nil
		}
	}
	return Presentation{}, Rejected(fmt.Errorf("excerpt %q holds no control of chain %q", c.Excerpt, c.A), `prepare the excerpt anew`)
}
