package study

import (
	"math"
	"testing"

	"heardiff/measure/tone"
	"heardiff/trials/link"
)

func TestAFigureAtTheSetUpsOwnIsABound(t *testing.T) {
	nan := math.NaN()
	limit := func(v float64, standing string) []tone.Limit {
		return []tone.Limit{{Figure: "thd_n_db", Limit: v, Standing: standing}, {Figure: "other", Limit: 1, Standing: "measured"}}
	}
	for name, c := range map[string]struct {
		channel tone.Channel
		want    link.Figure
	}{
		"clear of it":     {tone.Channel{THDNDB: -90, Limits: limit(-110, "measured")}, link.Figure{Value: -90, Limit: -110}},
		"within 3 dB":     {tone.Channel{THDNDB: -108, Limits: limit(-110, "upper bound")}, link.Figure{Value: nan, Limit: -108}},
		"below it":        {tone.Channel{THDNDB: -112, Limits: limit(-110, "at floor")}, link.Figure{Value: nan, Limit: -110}},
		"without a floor": {tone.Channel{THDNDB: -90}, link.Figure{Value: -90, Limit: nan}},
		"floor unknown":   {tone.Channel{THDNDB: -90, Limits: limit(nan, "unknown")}, link.Figure{Value: -90, Limit: nan}},
	} {
		if got := thdnFigure(c.channel); !sameFigure(got, c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
	low := tone.LowToneChannel{DynamicRangeADB: 100, Limits: []tone.Limit{{Figure: "dynamic_range_a_db", Limit: 115, Standing: "measured"}}}
	if got := noiseUnderTone(low); !sameFigure(got, link.Figure{Value: -100, Limit: -115}) {
		t.Errorf("dynamic range of 100 dB: %+v", got)
	}
	// The channel with the highest figure counts, also where only its bound is known.
	got := worstFigure([]tone.Channel{{THDNDB: -111, Limits: limit(-110, "at floor")}, {THDNDB: -108, Limits: limit(-110, "upper bound")}, {THDNDB: nan}}, thdnFigure)
	if !sameFigure(got, link.Figure{Value: nan, Limit: -108}) {
		t.Errorf("worst of three: %+v", got)
	}
}

func sameFigure(a, b link.Figure) bool {
	return equalOrNaN(a.Value, b.Value) && equalOrNaN(a.Limit, b.Limit)
}

func equalOrNaN(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
