package report

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// sat is a study of ABX sessions of 40 trials between "direct" and each chain, by so many right answers of each listener.
func sat(t *testing.T, title string, right map[string][]int, pairings ...link.Pairing) link.Result {
	t.Helper()
	plan := trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5}
	in := link.Input{Title: title, Pairings: pairings}
	for b := range right {
		plan.Comparisons = append(plan.Comparisons, trials.Comparison{Name: "direct – " + b, A: "direct", B: b, Excerpt: "e", AudioA: "a", AudioB: b, Trials: 40})
	}
	listeners := 0
	for _, k := range right {
		listeners = max(listeners, len(k))
	}
	for i := range listeners {
		h := link.Heard{Listener: fmt.Sprintf("L%d", i+1), Result: trials.Result{Session: fmt.Sprint(i), Plan: plan}}
		for _, c := range plan.Comparisons {
			if k := right[c.B]; i < len(k) {
				h.Tallies = append(h.Tallies, trials.Tally{Comparison: c, Trials: 40, Correct: k[i]})
			}
		}
		in.Results = append(in.Results, h)
	}
	in.Family = link.NewFamily([]trials.Plan{plan}, make([]string, listeners))
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The first lines say who heard what and what is excluded, the chain of the title first, never more than the verdicts do.
func TestTheFirstLinesAnswerTheTitle(t *testing.T) {
	nan := math.NaN()
	loud := link.Pairing{A: "direct", B: "loud", Excerpt: "e", LevelErrorDB: 0.4, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan, OffsetErrorUS: nan, Dose: nan}
	for _, c := range []struct {
		name, title string
		right       map[string][]int
		pairings    []link.Pairing
		want        []string
		card        string
	}{
		{"one listener heard it", "Can I hear it?", map[string][]int{"link": {38}}, nil, []string{"L1 heard the difference between direct and link."}, "heard"},
		{"one listener did not", "Can I hear it?", map[string][]int{"link": {19}}, nil,
			[]string{"L1 was not shown to hear a difference between direct and link. One that is heard on 24\u00a0% of trials or more is excluded."}, "ruled out"},
		{"one of four", "?", map[string][]int{"link": {39, 18, 19, 15}}, nil,
			[]string{"1 of 4 listeners (L1) heard the difference between direct and link. For L2, L3 and L4, one that is heard on 24\u00a0% of trials or more is excluded."}, "heard by 1 of 4"},
		{"two of four, one open", "?", map[string][]int{"link": {39, 38, 19, 25}}, nil,
			[]string{"2 of 4 listeners (L1 and L2) heard the difference between direct and link. For L3, one that is heard on 24\u00a0% of trials or more is excluded; for L4, the test was too short to say."}, "heard by 2 of 4"},
		{"nobody", "?", map[string][]int{"link": {18, 19}}, nil,
			[]string{"Neither of the two listeners was shown to hear a difference between direct and link. For each of them, one that is heard on 24\u00a0% of trials or more is excluded; for their average, on "}, "ruled out"},
		{"nobody, and one alone is open", "?", map[string][]int{"link": {17, 26, 16}}, nil,
			[]string{"None of the 3 listeners was shown to hear a difference between direct and link. For their average, one that is heard on "}, "ruled out"},
		{"not settled", "?", map[string][]int{"link": {25}}, nil, []string{"Whether anybody hears a difference between direct and link is not settled: one that is heard on up to "}, "undecided"},
		{"void", "?", map[string][]int{"loud": {39, 38}}, []link.Pairing{loud},
			[]string{"The answers about direct and loud do not count: they were told apart, but a difference in level remained that would be heard by itself."}, "void"},
		{"the chain of the title first", "Is the lantern link heard?", map[string][]int{"lantern-link": {19, 15}, "hamster": {39, 38}}, nil,
			[]string{"Neither of the two listeners was shown to hear a difference between direct and lantern-link", "Both listeners heard the difference between direct and hamster."}, "heard by 2 of 2"},
	} {
		r := sat(t, c.title, c.right, c.pairings...)
		cards := answers(r.Rows)
		got := lead(c.title, cards, nil)
		if len(got) != len(c.want) || cards[0].Short != c.card {
			t.Errorf("%s: %q, card %q", c.name, got, cards[0].Short)
			continue
		}
		for i := range got {
			if !strings.HasPrefix(got[i], c.want[i]) {
				t.Errorf("%s: %q, want %q", c.name, got[i], c.want[i])
			}
		}
	}
}

// A card counts who heard it as link does: of those whose answers count.
func TestCardsCountAsLinkDoes(t *testing.T) {
	r := sat(t, "", map[string][]int{"link": {39, 38, 19, 15}})
	for _, row := range r.Rows {
		if row.Kind != "all" {
			continue
		}
		want := fmt.Sprintf("heard by %d of %d", row.HeardBy.Count, row.HeardBy.Of)
		if got := answers(r.Rows)[0].Short; got != want {
			t.Errorf("%q, link says %q", got, want)
		}
	}
}

// What holds of the sum alone is not said of each: the first lines name who is open.
func TestTheFirstLinesNameWhoIsOpen(t *testing.T) {
	r := sat(t, "", map[string][]int{"link": {17, 26, 16}})
	if got := lead("", answers(r.Rows), nil)[0]; !strings.HasSuffix(got, "for L2, the test was too short to say.") {
		t.Error(got)
	}
}

// A listener who was wrong more often than a guesser needs no longer test.
func TestWhoIsReliablyWrongIsNotSaidToNeedMoreTrials(t *testing.T) {
	r := sat(t, "", map[string][]int{"link": {20, 10, 20, 20}})
	cards := answers(r.Rows)
	const want = "nswers of L2 were wrong more often than guesses are, which settles nothing."
	if got := lead("", cards, nil)[0]; !strings.HasSuffix(got, want) {
		t.Error(got)
	}
	if got := strings.Join(cards[0].Sentences, " "); !strings.Contains(got, want) || strings.Contains(got, "too short") {
		t.Error(got)
	}
}

// Two cards of the same chains are told apart by their excerpts, each with its own bound.
func TestTheFirstLinesTellExcerptsApart(t *testing.T) {
	r := sat(t, "", map[string][]int{"link": {19}})
	other := r.Rows[1]
	other.Excerpt, other.Comparison, other.UpperPD = "f", "direct – link (f)", 0.3
	one := r.Rows[0]
	one.Excerpt, one.Comparison, one.UpperPD = "f", "direct – link (f)", 0.3
	got := lead("", answers(append(r.Rows, one, other)), nil)
	if len(got) != 2 || !strings.Contains(got[0], "(on “e”). One that is heard on 24") || !strings.Contains(got[1], "(on “f”). One that is heard on 30") {
		t.Errorf("%q", got)
	}
}

// A study of threshold runs alone is answered by its thresholds.
func TestTheFirstLinesSayThresholds(t *testing.T) {
	nan := math.NaN()
	of := func(kind, who string, threshold, lo, hi float64) link.Threshold {
		return link.Threshold{What: "random jitter", Unit: "ps RMS", Kind: kind, Listener: who, Threshold: threshold, ThresholdDB: 20 * math.Log10(threshold), ThresholdInterval: [2]float64{lo, hi}}
	}
	got := lead("", nil, []link.Threshold{of("listener", "Owl", nan, 2e7, nan), of("listener", "Wren", 61700, 43600, 86600), of("all", "all", nan, nan, nan)})
	want := "Wren begins to hear random jitter from 61.7 ns RMS on (95\u00a0% interval 43.6 to 86.6); the doses bound the threshold of Owl from below only."
	if len(got) != 1 || got[0] != want {
		t.Errorf("%q", got)
	}
}

// A figure is written as exactly as it is known: to the first digit of its standard error, or to the second where the first is 1;
// without one, three digits, and a level to a tenth of a decibel.
func TestDigitsFollowTheUncertainty(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		v, bound, se float64
		unit, want   string
	}{
		{290818, nan, nan, "ps", "291\u202f000"}, {29.4123, nan, nan, "ps", "29.4"}, {-112.3456, nan, nan, "dBFS", "−112.3"}, {-112.3456, nan, 0.04, "dBFS", "−112.35"},
		{1315.2, nan, 14, "ps", "1315"}, {1315.2, nan, 140, "ps", "1320"}, {1315.2, nan, 400, "ps", "1300"}, {0.00407, nan, nan, "ns", "0.00407"},
		{nan, 9.06, nan, "ps", "≤ 9.06"}, {nan, nan, nan, "ps", "–"}, {0, nan, nan, "ps", "0"}, {2.5e7, nan, 3, "ps", "2.5·10⁷"},
	} {
		if got := measuredAs(c.v, c.bound, c.se, c.unit); got != c.want {
			t.Errorf("%v ± %v: %q, want %q", c.v, c.se, got, c.want)
		}
	}
}

// A difference is written no more exactly than the figures that differ.
func TestADifferenceIsNoMoreExactThanItsFigures(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		a, b, beyond, se float64
		unit, want       string
	}{
		{-113.98, -113.95, nan, nan, "dBFS", "0.0"}, {29.41, 29.24, nan, nan, "ps", "−0.2"}, {29.41, 1321.7, nan, nan, "ps", "+1290"}, {29.412, 29.243, nan, 0.02, "ps", "−0.17"},
		{nan, 13, 3.2, nan, "ps", "> +3.2"}, {6.41, 0, nan, nan, "ps", "−6.41"},
	} {
		p := link.MetricPair{Declared: link.Declared{Unit: c.unit}, Pair: link.Pair{A: c.a, B: c.b, Difference: c.b - c.a, AAtMost: nan, BAtMost: nan, DifferenceBeyond: c.beyond, Uncertainty: c.se}}
		if got := beyond(p); got != c.want {
			t.Errorf("%v and %v: %q, want %q", c.a, c.b, got, c.want)
		}
	}
}

// In a figure of detection a difference of which only a bound is known is an arrow, one below its limit is marked so, and what is not
// drawn is named.
func TestWhatIsNotAPointIsDrawnOrNamed(t *testing.T) {
	nan := math.NaN()
	figure := func(a, b, aMost, bMost, limit float64) link.Measured {
		p := link.Pair{A: a, B: b, Difference: b - a, AAtMost: aMost, BAtMost: bMost, DifferenceBeyond: nan, Limit: limit}
		if b > aMost {
			p.DifferenceBeyond = b - aMost
		}
		return link.Measured{Figures: link.Figures{{Declared: link.RandomJitter.Declare(), Pair: p}}}
	}
	row := func(name string, v link.Verdict, m link.Measured) link.Row {
		return link.Row{Comparison: name, Kind: "all", Verdict: v, Measured: m, Score: stats.Score{Design: "abx", Trials: 40, Proportion: 0.6}}
	}
	trend := link.Trend{Metric: link.RandomJitter, Chance: 0.5, Points: []link.TrendPoint{{Comparison: "known", Difference: 50, Trials: 40}, {Comparison: "small", Difference: 2, Trials: 40}}}
	points, notes := dosePoints(trend, []link.Row{
		row("known", link.HeardIt, figure(10, 60, nan, nan, 9)), row("small", link.Undecided, figure(10, 12, nan, nan, 9)),
		row("beyond", link.HeardIt, figure(nan, 60, 20, nan, 20)), row("within", link.Undecided, figure(nan, nan, 20, 25, 25)),
		row("void", link.Void, figure(10, 60, nan, nan, 9)), row("unknown", link.Undecided, figure(nan, 60, nan, nan, nan))})
	var got []string
	for _, p := range points {
		got = append(got, fmt.Sprintf("%s %g %d %v", p.Name, p.X, p.Bound, p.BelowLimit))
	}
	if want := "[known 50 0 false small 2 0 true beyond 40 1 false within 25 -1 false]"; fmt.Sprint(got) != want {
		t.Errorf("%v, want %s", got, want)
	}
	if len(notes) != 1 || notes[0] != "Not drawn: void (its answers count for nothing), unknown (no difference in random jitter is known)." {
		t.Errorf("%q", notes)
	}
}

func TestHowItWasObtainedCountsWithinTheSentence(t *testing.T) {
	for want, sessions := range map[string][]Session{
		"One listener answered 76 trials in one session.": {{Listener: "L1", Answers: 76}},
		"2 listeners answered 96 trials in 3 sessions.":   {{Listener: "L1", Answers: 76}, {Listener: "L2", Answers: 12}, {Listener: "L2", Answers: 8}},
	} {
		if got := obtained(Input{Sessions: sessions}); !strings.HasPrefix(got, want) {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

func TestWhatIsExcludedIsRoundedUp(t *testing.T) {
	for v, want := range map[float64]string{0: "1\u00a0%", 0.004: "1\u00a0%", 0.126: "13\u00a0%", 0.13: "13\u00a0%"} {
		if got := share(v); got != want {
			t.Errorf("%v: %s, want %s", v, got, want)
		}
	}
}
