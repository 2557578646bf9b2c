package stats_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"testing"

	"heardiff/stats"
	"heardiff/stats/warning"
)

// warnedCases are data that a result warns of, with all the codes that it then has, in order.
var warnedCases = []struct {
	name   string
	warned func() (warning.Warnings, error)
	want   []warning.Code
}{
	{"too few trials", scoredABX(3, 3), []warning.Code{stats.CannotDecide, stats.BoundOnly}},
	{"one-sided alone", scoredABX(12, 16), []warning.Code{stats.ChanceInside}},
	{"plainly heard", scoredABX(16, 16), nil},
	{"wrong", scoredABX(2, 20), []warning.Code{stats.ReliablyWrong, stats.BoundOnly}},
	{"more different pairs", scoredPairs(stats.Pairs{Hits: 36, Misses: 4, FalseAlarms: 9, CorrectRejections: 1}), []warning.Code{stats.UnequalPairs}},
	{"a pair of each kind", scoredPairs(stats.Pairs{Hits: 1, CorrectRejections: 1}), []warning.Code{stats.RatesAdjusted, stats.CannotDecide}},
	{"exchanged answers", scoredPairs(stats.Pairs{Hits: 1, Misses: 9, FalseAlarms: 9, CorrectRejections: 1}), []warning.Code{stats.ReliablyWrong}},
	{"rows of one listener", pooled(stats.Listener{Listener: "a", Correct: 8, Trials: 16}, stats.Listener{Listener: "a", Correct: 8, Trials: 16}), []warning.Code{stats.RowsAdded}},
	{"three groups", pooled(grouped("x", 8, 9), grouped("y", 8, 9), grouped("z", 8, 9), grouped("x", 9, 7), grouped("y", 9, 7)), []warning.Code{stats.GroupsLeftOut}},
	{"one of three hears it", pooled(grouped("", 16, 1), grouped("", 4, 2), grouped("", 4, 3)), []warning.Code{stats.ListenersDiffer, stats.HeardBySome}},
	{"one is wrong", pooled(grouped("", 0, 1), grouped("", 8, 2)), []warning.Code{stats.ListenersDiffer, stats.ListenersWrong}},
	{"two in each group", pooled(grouped("x", 9, 1), grouped("x", 16, 2), grouped("y", 16, 3), grouped("y", 9, 4)), []warning.Code{stats.ListenersDiffer, stats.DifferenceCut}},
	{"two sites that agree", combined(0.4, 0.4), []warning.Code{stats.FewSites, stats.SitesAgree}},
	{"eleven sites", combined(0, 0.9, 0.1, 0.8, 0.2, 1.4, 0.3, -0.6, 0.4, 0.5, 0.4), nil},
	{"listeners of a site who differ", sited(), []warning.Code{stats.FewSites, stats.Overdispersed}},
	{"flat", fittedTo(5, 5, 5, 5), []warning.Code{stats.NoRise}},
	{"a step", fittedTo(5, 5, 10, 10), []warning.Code{stats.StepCurve}},
	{"hardly rising", fittedTo(5, 5, 5, 6), []warning.Code{stats.StepCurve, stats.OutsideDoses, stats.NoUpperThreshold}},
	{"a threshold beyond the doses", fittedTo(5, 5, 6, 7), []warning.Code{stats.OutsideDoses, stats.NoUpperThreshold}},
	{"falling in between", fittedTo(10, 4, 10, 5, 10), []warning.Code{stats.PoorFit, stats.NoLowerThreshold, stats.NoUpperThreshold}},
	{"above the middle at once", fittedTo(9, 9, 10, 10), []warning.Code{stats.OutsideDoses, stats.NoLowerThreshold}},
	{"three doses, flat", unreliable(5, 5, 5), []warning.Code{stats.FewDoses, stats.NoRise}},
	{"rising late, judged", unreliable(5, 5, 6, 7), []warning.Code{stats.NoUpperThreshold}},
	{"high at once, judged", unreliable(9, 9, 10, 10), []warning.Code{stats.NoLowerThreshold}},
	{"falling in between, judged", unreliable(10, 4, 10, 5, 10), []warning.Code{stats.PoorFit, stats.Unbounded}},
	{"learnt on the way", diagnosed("0110100110010110011010011001", "0000000001001111111111111111"), []warning.Code{stats.HalvesDiffer, stats.AccuracyRose, stats.RunsOfRight}},
	{"tired on the way", diagnosed("0110100110010110011010011001", "1111111111111111001000000000"), []warning.Code{stats.HalvesDiffer, stats.AccuracyFell, stats.RunsOfRight}},
	{"one key only", diagnosed("0000000000000000", "0110100110010110"), []warning.Code{stats.OnePreferred, stats.SameInARow}},
	{"in turn", diagnosed("0101010101010101", "0110100110010110"), []warning.Code{stats.RunsOfAnswers, stats.Alternating}},
	{"nothing to note", diagnosed("0110100110010110", "1011001110100101"), nil},
	{"two listeners", severalFitted([]int{5, 7, 9, 10}, []int{5, 5, 7, 9}), []warning.Code{stats.FewListeners}},
}

func scoredABX(k, n int) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		s, err := stats.ScoreABX(k, n, stats.ScoreConfig{})
		return s.Warnings, err
	}
}

func scoredPairs(c stats.Pairs) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		s, err := stats.ScorePairs(c, stats.ScoreConfig{})
		return s.Warnings, err
	}
}

// grouped returns a listener of a group who was right k times of sixteen.
func grouped(group string, k, number int) stats.Listener {
	return stats.Listener{Listener: group + strconv.Itoa(number), Group: group, Correct: k, Trials: 16}
}

func pooled(all ...stats.Listener) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		p, err := stats.PoolListeners(all, stats.ScoreConfig{})
		return p.Warnings, err
	}
}

// combined combines sites with these effects, each of the variance 0.1.
func combined(effects ...float64) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		all := make([]stats.Effect, len(effects))
		for i, v := range effects {
			all[i] = stats.Effect{Site: strconv.Itoa(i), Estimate: v, Variance: 0.1}
		}
		m, err := stats.CombineEffects(all, 0.95)
		return m.Warnings, err
	}
}

func sited() func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		p, err := stats.PoolListeners([]stats.Listener{{Listener: "a", Site: "x", Correct: 2, Trials: 20}, {Listener: "b", Site: "x", Correct: 18, Trials: 20},
			{Listener: "c", Site: "y", Correct: 9, Trials: 20}, {Listener: "d", Site: "y", Correct: 20, Trials: 20}}, stats.ScoreConfig{})
		return p.MetaAnalysis.Warnings, err
	}
}

// right returns k right of ten at the doses 1, 2, 4…
func right(counts []int) (points []stats.DosePoint) {
	for i, k := range counts {
		points = append(points, stats.DosePoint{Dose: float64(int(1) << i), Correct: k, Trials: 10})
	}
	return points
}

func fittedTo(counts ...int) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		f, err := stats.FitCurve(right(counts), stats.FitConfig{})
		return f.Warnings, err
	}
}

func unreliable(counts ...int) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		f, err := stats.FitCurve(right(counts), stats.FitConfig{})
		return f.Unreliable(right(counts)), err
	}
}

// diagnosed returns the notes of a session's answers, and whether each was right.
func diagnosed(answers, right string) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		d, err := stats.Diagnose(outcomes(answers), outcomes(right), 0.95)
		return warning.Warnings{Texts: d.Notes, Details: d.NoteDetails}, err
	}
}

// severalFitted fits a threshold for each listener.
func severalFitted(each ...[]int) func() (warning.Warnings, error) {
	return func() (warning.Warnings, error) {
		var points []stats.DosePoint
		for i, counts := range each {
			for _, p := range right(counts) {
				p.Listener = strconv.Itoa(i)
				points = append(points, p)
			}
		}
		f, err := stats.FitRandomThresholds(points, stats.FitConfig{})
		return f.Warnings, err
	}
}

func TestWhatLimitsAResultHasItsCode(t *testing.T) {
	for _, c := range warnedCases {
		w, err := c.warned()
		must(t, err)
		var got []warning.Code
		for _, one := range w.Details {
			got = append(got, one.Code)
		}
		if !slices.Equal(got, c.want) || len(w.Texts) != len(got) {
			t.Errorf("%s: %q, want %q: %q", c.name, got, c.want, w.Texts)
		}
	}
}

// No code is without a case.
func TestEveryCodeOfAWarningIsTried(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "codes.go", nil, 0)
	must(t, err)
	tried := map[string]bool{}
	for _, c := range warnedCases {
		for _, code := range c.want {
			tried[strconv.Quote(string(code))] = true
		}
	}
	declared := 0
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			declared++
			if code := v.Values[0].(*ast.BasicLit).Value; !tried[code] {
				t.Errorf("no case for %s", code)
			}
		}
		return true
	})
	if declared != len(tried) {
		t.Errorf("%d codes are declared, %d are tried", declared, len(tried))
	}
}

// The value of a warning is the figure that its code names.
func TestTheValuesOfWarnings(t *testing.T) {
	s, err := stats.ScoreABX(12, 16, stats.ScoreConfig{})
	must(t, err)
	wrong, err := stats.ScoreABX(2, 20, stats.ScoreConfig{})
	must(t, err)
	p, err := stats.PoolListeners([]stats.Listener{grouped("x", 16, 1), grouped("y", 4, 2), grouped("z", 4, 3), grouped("x", 4, 4)}, stats.ScoreConfig{})
	must(t, err)
	d, err := stats.Diagnose(outcomes("0110100110010110011010011001"), outcomes("0000000001001111111111111111"), 0.95)
	must(t, err)
	notes := warning.Warnings{Texts: d.Notes, Details: d.NoteDetails}
	for code, c := range map[warning.Code]struct {
		in    warning.Warnings
		value float64
	}{
		stats.ChanceInside:    {s.Warnings, s.ClopperPearson[0]},
		stats.BoundOnly:       {wrong.Warnings, wrong.DiscriminatorsUpper},
		stats.ReliablyWrong:   {wrong.Warnings, wrong.PBelow},
		stats.ListenersDiffer: {p.Warnings, p.Heterogeneity.P},
		stats.HeardBySome:     {p.Warnings, 1},
		stats.GroupsLeftOut:   {p.Warnings, 3},
		stats.HalvesDiffer:    {notes, d.Halves.P},
		stats.AccuracyRose:    {notes, d.Trend.P},
	} {
		if i := slices.IndexFunc(c.in.Details, func(w warning.Warning) bool { return w.Code == code }); i < 0 || c.in.Details[i].Value != c.value {
			t.Errorf("%s of %v: %+v", code, c.value, c.in.Details)
		}
	}
	p.SetVerdict("as the study decides")
	if p.Warned(stats.HeardBySome) || !p.Warned(stats.ListenersDiffer) || len(p.Texts) != len(p.Details) {
		t.Errorf("under a verdict of the study: %q", p.Texts)
	}
}
