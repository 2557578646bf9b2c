package link_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

var nan = math.NaN()

// session is an invented ABX session of a listener on the invented chains "bus" and "optical".
func session(listener, group string, correct, of int) link.Heard {
	c := trials.Comparison{Name: "bus against optical", A: "bus", B: "optical", Excerpt: "strings"}
	return link.Heard{Listener: listener, Group: group, Result: trials.Result{Session: listener + "-1",
		Plan:    trials.Plan{ID: "p", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5},
		Tallies: []trials.Tally{{Comparison: c, Trials: of, Correct: correct}}}}
}

func control(h link.Heard, kind trials.Kind, correct, of int) link.Heard {
	h.Tallies = append(h.Tallies, trials.Tally{Comparison: trials.Comparison{Name: kind.String(), Kind: kind}, Trials: of, Correct: correct})
	return h
}

func pairing() link.Pairing {
	return link.Pairing{A: "bus", B: "optical", Excerpt: "strings", NullDB: -80, ResponseMaxDB: 0.01, LoudnessDifferenceLU: 0.01,
		LevelErrorDB: 0.002, OffsetErrorUS: 0.01, Dose: nan}
}

func chains() []link.Chain {
	return []link.Chain{
		{Name: "bus", Role: "source", Cost: 100, Figures: map[link.Metric][]link.Figure{link.RandomJitter: {{Value: 40, Limit: 5}, {Value: 44, Limit: 5}}, link.Noise: {{Value: -110, Limit: nan}}}},
		{Name: "optical", Role: "source", Cost: 20, Figures: map[link.Metric][]link.Figure{link.RandomJitter: {{Value: 400, Limit: 5}, {Value: 408, Limit: 6}}, link.Noise: {{Value: -109, Limit: nan}}}},
	}
}

func TestVerdicts(t *testing.T) {
	cases := []struct {
		name  string
		heard link.Heard
		mend  func(*link.Pairing, *[]link.Chain)
		want  link.Verdict
		says  string
	}{
		// The one-sided exact p of 12 of 16 is 2517/65536 = 0.038; of 11 of 16, 0.105.
		{"12 of 16 is heard", session("l", "", 12, 16), nil, link.HeardIt, "12 of 16"},
		{"11 of 16 is not settled", session("l", "", 11, 16), nil, link.Undecided, "fresh plan"},
		// scipy 1.10.1, 2*beta.ppf(0.955, 9, 8) - 1 = 0.4533: a tenth of the risk of 0.05 is kept for further sessions.
		{"8 of 16 rules out half discriminators", session("l", "", 8, 16), nil, link.RuledOut, "45.3 %"},
		{"a level error voids what was heard", session("l", "", 16, 16), func(p *link.Pairing, _ *[]link.Chain) { p.LevelErrorDB = 0.3 }, link.Void, "level"},
		{"a level error does not void a null", session("l", "", 8, 16), func(p *link.Pairing, _ *[]link.Chain) { p.LevelErrorDB = 0.3 }, link.RuledOut, ""},
		{"misalignment voids what was heard", session("l", "", 16, 16), func(p *link.Pairing, _ *[]link.Chain) { p.OffsetErrorUS = -40 }, link.Void, "out of step"},
		{"a response error voids what was heard", session("l", "", 16, 16), func(p *link.Pairing, _ *[]link.Chain) { p.ResponseMaxDB = -0.5 }, link.Void, "response"},
		{"a small response difference is named first", session("l", "", 16, 16), func(p *link.Pairing, _ *[]link.Chain) { p.ResponseMaxDB = 0.2 }, link.HeardIt, "What else could explain it: frequency response"},
		{"a missed positive control voids a null", control(session("l", "", 8, 16), trials.PositiveControl, 5, 10), nil, link.Void, "positive control"},
		// A listener who is right 95 times in 100 misses at least one of five in 23 % of all controls: 1 − 0.95⁵.
		{"one slip in a short positive control keeps a null", control(session("l", "", 8, 16), trials.PositiveControl, 4, 5), nil, link.RuledOut, ""},
		{"a missed positive control leaves what was heard", control(session("l", "", 15, 16), trials.PositiveControl, 5, 10), nil, link.HeardIt, ""},
		{"a met positive control keeps a null", control(session("l", "", 8, 16), trials.PositiveControl, 10, 10), nil, link.RuledOut, ""},
		{"a passed negative control voids everything", control(session("l", "", 15, 16), trials.NegativeControl, 10, 10), nil, link.Void, "negative control"},
		{"reliably wrong is no null", session("l", "", 2, 16), nil, link.Undecided, "reliably wrong"},
		{"a replay chain worse than all could not have shown it", session("l", "", 8, 16), func(_ *link.Pairing, c *[]link.Chain) {
			*c = append(*c, link.Chain{Name: "headphone box", Role: "replay", Cost: nan, Figures: map[link.Metric][]link.Figure{link.RandomJitter: {{Value: 900, Limit: nan}}, link.Noise: {{Value: -90, Limit: nan}}}})
		}, link.Undecided, "could not have shown it"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			p, ch := pairing(), chains()
			if c.mend != nil {
				c.mend(&p, &ch)
			}
			got, err := link.Build(link.Input{Chains: ch, Pairings: []link.Pairing{p}, Results: []link.Heard{c.heard}})
			if err != nil {
				t.Fatal(err)
			}
			r := got.Rows[0]
			if r.Verdict != c.want || !strings.Contains(r.Reason, c.says) {
				t.Errorf("got %q, %q; want %q with %q", r.Verdict, r.Reason, c.want, c.says)
			}
			if strings.Contains(strings.ToLower(r.Reason), "no difference") {
				t.Errorf("%q claims equality", r.Reason)
			}
		})
	}
}

// Results of a published same-different amplifier test of 1989, eight listeners with eight trials each: 48 of 64 in all. The
// want is R 4.2.2, binom.test(48, 64, alternative = "greater"): p 3.87e-05.
func TestEightPublishedListenersPoolToThePublishedP(t *testing.T) {
	in := link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}}
	for i, k := range []int{8, 7, 7, 7, 7, 6, 4, 2} {
		in.Results = append(in.Results, session(string(rune('a'+i)), "", k, 8))
	}
	got, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	all := got.Rows[len(got.Rows)-1]
	if all.Kind != "all" || all.Correct != 48 || all.Trials != 64 || math.Abs(all.P-3.87e-5) > 0.005e-5 {
		t.Errorf("got %s %d of %d p %g", all.Kind, all.Correct, all.Trials, all.P)
	}
	if len(got.Rows) != 9 || all.Listeners != 8 {
		t.Errorf("%d rows, %d listeners", len(got.Rows), all.Listeners)
	}
}

func TestMeasuredFiguresAreInTheRow(t *testing.T) {
	ch := chains()
	ch[0].Figures[link.DeterministicJitter] = []link.Figure{{Value: nan, Limit: 3}}
	ch[1].Figures[link.DeterministicJitter] = []link.Figure{{Value: 20, Limit: 3}}
	got, err := link.Build(link.Input{Chains: ch, Pairings: []link.Pairing{pairing()}, Results: []link.Heard{session("l", "", 8, 16)}})
	if err != nil {
		t.Fatal(err)
	}
	p := got.Rows[0].Measured.Of(link.RandomJitter)
	// Means 42 and 404; the variances of the means are 8/2 and 32/2.
	if p.A != 42 || p.B != 404 || p.Difference != 362 || math.Abs(p.Uncertainty-math.Sqrt(4+16)) > 1e-12 || p.Limit != 6 {
		t.Errorf("random jitter %+v", p)
	}
	d := got.Rows[0].Measured.Of(link.DeterministicJitter)
	if !math.IsNaN(d.A) || d.B != 20 || !math.IsNaN(d.Difference) || d.Limit != 3 {
		t.Errorf("a figure at the floor is not a zero: %+v", d)
	}
	if d.AAtMost != 3 || !math.IsNaN(d.BAtMost) || d.DifferenceBeyond != 17 {
		t.Errorf("a chain of at most 3 ps against one of 20: %+v", d)
	}
	if c := got.Rows[0].Measured.Cost; c.Difference != -80 {
		t.Errorf("cost %+v", c)
	}
	if got.Cheapest == nil || got.Cheapest.Chain != "optical" {
		t.Errorf("cheapest %+v", got.Cheapest)
	}
}

// measuredPair returns the pair of deterministic jitter for these figures of the chains and the recorder.
func measuredPair(t *testing.T, a, b, recorder []link.Figure) link.Pair {
	t.Helper()
	ch := chains()
	ch[0].Figures[link.DeterministicJitter], ch[1].Figures[link.DeterministicJitter] = a, b
	ch = append(ch, link.Chain{Name: "loop", Role: "floor", Figures: map[link.Metric][]link.Figure{link.DeterministicJitter: recorder}})
	got, err := link.Build(link.Input{Chains: ch, Pairings: []link.Pairing{pairing()}, Results: []link.Heard{session("l", "", 8, 16)}})
	if err != nil {
		t.Fatal(err)
	}
	return got.Rows[0].Measured.Of(link.DeterministicJitter)
}

func TestABoundIsABound(t *testing.T) {
	at := func(values ...float64) []link.Figure { // below zero: at the floor, with this upper bound
		var f []link.Figure
		for _, v := range values {
			if v < 0 {
				f = append(f, link.Figure{Value: nan, Limit: -v})
				continue
			}
			f = append(f, link.Figure{Value: v, Limit: 1})
		}
		return f
	}
	for _, c := range []struct {
		name                           string
		a, b                           []link.Figure
		atMostA, atMostB, diff, beyond float64
	}{
		{"both measured", at(5), at(9), nan, nan, 4, nan},
		{"one of two captures at its floor", at(5, -3), at(9), 4, nan, nan, 5},
		{"B below its bound", at(100), at(-5), nan, 5, nan, -95},
		{"a bound above the other's figure", at(4), at(-5), nan, 5, nan, nan},
		{"both at their floors", at(-2), at(-5), 2, 5, nan, nan},
		{"nothing known of B", at(4), nil, nan, nan, nan, nan},
	} {
		p := measuredPair(t, c.a, c.b, at(0.5))
		for what, v := range map[string][2]float64{"A at most": {p.AAtMost, c.atMostA}, "B at most": {p.BAtMost, c.atMostB},
			"difference": {p.Difference, c.diff}, "difference beyond": {p.DifferenceBeyond, c.beyond}, "floor": {p.Floor, 0.5}} {
			if v[0] != v[1] && !(math.IsNaN(v[0]) && math.IsNaN(v[1])) {
				t.Errorf("%s: %s %v, want %v", c.name, what, v[0], v[1])
			}
		}
	}
}

func TestEnteredFiguresStayApart(t *testing.T) {
	measured, entered := link.Figure{Value: 10, Limit: 1}, link.Figure{Value: 90, Limit: nan, Entered: true}
	empty := link.Figure{Value: nan, Limit: nan, Entered: true}
	b := []link.Figure{{Value: 20, Limit: 1}}
	for _, a := range [][]link.Figure{{measured, entered}, {measured, empty}, {entered, measured}} {
		if p := measuredPair(t, a, b, nil); p.A != 10 || p.CapturesA != 1 || p.Entered || p.Limit != 1 {
			t.Errorf("entered and measured: %+v", p)
		}
	}
	unknown := link.Figure{Value: nan, Limit: nan}
	if p := measuredPair(t, []link.Figure{unknown}, b, nil); !math.IsNaN(p.A) || p.EnteredA || p.Entered {
		t.Errorf("measured, and nothing known: %+v", p)
	}
	if p := measuredPair(t, []link.Figure{unknown, entered}, b, nil); p.A != 90 || !p.EnteredA {
		t.Errorf("entered where nothing is known: %+v", p)
	}
	if p := measuredPair(t, []link.Figure{entered}, b, nil); p.A != 90 || !p.EnteredA || p.EnteredB || !p.Entered {
		t.Errorf("entered alone: %+v", p)
	}
	if p := measuredPair(t, nil, b, nil); p.CapturesA != 0 || p.EnteredA {
		t.Errorf("nothing at all: %+v", p)
	}
}

// Two comparisons of one plan share alpha: 12 of 16, p 0.038, is 'heard' alone but not together with another.
func TestComparisonsShareAlpha(t *testing.T) {
	h := session("l", "", 12, 16)
	second := h.Tallies[0]
	second.Comparison.Name, second.Comparison.B, second.Correct = "bus against network", "network", 9
	h.Tallies = append(h.Tallies, second)
	got, err := link.Build(link.Input{Chains: chains(), Results: []link.Heard{h}})
	if err != nil {
		t.Fatal(err)
	}
	// A listener's first test has half of the risk less what is kept for the unplanned (twice half a percent), and keeps a tenth.
	want := 2517.0 / 65536 / (0.995 / 2) / 0.995 / 0.9
	for _, r := range got.Rows {
		if r.B == "optical" && (math.Abs(r.PStudy-want) > 1e-9 || r.Verdict == link.HeardIt) {
			t.Errorf("p %g verdict %s, want %g", r.PStudy, r.Verdict, want)
		}
	}
}

func TestDuplicatePairsAreBoundedByTheirRates(t *testing.T) {
	h := session("l", "", 0, 0)
	h.Plan.Design = trials.SameDifferent
	// Answers 'different' to everything: half of the answers are right, without any discrimination.
	h.Tallies[0].Trials, h.Tallies[0].Correct, h.Tallies[0].Hits, h.Tallies[0].FalseAlarms = 40, 20, 20, 20
	got, err := link.Build(link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}, Results: []link.Heard{h}})
	if err != nil {
		t.Fatal(err)
	}
	// The lower limit of 20 of 20 at risk 0.98·0.025, a fiftieth kept for further sessions: 0.0245^(1/20) = 0.8307.
	if r := got.Rows[0]; math.Abs(r.UpperPD-(1-math.Pow(0.0245, 1.0/20))) > 1e-9 || r.Verdict != link.RuledOut {
		t.Errorf("upper %g verdict %s", r.UpperPD, r.Verdict)
	}
}

func TestASequentialPlanIsJudgedByItsBoundaryAndNotByP(t *testing.T) {
	h := session("l", "", 14, 16)
	h.Plan.Looks = &stats.Looks{Trials: []int{16, 32}, Heard: []int{14, 23}, RuledOut: []int{4, 12}}
	build := func() link.Row {
		got, err := link.Build(link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}, Results: []link.Heard{h}})
		if err != nil {
			t.Fatal(err)
		}
		return got.Rows[0]
	}
	if r := build(); r.Verdict == link.HeardIt {
		t.Errorf("not stopped: %s, p %g", r.Verdict, r.PStudy)
	}
	h.Stopped = trials.StopHeard
	// At the first look p is that of 14 of 16, 137/65536.
	if r := build(); r.Verdict != link.HeardIt || math.Abs(r.PStudy-137.0/65536/0.9/0.995/0.995) > 1e-9 {
		t.Errorf("stopped at its boundary: %s, p %g", r.Verdict, r.PStudy)
	}
}

func TestBalancedOrderIsJudgedByFishersTest(t *testing.T) {
	h := session("l", "", 6, 8)
	h.Plan.Order = trials.Balanced
	h.Tallies[0].Answers = trials.Answers{{3, 1}, {1, 3}}
	got, err := link.Build(link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}, Results: []link.Heard{h}})
	if err != nil {
		t.Fatal(err)
	}
	// A lady tasting tea, three of four right of each kind: (16 + 1)/70 (Fisher, The Design of Experiments, 1935).
	if r := got.Rows[0]; math.Abs(r.P-17.0/70) > 1e-9 || math.Abs(r.PStudy-17.0/70/0.98/0.995/0.995) > 1e-9 {
		t.Errorf("p %g, over the study %g; want 17/70", r.P, r.PStudy)
	}
}

func BenchmarkBuildTenThousandListeners(b *testing.B) {
	in := link.Input{Chains: chains(), Pairings: []link.Pairing{pairing()}}
	for i := range 10000 {
		in.Results = append(in.Results, session(fmt.Sprintf("l%05d", i), "", 40+i%30, 100))
	}
	for b.Loop() {
		if _, err := link.Build(in); err != nil {
			b.Fatal(err)
		}
	}
}
