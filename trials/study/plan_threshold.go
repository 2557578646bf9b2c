package study

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// ThresholdOptions say how thresholds are to be found.
type ThresholdOptions struct {
	// Ladders are the ladders, by their kind or their words, one track each; none: the plan is no threshold run.
	Ladders []string
	// Within is the half-width in dB of the 95 % interval at which a track is done, "2dB" or "2"; "": only at its limit.
	Within    string
	Procedure string // bayes, staircase or constant
	// Training: every answer gets feedback, and no result counts the run.
	Training bool
}

// The defaults of a threshold run.
const (
	usualLimit = 250 // trials of each track: ± 2 dB, with an occasional lapse, see the package comment of stats
	usualCatch = 4   // trials of practice, and of the plain dose, of each track
	usualPlain = 10  // one trial in so many of a track is at its plain dose, so that lapses show: the table in the package comment of stats
)

// usualStepsDB are the steps of a staircase that begins at the highest rung, and usualDown how many right answers in a row take it down: it
// settles at about 79 % right.
var usualStepsDB = [...]float64{10, 5, 2.5}

const usualDown = 3

// asThreshold checks and completes the options of a threshold run.
func (o *PlanOptions) asThreshold() error {
	if len(o.Threshold.Ladders) == 0 {
		if t := o.Threshold; t.Within != "" || t.Training || t.Procedure != "bayes" && t.Procedure != "" {
			return misusedf("%v, %v and %v go with %v", OptionWithin, OptionProcedure, OptionTraining, OptionThreshold)
		}
		return nil
	}
	switch {
	case o.Ladder != "" || o.B != "" || len(o.Also) > 0 || o.ByHand || o.Stopping != "fixed":
		return misusedf("%v compares an excerpt with doses of itself, each chosen by the answers: it goes without %v, %v, %v, %v and %v",
			OptionThreshold, OptionLadder, OptionB, OptionAlso, OptionByHand, OptionStopping)
	case o.Layout != "interleaved" || o.Order != "independent":
		return misusedf("%v mixes its ladders, each trial a fair coin: it goes without %v and %v", OptionThreshold, OptionLayout, OptionOrder)
	}
	if !o.DesignGiven {
		o.Design = trials.TwoInterval.String()
	}
	if o.Trials == 0 {
		o.Trials = usualLimit
	}
	if o.Practice < 0 {
		o.Practice = usualCatch
	}
	if o.Positive < 0 {
		o.Positive = usualCatch
	}
	if o.Threshold.Training { // every trial of it is practice
		o.Practice, o.Positive, o.Negative = 0, 0, 0
	}
	_, err := o.Threshold.run()
	return err
}

// maxWithinDB is the widest half-interval at which a track may be done: a threshold known no better than that is hardly known. A judgement,
// no source; TestThresholdPlansThatAreRefused holds it.
const maxWithinDB = 60

// run returns the threshold run without its tracks.
func (o ThresholdOptions) run() (trials.Threshold, error) {
	t := trials.Threshold{Training: o.Training}
	if err := t.Procedure.UnmarshalText([]byte(o.Procedure)); err != nil {
		return t, misusedf("%v %q: bayes, staircase or constant", OptionProcedure, o.Procedure)
	}
	if o.Training { // from the plain dose down
		t.Procedure = stats.PlacedStaircase
	}
	if o.Within == "" {
		return t, nil
	}
	within, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(o.Within), "db")), 64)
	if err != nil || !(within > 0 && within <= maxWithinDB) {
		return t, misusedf("%v %q: decibels, such as 2dB", OptionWithin, o.Within)
	}
	t.WithinDB = within
	return t, nil
}

// thresholdRun finds the ladders, and turns the plan into a threshold run over them.
func (o PlanOptions) thresholdRun(ctx context.Context, s *Study, p *trials.Plan) error {
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return err
	}
	run, err := o.Threshold.run()
	if err != nil {
		return err
	}
	for _, name := range o.Threshold.Ladders {
		steps, err := o.ladderSteps(excerpts, OptionThreshold, name)
		if err != nil {
			return err
		}
		track, err := o.addTrack(p, steps)
		if err != nil {
			return err
		}
		run.Tracks = append(run.Tracks, track)
	}
	switch run.Procedure {
	case stats.PlacedBayes:
		run.PlainEvery = usualPlain
	case stats.PlacedStaircase:
		run.Down, run.Steps = usualDown, stepsOf(run.Tracks)
	}
	if o.Negative > 0 {
		first := p.Comparisons[0]
		p.Comparisons = append(p.Comparisons, trials.Comparison{Name: trials.NegativeControl.String(), Kind: trials.NegativeControl, A: first.A, B: first.A,
			Excerpt: first.Excerpt, AudioA: first.AudioA, AudioB: first.AudioA, Trials: o.Negative})
	}
	p.Threshold = &run
	return nil
}

// addTrack adds the comparisons of a ladder to the plan, with practice and a control at its plain dose, and returns its track.
func (o PlanOptions) addTrack(p *trials.Plan, steps []ladderStep) (trials.Track, error) {
	slices.SortFunc(steps, func(a, b ladderStep) int { return cmp.Compare(a.levelDB(), b.levelDB()) })
	low, plain := steps[0], steps[len(steps)-1]
	t := trials.Track{Name: low.Words, Quantity: low.Quantity.String(), Unit: low.Unit, BandHz: low.BandHz, Limit: o.Trials}
	// The prior begins and ends on a whole half decibel, so that the plan has round figures.
	t.Prior = stats.PriorFor(math.Floor(2*low.levelDB())/2, math.Ceil(2*plain.levelDB())/2)
	for _, s := range steps {
		c := s.Comparison
		c.Kind, c.Trials = trials.Graded, 0
		if slices.ContainsFunc(p.Comparisons, func(have trials.Comparison) bool { return have.Name == c.Name }) {
			return t, misusedf("%v %q: %s is in another ladder of the plan already", OptionThreshold, low.Words, c.Name)
		}
		p.Comparisons = append(p.Comparisons, c)
		t.Rungs = append(t.Rungs, trials.Rung{Comparison: c.Name, Dose: s.Value, LevelDB: s.levelDB(), ChangeDB: s.DifferenceDB})
	}
	for _, c := range []struct {
		kind trials.Kind
		n    int
	}{{trials.Practice, o.Practice}, {trials.PositiveControl, o.Positive}} {
		if c.n > 0 {
			of := plain.Comparison
			of.Name, of.Kind, of.Trials = fmt.Sprintf("%v, %s", c.kind, plain.Comparison.Name), c.kind, c.n
			p.Comparisons = append(p.Comparisons, of)
		}
	}
	return t, nil
}

// levelDB is the dose as a level.
func (d dosed) levelDB() float64 { return d.Quantity.LevelDB(d.Value) }

// stepsOf returns the usual steps in rungs of the finest track, at least one rung each.
func stepsOf(tracks []trials.Track) []int {
	fine := math.Inf(1)
	for _, t := range tracks {
		last := len(t.Rungs) - 1
		fine = math.Min(fine, (t.Rungs[last].LevelDB-t.Rungs[0].LevelDB)/float64(last))
	}
	var steps []int
	for _, db := range usualStepsDB {
		steps = append(steps, max(1, int(math.Round(db/fine))))
	}
	return steps
}
