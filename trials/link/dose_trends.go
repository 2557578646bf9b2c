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

// maxOwnCurves is the largest number of listeners who each get their own threshold; nobody reads more (judgement,
// no source; it decides what is listed, no figure depends on it).
const maxOwnCurves = 200

// minDoses is the smallest number of doses to which a curve is fitted: one more than it has parameters.
const minDoses = 3

// orderLadders sorts the rows of each ladder by dose; the order of other rows does not change.
func orderLadders(rows []Row) {
	ladder := func(r Row) string {
		if r.Treatment == "" {
			return r.Comparison
		}
		return r.A + " + " + r.Treatment + ", " + r.Excerpt
	}
	dose := func(r Row) float64 {
		if r.Treatment == "" {
			return 0
		}
		return r.Dose
	}
	sort.SliceStable(rows, func(i, k int) bool {
		if a, b := ladder(rows[i]), ladder(rows[k]); a != b {
			return a < b
		}
		return dose(rows[i]) < dose(rows[k])
	})
}

// doseTrends returns, for each treatment, how detection grows with its dose: for all listeners, for each group, and for each
// listener. The dose is the only difference between the presentations, so the curve is causal.
func doseTrends(rows []Row) []Trend {
	type whose struct {
		treatment, kind, group, listener string
		chance                           float64
	}
	index := map[whose]*Trend{}
	var order []*Trend
	own, each := map[string]bool{}, map[whose][]stats.DosePoint{} // each listener's answers, by treatment, group and chance
	for _, r := range rows {
		if r.Treatment == "" || r.Kind != "listener" {
			continue
		}
		own[r.Listener] = true
		if r.Verdict == Void || r.valid.Trials == 0 {
			continue
		}
		p := stats.DosePoint{Dose: Trend{Metric: r.DoseMetric}.size(r.Dose), Correct: r.valid.Correct, Trials: r.valid.Trials, Listener: r.Listener}
		for _, group := range slices.Compact([]string{"", r.Group}) {
			k := whose{treatment: r.Treatment, group: group, chance: r.asks.design.Chance()}
			each[k] = append(each[k], p)
		}
	}
	for _, r := range rows {
		if r.Treatment == "" || r.Verdict == Void || r.valid.Trials == 0 || r.Kind == "listener" && len(own) > maxOwnCurves {
			continue
		}
		w := whose{treatment: r.Treatment, kind: r.Kind, chance: r.asks.design.Chance()}
		switch r.Kind {
		case "listener":
			w.listener = r.Listener
		case "group":
			w.group = r.Group
		}
		t, ok := index[w]
		if !ok {
			t = &Trend{Metric: r.DoseMetric, Treatment: r.Treatment, Group: w.group, Listener: w.listener, Chance: w.chance}
			index[w], order = t, append(order, t)
		}
		t.Points = append(t.Points, r.point(t.size(r.Dose)))
	}
	var out []Trend
	for _, t := range order {
		t.Tau, t.P, t.Exact = kendall(t.Points)
		var people []stats.DosePoint
		if t.Listener == "" {
			people = each[whose{treatment: t.Treatment, group: t.Group, chance: t.Chance}]
		}
		t.fitDose(people)
		t.Says = t.doseWords()
		out = append(out, *t)
	}
	sort.SliceStable(out, func(i, k int) bool { return wider(out[i]) < wider(out[k]) })
	return out
}

// point is the row as a point of a curve, without void sessions.
func (r Row) point(size float64) TrendPoint {
	p := TrendPoint{r.Comparison, size, r.Correct, r.Trials, r.Proportion, r.ClopperPearson}
	if r.valid.Trials == r.Trials {
		return p
	}
	iv, err := stats.ProportionIntervals(r.valid.Correct, r.valid.Trials, 0.95)
	if err != nil {
		return p
	}
	p.Correct, p.Trials, p.Interval = r.valid.Correct, r.valid.Trials, iv.ClopperPearson
	p.Proportion = float64(p.Correct) / float64(p.Trials)
	return p
}

// wider puts all listeners before groups, and groups before single listeners.
func wider(t Trend) int {
	switch {
	case t.Listener != "":
		return 2
	case t.Group != "":
		return 1
	}
	return 0
}

// size is the dose on the curve's axis: for gain, its absolute value.
func (t Trend) size(dose float64) float64 {
	if t.Metric == DoseGain {
		return math.Abs(dose)
	}
	return dose
}

// maxRandomListeners is the largest number of listeners to which a fit with differing thresholds is applied: ten thousand
// would take half a minute.
const maxRandomListeners = 1000

// fitDose fits a Weibull function in log dose, or for a level in dBFS a logistic function in decibels. people are the answers
// of each of several listeners, whose thresholds may differ: the threshold is then their mean.
func (t *Trend) fitDose(people []stats.DosePoint) {
	nan := math.NaN()
	t.Threshold, t.ThresholdInterval, t.Slope, t.BetweenSD = nan, [2]float64{nan, nan}, nan, nan
	var points []stats.DosePoint
	lo, hi, doses := math.Inf(1), math.Inf(-1), map[float64]bool{}
	for _, p := range t.Points {
		points = append(points, stats.DosePoint{Dose: p.Difference, Correct: p.Correct, Trials: p.Trials})
		lo, hi = math.Min(lo, p.Difference), math.Max(hi, p.Difference)
		doses[p.Difference] = true
	}
	cfg := stats.FitConfig{Guess: t.Chance}
	if t.Metric == DoseNoise {
		cfg.Shape, cfg.Linear = stats.Logistic, true
	}
	if len(doses) < minDoses {
		return
	}
	fit := func() func(float64) float64 { return t.fitOne(points, cfg) }
	if n := listenersIn(people); n > 1 && n <= maxRandomListeners {
		fit = func() func(float64) float64 { return t.fitEach(people, cfg) }
	}
	at := fit()
	if at == nil {
		return // data that do not rise have no threshold
	}
	for i := range 101 {
		x := lo + (hi-lo)*float64(i)/100
		if !cfg.Linear {
			x = lo * math.Pow(hi/lo, float64(i)/100)
		}
		t.Curve = append(t.Curve, CurvePoint{x, at(x)})
	}
}

// fitOne treats all answers as one listener's, and returns the curve, nil where there is none.
func (t *Trend) fitOne(points []stats.DosePoint, cfg stats.FitConfig) func(dose float64) float64 {
	f, err := stats.FitCurve(points, cfg)
	if err != nil || math.IsNaN(f.Threshold) {
		return nil
	}
	t.Threshold, t.ThresholdInterval, t.Slope = f.Threshold, f.ThresholdInterval, f.Slope
	return f.At
}

// fitEach allows each listener their own threshold. For identical listeners the curve is that of fitOne.
func (t *Trend) fitEach(people []stats.DosePoint, cfg stats.FitConfig) func(dose float64) float64 {
	f, err := stats.FitRandomThresholds(people, cfg)
	if err != nil || math.IsNaN(f.Threshold) {
		return nil
	}
	t.Listeners, t.BetweenSD = f.Listeners, f.BetweenSD
	t.Threshold, t.ThresholdInterval, t.Slope = f.Threshold, f.ThresholdInterval, f.Slope
	return f.At
}

func listenersIn(points []stats.DosePoint) int {
	names := map[string]bool{}
	for _, p := range points {
		names[p.Listener] = true
	}
	return len(names)
}

func (t Trend) doseWords() string {
	who := "all listeners together"
	switch {
	case t.Listener != "":
		who = "listener " + t.Listener
	case t.Group != "":
		who = "group " + t.Group
	}
	_, unit := t.Metric.Words()
	if math.IsNaN(t.Threshold) {
		return fmt.Sprintf("%s, %s: %s give no threshold", t.Treatment, who, trials.Counted(len(t.Points), "dose"))
	}
	found, unit := inWords(unit, t.Threshold, t.ThresholdInterval[0], t.ThresholdInterval[1])
	for i, open := range []string{"no lower end", "no upper end"} {
		if math.IsNaN(t.ThresholdInterval[i]) {
			found[i+1] = open
		}
	}
	what := fmt.Sprintf("threshold (%.3g %% right)", 100*(1+t.Chance)/2)
	if t.Listeners > 1 {
		what = fmt.Sprintf("mean %s of %s", what, trials.Counted(t.Listeners, "listener"))
	}
	return fmt.Sprintf("%s, %s: %s at %s %s, 95 %% interval %s to %s", t.Treatment, who, what, found[0], unit, found[1], found[2])
}

// maskedDose returns the figures in which the replay chain itself exceeds the dose.
func maskedDose(p Pairing, chains []Chain) []mask {
	against, ok := map[Metric]Metric{DoseRandomJitter: RandomJitter, DosePeriodicJitter: DeterministicJitter, DoseNoise: Noise}[p.DoseMetric]
	if !ok {
		return nil
	}
	var out []mask
	for _, c := range chains {
		own, _ := c.figure(against)
		if c.Role != "replay" || !(own >= p.Dose) {
			continue
		}
		name, unit := against.Words()
		out = append(out, mask{against, fmt.Sprintf("%s: the replay chain %q has %.3g %s, the dose is %.3g", strings.TrimSpace(name), c.Name, own, unit, p.Dose)})
	}
	return out
}
