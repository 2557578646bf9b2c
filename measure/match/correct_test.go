package match_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// What Correct makes of a Result that went through JSON is what it makes of the Result itself; one that lacks what it needs is refused.
func TestCorrectTakesAResultThatCameBackFromJSON(t *testing.T) {
	const rate, seconds = 24000, 8
	m := newMusic(5, seconds, 9500)
	a := m.capture(rate, rate*seconds, way{bits: 24})
	b := splice(5*rate, 5*rate+300)(m, m.capture(rate, rate*seconds, way{bits: 24, offset: 512.4, drift: 8e-6, gain: -0.8}))
	b.Channels[0], b.Channels[1] = b.Channels[1], b.Channels[0]
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	back := throughJSON(t, r)
	direct, stored := corrected(t, a, b, r), corrected(t, a, b, back)
	if direct.frames != stored.frames || direct.frames < 3*rate || direct.worst != stored.worst {
		t.Errorf("directly %+v, from JSON %+v", direct, stored)
	}
	if pcm.DB(direct.worst) > -90 {
		t.Errorf("the residual reaches %.1f dBFS: the pair is not corrected", pcm.DB(direct.worst))
	}
	older := back
	older.ComparedFromS, older.ComparedToS = 0, 0
	silent := back
	silent.OffsetSamples = math.NaN()
	for says, r := range map[string]match.Result{"which stretch": older, "offset_samples": silent} {
		if _, err := match.Correct(a, b, r, func(match.Pair) error { return nil }); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("error %v, want one of %s", err, says)
		}
	}
}

// residualOf is what Correct made of two captures.
type residualOf struct {
	frames int
	worst  float64 // sample of the residual, half a second and more from either end
}

func corrected(t *testing.T, a, b pcm.Reader, r match.Result) residualOf {
	t.Helper()
	var blocks [][]float64
	c, err := match.Correct(a, b, r, func(p match.Pair) error {
		for _, ch := range p.Residual {
			blocks = append(blocks, append([]float64(nil), ch...))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	out := residualOf{frames: c.Frames}
	for _, x := range blocks[4 : len(blocks)-4] { // the ends, where the interpolator meets the files' own
		for _, v := range x {
			out.worst = max(out.worst, math.Abs(v))
		}
	}
	return out
}

func throughJSON(t *testing.T, r match.Result) match.Result {
	t.Helper()
	r.ResponseBands, r.Wander = nil, match.Wander{} // may hold NaN, and Correct takes nothing from them
	data, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back match.Result
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	return back
}
