package trials

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/stats"
)

// Threshold makes a plan a threshold run: which dose comes next follows from the answers so far and the session's seed.
// Its comparisons of the kind Graded are the rungs of the tracks.
type Threshold struct {
	// Procedure says how the next dose is chosen.
	Procedure stats.Placing `json:"procedure"`
	// WithinDB is the half-width of the threshold's 95 % interval, in dB, at which a track is done; 0: only at its limit.
	WithinDB float64 `json:"within_db"`
	// Down and Steps (in rungs) are of a staircase: see stats.StaircaseConfig.
	Down  int   `json:"down,omitempty"`
	Steps []int `json:"steps,omitempty"`
	// PlainEvery has one trial in so many of each track at its highest rung: see stats.TrackConfig.
	PlainEvery int `json:"plain_every,omitempty"`
	// Training marks a run whose every trial is answered with feedback, for learning: it is not a test, and no result counts it.
	Training bool    `json:"training,omitempty"`
	Tracks   []Track `json:"tracks"`
}

// Track is one kind of dose, graded in rungs. Several tracks of a plan are mixed, so that nobody knows which comes next.
type Track struct {
	// Name says what is put in, such as "random jitter, 10 to 20000 Hz"; Quantity is the ladder's kind, Unit the unit of its doses.
	Name     string `json:"name"`
	Quantity string `json:"quantity"`
	Unit     string `json:"unit"`
	// BandHz are the two frequencies between which jitter lies, equal for periodic jitter; none: not jitter, or not known.
	BandHz []float64 `json:"band_hz,omitempty"`
	// Limit is the maximum number of trials of the track.
	Limit int                  `json:"limit"`
	Prior stats.ThresholdPrior `json:"prior"`
	Rungs []Rung               `json:"rungs"` // by rising level
}

// Rung is one dose of a track.
type Rung struct {
	// Comparison names the plan's comparison of the clean excerpt with this dose.
	Comparison string `json:"comparison"`
	// Dose is in the track's unit; LevelDB is 20·log10 of it, or the dose itself where it is a level in dB.
	Dose    float64 `json:"dose"`
	LevelDB float64 `json:"level_db"`
	// ChangeDB is the level of what the dose changes, relative to the clean excerpt: dB below the music are negative.
	ChangeDB float64 `json:"change_db"`
}

// Limits of a threshold run.
const (
	maxTracks = 8
	maxRungs  = 100
)

// validateThreshold returns an error that names the first setting of a threshold run which is out of range.
func (p Plan) validateThreshold() error {
	graded := p.graded()
	switch {
	case p.Threshold == nil && len(graded) > 0:
		return fmt.Errorf("comparison %q is graded, but the plan is no threshold run", p.Comparisons[graded[0]].Name)
	case p.Threshold == nil:
		return nil
	case p.Order != Independent:
		return errors.New("a threshold run needs independent order: nobody knows beforehand how many trials it takes")
	case p.Looks != nil:
		return errors.New("a threshold run has no looks: it ends at the precision asked for")
	case p.Layout != Interleaved:
		return errors.New("a threshold run is interleaved: its tracks are mixed")
	case p.SingleBlind:
		return errors.New("a threshold run cannot be connected by hand")
	case len(p.Threshold.Tracks) < 1 || len(p.Threshold.Tracks) > maxTracks:
		return fmt.Errorf("a threshold run of %d tracks: 1 to %d", len(p.Threshold.Tracks), maxTracks)
	}
	seen := map[string]bool{}
	for _, t := range p.Threshold.Tracks {
		if err := p.validateTrack(t, seen); err != nil {
			return fmt.Errorf("track %q: %w", t.Name, err)
		}
	}
	if len(seen) != len(graded) {
		return fmt.Errorf("%d rungs for %d graded comparisons", len(seen), len(graded))
	}
	return nil
}

// validateTrack checks one track, and adds its rungs to those seen in others.
func (p Plan) validateTrack(t Track, seen map[string]bool) error {
	switch {
	case cmp.Or(CheckName("track", t.Name), CheckText("unit", t.Unit)) != nil:
		return cmp.Or(CheckName("track", t.Name), CheckText("unit", t.Unit))
	case CheckText("quantity", t.Quantity) != nil:
		return CheckText("quantity", t.Quantity)
	case len(t.Rungs) < 2 || len(t.Rungs) > maxRungs:
		return fmt.Errorf("%d rungs: 2 to %d", len(t.Rungs), maxRungs)
	case t.Limit < 1 || t.Limit > MaxTrials:
		return fmt.Errorf("at most %d trials: 1 to %d", t.Limit, MaxTrials)
	}
	if n := len(t.BandHz); n > 0 && (n != 2 || !(t.BandHz[0] > 0 && finite(t.BandHz[1]) && t.BandHz[0] <= t.BandHz[1])) {
		return fmt.Errorf("a band of %v Hz: two rising frequencies are wanted", t.BandHz)
	}
	for _, r := range t.Rungs {
		if !finite(r.Dose) || !finite(r.ChangeDB) {
			return fmt.Errorf("rung %q: dose %v, change %v dB", r.Comparison, r.Dose, r.ChangeDB)
		}
		if i := p.comparison(r.Comparison); i < 0 || p.Comparisons[i].Kind != Graded || seen[r.Comparison] {
			return fmt.Errorf("rung %q is no graded comparison, or comes twice", r.Comparison)
		}
		seen[r.Comparison] = true
	}
	return p.track(t).Validate()
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// track returns the settings of a track.
func (p Plan) track(t Track) stats.TrackConfig {
	c := stats.TrackConfig{Placing: p.Threshold.Procedure, Guess: p.Design.Chance(), Prior: t.Prior,
		WithinDB: p.Threshold.WithinDB, Limit: t.Limit, Down: p.Threshold.Down, Steps: p.Threshold.Steps, PlainEvery: p.Threshold.PlainEvery}
	for _, r := range t.Rungs {
		c.LevelsDB = append(c.LevelsDB, r.LevelDB)
	}
	return c
}

// comparison returns the place of a comparison by its name, −1 for none.
func (p Plan) comparison(name string) int {
	return slices.IndexFunc(p.Comparisons, func(c Comparison) bool { return c.Name == name })
}

// graded returns the places of the graded comparisons.
func (p Plan) graded() []int {
	var all []int
	for i, c := range p.Comparisons {
		if c.Kind == Graded {
			all = append(all, i)
		}
	}
	return all
}

// climb is how far a threshold run has come. All that it deals follows from the plan, the seed and the answers.
type climb struct {
	plan   Plan
	seed   Seed
	tracks []stats.Track
	rungs  [][]int // by track: the comparison of each rung
	left   []int   // by comparison: trials of a control that are still to come
	dealt  int
}

// newClimb returns the state before the first graded trial, nil for a plan that is no threshold run. The plan is valid.
func newClimb(p Plan, seed Seed) *climb {
	if p.Threshold == nil {
		return nil
	}
	c := &climb{plan: p, seed: seed, left: make([]int, len(p.Comparisons))}
	for _, t := range p.Threshold.Tracks {
		state, err := stats.NewTrack(p.track(t))
		if err != nil {
			panic("trials: a valid plan with a track that cannot begin: " + err.Error())
		}
		var rungs []int
		for _, r := range t.Rungs {
			rungs = append(rungs, p.comparison(r.Comparison))
		}
		c.tracks, c.rungs = append(c.tracks, state), append(c.rungs, rungs)
	}
	for i, of := range p.Comparisons {
		if of.Kind == PositiveControl || of.Kind == NegativeControl {
			c.left[i] = of.Trials
		}
	}
	return c
}

// next deals the n-th trial (from 0) after the practice, void ones counted; false where every track is done. All draws come from the
// stream named "threshold n", in this order:
//
//  1. what is asked, from an urn that holds a ball for each trial that a track may still have, track by track in the plan's
//     order, and then for each trial that is left of a control, in the plan's order;
//  2. the rung, where lots are drawn for it: a number below PlainEvery, which at 0 means the highest rung; of constant stimuli, which of those
//     of the track that were given least often;
//  3. the assignment.
func (c *climb) next() (trial, bool) {
	open := 0
	for _, t := range c.tracks {
		open += t.Left()
	}
	if open == 0 {
		return trial{}, false
	}
	draw := &stream{seed: c.seed, name: fmt.Sprintf("threshold %d", c.dealt)}
	c.dealt++
	comparison := c.draw(draw, open)
	all := c.plan.Design.possible()
	return trial{comparison, all[draw.below(len(all))]}, true
}

// draw returns the comparison that is asked next; open is the number of balls in the urn that belong to tracks.
func (c *climb) draw(draw *stream, open int) int {
	balls := open
	for _, n := range c.left {
		balls += n
	}
	at := draw.below(balls)
	for i, t := range c.tracks {
		if at < t.Left() {
			return c.rungs[i][t.Next(draw.below)]
		}
		at -= t.Left()
	}
	for i, n := range c.left {
		if at < n {
			return i
		}
		at -= n
	}
	panic("trials: an urn with fewer balls than were counted")
}

// answered takes an answer into account. A void trial counts as if it had not been asked.
func (c *climb) answered(comparison int, correct bool) {
	if c.left[comparison] > 0 {
		c.left[comparison]--
		return
	}
	for i, rungs := range c.rungs {
		if k := slices.Index(rungs, comparison); k >= 0 {
			c.tracks[i] = c.tracks[i].After(k, correct)
		}
	}
}
