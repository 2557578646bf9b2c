package link

import (
	"fmt"
	"math"
	"slices"
	"time"

	"heardiff/stats"
	"heardiff/trials"
)

// SessionThreshold is the threshold on one ladder from one session alone, which may be a training.
type SessionThreshold struct {
	Threshold
	Training bool      `json:"training"`
	Begun    time.Time `json:"begun"`
	Drift    *Drift    `json:"drift"` // nil if the single trials are not known, or if a half gives no threshold
}

// Drift is how a threshold changed within a session, from the first half of the ladder's trials to the second. Above 0, more was needed later.
type Drift struct {
	stats.ThresholdChange
	Says string `json:"says"`
}

// OfSession returns the thresholds that a session alone gives for the ladders of its plan; none if it is not a threshold run.
func OfSession(h Heard) ([]SessionThreshold, error) {
	run := h.Plan.Threshold
	if run == nil {
		return nil, nil
	}
	var out []SessionThreshold
	for _, t := range run.Tracks {
		one, only := h, *run
		only.Training, only.Tracks = false, []trials.Track{t}
		one.Plan.Threshold, one.Marks = &only, nil
		for _, c := range gatherClimbs([]Heard{one}) {
			if len(c.rungs) == 0 { // its own negative controls show that something leaks
				continue
			}
			grid, err := c.grid()
			if err != nil {
				return nil, err
			}
			own, err := c.listener(grid, c.climbers[0])
			if err != nil {
				return nil, err
			}
			s := SessionThreshold{Threshold: own, Training: run.Training, Begun: h.Begun}
			if s.Drift, err = c.drift(grid, t, h); err != nil {
				return nil, err
			}
			out = append(out, s)
		}
	}
	return out, nil
}

// drift compares the halves of a ladder's trials.
func (c *climbed) drift(grid *stats.ThresholdGrid, t trials.Track, h Heard) (*Drift, error) {
	level := map[string]int{}
	for _, r := range t.Rungs {
		level[r.Comparison] = slices.IndexFunc(c.rungs, func(have rung) bool { return have.levelDB == r.LevelDB })
	}
	var own []trials.TrialResult
	for _, one := range h.Trials {
		if _, graded := level[one.Comparison]; graded && one.Void == "" {
			own = append(own, one)
		}
	}
	var half [2][]stats.Count
	for i, part := range [2][]trials.TrialResult{own[:len(own)/2], own[len(own)/2:]} {
		half[i] = make([]stats.Count, len(c.rungs))
		for _, one := range part {
			at := level[one.Comparison]
			half[i][at].Trials++
			if one.Correct {
				half[i][at].Correct++
			}
		}
	}
	change, err := grid.Change(half[0], half[1])
	if err != nil || math.IsNaN(change.DB) {
		return nil, err
	}
	d := Drift{ThresholdChange: change}
	d.Says = fmt.Sprintf("%s: from the first half of its trials to the second the threshold changed by %s dB, %s",
		c.what, signed(d.DB), IntervalWords(d.IntervalDB, signed, "dB"))
	if !(d.IntervalDB[0] > 0) && !(d.IntervalDB[1] < 0) {
		d.Says += ", so that it may not have changed"
	}
	return &d, nil
}

// signed writes decibels with their sign, except for values that round to zero.
func signed(db float64) string {
	if s := fmt.Sprintf("%+.1f", db); s != "-0.0" && s != "+0.0" {
		return s
	}
	return "0.0"
}
