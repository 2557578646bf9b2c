package link

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// Trend says whether comparisons with a larger difference in a metric were detected more often. It is a correlation over
// comparisons of complete chains, which also differ in much else; it shows no cause.
type Trend struct {
	Metric Metric `json:"metric"`
	Group  string `json:"group"` // "" for all listeners
	// Listener is the listener of the trend, "" for several; Treatment is what was added. Both are for known doses only.
	Listener  string `json:"listener"`
	Treatment string `json:"treatment"`
	// Chance is the chance level of the designs of the points: proportions at different chance levels are not mixed.
	Chance float64 `json:"chance"`
	// Points are the comparisons: the size of the difference, and the counts.
	Points            []TrendPoint `json:"points"`
	Tau               float64      `json:"tau"`     // Kendall's τ-b; NaN with fewer than three comparisons
	P                 float64      `json:"p_value"` // two-sided
	Exact             bool         `json:"exact"`   // P counts every order; else it is the normal approximation
	Threshold         float64      `json:"threshold"`
	ThresholdInterval [2]float64   `json:"threshold_interval"`
	Slope             float64      `json:"slope"`
	// Listeners is the number of thresholds of which Threshold is the mean, BetweenSD their standard deviation in log10 of the
	// dose, or in decibels where the dose is a level; 0 and NaN where one curve was fitted to all answers.
	Listeners int     `json:"threshold_listeners"`
	BetweenSD float64 `json:"threshold_between_sd"`
	Says      string  `json:"says"`
	// Curve is the fitted function at 101 points; empty where none was fitted.
	Curve []CurvePoint `json:"curve"`
}

// CurvePoint is a point of a fitted curve.
type CurvePoint struct {
	Difference float64 `json:"difference"`
	Proportion float64 `json:"proportion"`
}

// minFitPoints is the smallest number of comparisons to which a psychometric function is fitted, for a metric in picoseconds;
// with fewer, threshold and slope reflect the model rather than the data (common practice, no source).
const minFitPoints = 5

// fit adds the threshold, if the metric is a magnitude and there are enough points.
func (t *Trend) fit() {
	t.Slope = math.NaN()
	if len(t.Points) < minFitPoints || !strings.HasSuffix(string(t.Metric), "_ps") {
		return
	}
	var points []stats.DosePoint
	lo, hi := math.Inf(1), 0.0
	for _, p := range t.Points {
		if p.Difference > 0 {
			points = append(points, stats.DosePoint{Dose: p.Difference, Correct: p.Correct, Trials: p.Trials})
			lo, hi = math.Min(lo, p.Difference), math.Max(hi, p.Difference)
		}
	}
	f, err := stats.FitCurve(points, stats.FitConfig{Guess: t.Chance})
	if err != nil || math.IsNaN(f.Threshold) {
		return // data that do not rise have no threshold
	}
	t.Threshold, t.ThresholdInterval, t.Slope = f.Threshold, f.ThresholdInterval, f.Slope
	for i := range 101 {
		x := lo * math.Pow(hi/lo, float64(i)/100)
		t.Curve = append(t.Curve, CurvePoint{x, f.At(x)})
	}
}

// TrendPoint is one comparison.
type TrendPoint struct {
	Comparison string     `json:"comparison"`
	Difference float64    `json:"difference"` // absolute; for the null, its residual in dB
	Correct    int        `json:"correct"`
	Trials     int        `json:"trials"`
	Proportion float64    `json:"proportion"`
	Interval   [2]float64 `json:"interval"`
}

func trends(rows []Row, metrics Metrics) []Trend {
	var out []Trend
	asked := append(slices.DeleteFunc(slices.Clone(metrics), func(d Declared) bool { return !d.Trended }), Declared{Metric: NullDepth})
	for _, group := range groupsOf(rows) {
		for _, of := range drawn(asked, rows) {
			m := of.metric
			t := Trend{Metric: m, Group: group, Chance: of.chance, Points: pointsOf(rows, of, group), Threshold: math.NaN(), BetweenSD: math.NaN(), ThresholdInterval: [2]float64{math.NaN(), math.NaN()}}
			if len(t.Points) < 2 {
				continue
			}
			t.Tau, t.P, t.Exact = kendall(t.Points)
			t.fit()
			t.Says = t.words(metrics)
			out = append(out, t)
		}
	}
	return out
}

// trended is the subject of a trend: a metric, over designs of one chance level.
type trended struct {
	metric Metric
	chance float64
}

// drawn returns the metrics, each with every chance level of the rows' designs.
func drawn(metrics []Declared, rows []Row) []trended {
	var chances []float64
	for _, r := range rows {
		if c := r.asks.design.Chance(); !slices.Contains(chances, c) {
			chances = append(chances, c)
		}
	}
	slices.Sort(chances)
	var all []trended
	for _, m := range metrics {
		for _, c := range chances {
			all = append(all, trended{m.Metric, c})
		}
	}
	return all
}

func (t Trend) words(metrics Metrics) string {
	name, _ := metrics.Words(t.Metric)
	if math.IsNaN(t.Tau) {
		return fmt.Sprintf("%s are too few to say whether detection grows with %s", trials.Counted(len(t.Points), "comparison"), name)
	}
	kind := "exact "
	if !t.Exact {
		kind = ""
	}
	return fmt.Sprintf("over %s, Kendall's tau between the difference in %s and the proportion correct is %.2f (%stwo-sided p %s); a correlation names no cause", trials.Counted(len(t.Points), "comparison"), name, t.Tau, kind, Probability(t.P))
}

// groupsOf returns "" for all, and the groups.
func groupsOf(rows []Row) []string {
	seen := map[string]bool{}
	for _, r := range rows {
		if r.Kind == "group" {
			seen[r.Group] = true
		}
	}
	groups := make([]string, 0, len(seen)+1)
	for g := range seen {
		groups = append(groups, g)
	}
	sort.Strings(groups)
	return append([]string{""}, groups...)
}

// pointsOf returns one point for each comparison: of two designs of the same comparison and chance level, the one with more
// trials.
func pointsOf(rows []Row, of trended, group string) []TrendPoint {
	var points []TrendPoint
	index := map[[3]string]int{}
	for _, r := range rows {
		if r.Treatment != "" || r.Verdict == Void || r.asks.design.Chance() != of.chance || r.valid.Trials == 0 || r.Kind == "listener" || (r.Kind == "group") != (group != "") || r.Group != group {
			continue
		}
		if d := differenceIn(r, of.metric); !math.IsNaN(d) {
			point := r.point(d)
			k := [3]string{r.A, r.B, r.Excerpt}
			i, have := index[k]
			switch {
			case !have:
				index[k] = len(points)
				points = append(points, point)
			case points[i].Trials < r.Trials:
				points[i] = point
			}
		}
	}
	return points
}

func differenceIn(r Row, m Metric) float64 {
	if m == NullDepth {
		return r.Measured.NullDB
	}
	for _, p := range r.Measured.Figures {
		if p.Metric == m {
			return math.Abs(p.Difference)
		}
	}
	return math.NaN()
}

// kendall correlates difference with proportion.
func kendall(points []TrendPoint) (tau, p float64, exact bool) {
	if len(points) < stats.LeastRanked {
		return math.NaN(), math.NaN(), false
	}
	x, y := make([]float64, len(points)), make([]float64, len(points))
	for i, q := range points {
		x[i], y[i] = q.Difference, q.Proportion
	}
	r := stats.Kendall(x, y)
	return r.Tau, r.P, r.Exact
}

// Ranked is one chain in the table for readers.
type Ranked struct {
	Chain           string   `json:"chain"`
	About           string   `json:"about"`
	Cost            float64  `json:"cost"`
	RandomPS        float64  `json:"random_jitter_ps"`
	DeterministicPS float64  `json:"deterministic_jitter_ps"`
	NoiseDB         float64  `json:"noise_a_weighted_db"`
	THDNDB          float64  `json:"thd_n_db"`
	ToldApart       []string `json:"told_apart_from"`  // by anybody, in a row whose verdict is heard
	RuledOutFrom    []string `json:"ruled_out_from"`   // for all listeners together
	UndecidedFrom   []string `json:"not_settled_from"` // undecided or void for all together
	Limit           float64  `json:"random_limit_ps"`
	// Upper bounds of figures that are at the floor in some capture; NaN elsewhere.
	RandomAtMostPS        float64 `json:"random_jitter_at_most_ps"`
	DeterministicAtMostPS float64 `json:"deterministic_jitter_at_most_ps"`
	NoiseAtMostDB         float64 `json:"noise_a_weighted_at_most_db"`
	THDNAtMostDB          float64 `json:"thd_n_at_most_db"`
}

// Cheapest is the cheapest chain that nobody could distinguish from the best one by figures.
type Cheapest struct {
	Best  string  `json:"best"`
	Chain string  `json:"chain"`
	Cost  float64 `json:"cost"`
	Says  string  `json:"says"`
}

// ranking orders the source chains by random jitter, those at the floor first, then those not measured.
func ranking(chains []Chain, rows []Row) []Ranked {
	var out []Ranked
	for _, c := range chains {
		if c.Role == "floor" || c.Role == "replay" {
			continue
		}
		r := Ranked{Chain: c.Name, About: c.About, Cost: c.Cost}
		random := readingOf(c.Figures[RandomJitter])
		r.RandomPS, r.RandomAtMostPS, r.Limit = random.mean, random.atMost, random.limit
		r.DeterministicPS, r.DeterministicAtMostPS = c.figure(DeterministicJitter)
		r.NoiseDB, r.NoiseAtMostDB = c.figure(Noise)
		r.THDNDB, r.THDNAtMostDB = c.figure(THDN)
		for _, row := range rows {
			if row.Treatment != "" {
				continue // a chain compared with a dose of itself does not rank chains
			}
			other := row.B
			if row.B == c.Name {
				other = row.A
			} else if row.A != c.Name {
				continue
			}
			switch {
			case row.Verdict == HeardIt:
				r.ToldApart = with(r.ToldApart, other)
			case row.Kind == "all" && row.Verdict == RuledOut:
				r.RuledOutFrom = with(r.RuledOutFrom, other)
			case row.Kind == "all":
				r.UndecidedFrom = with(r.UndecidedFrom, other)
			}
		}
		out = append(out, r)
	}
	sort.SliceStable(out, func(i, k int) bool { return standing(out[i]) < standing(out[k]) })
	return out
}

// figure returns the mean of a chain's captures, and its upper bound if one of them is at the floor.
func (c Chain) figure(m Metric) (mean, atMost float64) {
	r := readingOf(c.Figures[m])
	return r.mean, r.atMost
}

// Mean returns the mean of a chain's captures; NaN where it is not known, or one of them is at the floor.
func (c Chain) Mean(m Metric) float64 {
	mean, _ := c.figure(m)
	return mean
}

// standing is the random jitter by which a chain is ranked; infinity where nothing is known of it.
func standing(r Ranked) float64 {
	if !math.IsNaN(r.RandomPS) {
		return r.RandomPS
	}
	if !math.IsNaN(r.RandomAtMostPS) {
		return r.RandomAtMostPS // at the floor it may be as much
	}
	return math.Inf(1)
}

func with(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

func holds(list []string, s string) bool {
	for _, have := range list {
		if have == s {
			return true
		}
	}
	return false
}

// cheapest returns nil unless for some chain of known cost a difference from the best is ruled out for all together and was
// heard by nobody. A chain that costs no less than the best is not worth naming.
func cheapest(ranked []Ranked, rows []Row) *Cheapest {
	if len(ranked) < 2 || math.IsInf(standing(ranked[0]), 1) {
		return nil
	}
	best := ranked[0]
	var found *Cheapest
	for _, r := range ranked[1:] {
		if math.IsNaN(r.Cost) || r.Cost >= best.Cost || !holds(r.RuledOutFrom, best.Chain) || holds(r.ToldApart, best.Chain) || holds(r.UndecidedFrom, best.Chain) {
			continue
		}
		if found == nil || r.Cost < found.Cost {
			bound := 0.0
			for _, row := range rows {
				if row.Kind == "all" && (row.A == best.Chain && row.B == r.Chain || row.B == best.Chain && row.A == r.Chain) {
					bound = math.Max(bound, row.UpperPD)
				}
			}
			found = &Cheapest{best.Chain, r.Chain, r.Cost, fmt.Sprintf("of the chains that were compared with %s, which has the least random jitter, %s is the cheapest that nobody was shown to tell from it (cost %g). For all listeners together, a difference that is heard on %.1f %% of trials or more is excluded", best.Chain, r.Chain, r.Cost, 100*bound)}
		}
	}
	return found
}
