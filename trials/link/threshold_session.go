package link

import (
	"fmt"
	"math"
	"slices"
	"time"

	"heardiff/stats"
	"heardiff/trials"
)

// SessionThreshold is what one session says of one ladder, a training too.
type SessionThreshold struct {
	Threshold
	Training bool      `json:"training"`
	Begun    time.Time `json:"begun"`
	Drift    *Drift    `json:"drift"` // nil where the single trials are not known, or a half gives no threshold
}

// Drift is how a threshold changed within a session: the threshold in the second half of the ladder's trials less the one in the first.
type Drift struct {
	DB         float64    `json:"db"` // above 0: more was needed later
	IntervalDB [2]float64 `json:"interval_db"`
	FirstDB    float64    `json:"first_db"`
	SecondDB   float64    `json:"second_db"`
	Says       string     `json:"says"`
}

// OfSession returns what a session alone says of each ladder of its plan; none where it is no threshold run.
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
			if len(c.rungs) == 0 { // by its own negative controls something leaks
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
	var half [2]stats.ThresholdEstimate
	for i, part := range [2][]trials.TrialResult{own[:len(own)/2], own[len(own)/2:]} {
		counts := make([]stats.Count, len(c.rungs))
		for _, one := range part {
			at := level[one.Comparison]
			counts[at].Trials++
			if one.Correct {
				counts[at].Correct++
			}
		}
		e, err := grid.Estimate(counts)
		if err != nil {
			return nil, err
		}
		if half[i] = e; e.Trials == 0 || math.IsNaN(e.ThresholdDB) {
			return nil, nil
		}
	}
	d := Drift{DB: half[1].ThresholdDB - half[0].ThresholdDB, FirstDB: half[0].ThresholdDB, SecondDB: half[1].ThresholdDB}
	reach := math.Hypot(halfWidth(half[0]), halfWidth(half[1]))
	d.IntervalDB = [2]float64{d.DB - reach, d.DB + reach}
	d.Says = fmt.Sprintf("%s: from the first half of its trials to the second the threshold changed by %+.1f dB, 95 %% interval %+.1f to %+.1f", c.what, d.DB, d.IntervalDB[0], d.IntervalDB[1])
	return &d, nil
}

func halfWidth(e stats.ThresholdEstimate) float64 { return (e.IntervalDB[1] - e.IntervalDB[0]) / 2 }
