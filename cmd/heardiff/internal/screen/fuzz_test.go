package screen

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
)

// The replies of a plain session, by their first words; what follows "done" is the summary.
var replies = []string{"ready", "playing", "stopped", "region", "asked", "saved", "refused", "resting", "done", "error", "help", "the end"}

// FuzzPlain: whatever is typed, each line gets one line whose first word is fixed, and nothing panics.
func FuzzPlain(f *testing.F) {
	f.Add("a\nb\nx\nanswer a 4\nconfirm\nregion 0 1\nregion all\nvoid noise\nrest\nrest\nhelp\nno\nstop\nquit\n")
	f.Add("answer\nregion NaN 1e999\nanswer different\nvoid\n\x1b[2J\n1\n2\n")
	f.Add("1\n2\n3\nanswer 2\nconfirm\n1\n2\nanswer 1 1\nconfirm\n")
	f.Fuzz(func(t *testing.T, typed string) {
		seats := []*seat{seatOf(t, staircasePlan(), trials.Seed{1})}
		for _, d := range trials.Designs() {
			seats = append(seats, newSeat(t, d, 2, trials.Seed{1}))
		}
		for _, s := range seats {
			var out bytes.Buffer
			if err := Plain(context.Background(), s, strings.NewReader(typed), &out); err != nil && !strings.Contains(err.Error(), "token too long") {
				t.Fatal(err)
			}
			for line := range strings.Lines(out.String()) {
				known := false
				for _, r := range replies {
					known = known || strings.HasPrefix(line, r) || strings.HasPrefix(line, " ")
				}
				if !known {
					t.Errorf("%q: %q", typed, line)
				}
			}
		}
	})
}

// staircasePlan is a threshold run of one track of three doses.
func staircasePlan() trials.Plan {
	p := trials.Plan{ID: "1", Design: trials.TwoInterval, Alpha: 0.05, SmallestEffect: 0.3, RestMinutes: 20, Order: trials.Independent}
	track := trials.Track{Name: "gain", Quantity: "gain", Unit: "dB", Limit: 20,
		Prior: stats.ThresholdPrior{LowDB: -5, HighDB: 15, StepDB: 1, Slopes: []float64{1}, Lapses: []float64{0}}}
	for i, name := range []string{"low", "middle", "high"} {
		p.Comparisons = append(p.Comparisons, trials.Comparison{Name: name, Kind: trials.Graded, A: "left", B: "left", Excerpt: "e", AudioA: "aa", AudioB: name})
		track.Rungs = append(track.Rungs, trials.Rung{Comparison: name, Dose: float64(1 + i), LevelDB: 5 * float64(i), ChangeDB: 5*float64(i) - 60})
	}
	p.Threshold = &trials.Threshold{Procedure: stats.PlacedStaircase, Down: 2, Steps: []int{1}, Tracks: []trials.Track{track}}
	return p
}
