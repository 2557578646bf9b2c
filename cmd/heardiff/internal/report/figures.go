package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// forests draws one forest for each design of a comparison.
func forests(n *numbering, in Input) []figure {
	var order []string
	rows := map[string][]link.Row{}
	for _, r := range in.Link.Rows {
		if r.Treatment != "" {
			continue // the dose curve shows them all in one
		}
		name := r.Comparison
		if d, err := trials.ParseDesign(r.Design); err == nil && d.Title() != "" {
			name += ", " + d.Title()
		}
		if _, ok := rows[name]; !ok {
			order = append(order, name)
		}
		rows[name] = append(rows[name], r)
	}
	var out []figure
	for _, name := range order {
		out = append(out, n.draw(forest(marked(name+": who told them apart", in.Link.Simulated, in.Link.Silent), rows[name])))
		if each := listenersOf(rows[name]); len(each) > maxForest && each[0].Pairs == nil {
			out = append(out, n.draw(crowd(marked(name+": how the listeners spread", in.Link.Simulated, in.Link.Silent), each)))
		}
	}
	return out
}

func forest(title string, rows []link.Row) plot.Forest {
	f := plot.Forest{Title: title, Chance: rows[0].Chance, Smallest: stats.FromDiscriminators(rows[0].Smallest, rows[0].Chance),
		Notes: []string{"Exact two-sided 95 % intervals (Clopper and Pearson). A mark’s size follows the number of trials."}}
	each := listenersOf(rows)
	for _, r := range rows {
		kind := map[string]plot.RowKind{"listener": plot.One, "group": plot.Group, "all": plot.Pooled}[r.Kind]
		if kind == plot.One && len(each) > maxForest {
			continue
		}
		f.Rows = append(f.Rows, plot.ForestRow{Name: who(r), Kind: kind, Estimate: r.Proportion, Lo: r.ClopperPearson[0], Hi: r.ClopperPearson[1],
			Weight: float64(r.Trials), Counts: fmt.Sprintf("%d of %d", r.Correct, r.Trials), Said: string(r.Verdict)})
	}
	if len(each) > maxForest {
		f.Notes = append(f.Notes, fmt.Sprintf("%d listeners are too many to draw one by one.", len(each)))
	}
	return f
}

// listenersOf returns the rows of single listeners.
func listenersOf(rows []link.Row) []link.Row {
	var each []link.Row
	for _, r := range rows {
		if r.Kind == "listener" {
			each = append(each, r)
		}
	}
	return each
}

// marked adds to a title that what it shows says nothing of people, where that is so.
func marked(title string, simulated, silent bool) string {
	if mark := link.WordOf(simulated, silent); mark != "" {
		return title + " (" + mark + ")"
	}
	return title
}

// published returns the published thresholds of a metric, as they are drawn.
func published(m link.Metric) []plot.Published {
	var all []plot.Published
	for _, p := range link.PublishedThresholds() {
		if p.Metric == m {
			all = append(all, plot.Published{From: p.LowPS, To: p.HighPS, Citation: p.Citation})
		}
	}
	return all
}

// alike are the metrics whose published thresholds are shown with doses of the same thing.
var alike = map[link.Metric]link.Metric{link.DoseRandomJitter: link.RandomJitter, link.DosePeriodicJitter: link.DeterministicJitter}

// doses draws detection against the kinds of jitter, and against known doses, for all listeners.
func doses(n *numbering, in Input) []figure {
	var out []figure
	for _, t := range jitterTrends(in.Link) {
		name, unit := t.Metric.Words()
		d := plot.Dose{Title: marked("Told apart, against the difference in "+name, in.Link.Simulated, in.Link.Silent), XTitle: "difference in " + name + ", " + unit,
			Chance: t.Chance, Threshold: t.Threshold, Lo: t.ThresholdInterval[0], Hi: t.ThresholdInterval[1], Published: published(t.Metric)}
		if d.Points, d.Notes = dosePoints(t, in.Link.Rows); len(d.Points) == 0 {
			continue
		}
		for _, c := range t.Curve {
			d.FitX, d.FitY = append(d.FitX, c.Difference), append(d.FitY, c.Proportion)
		}
		if len(t.Points) >= leastPoints {
			d.Notes = append(d.Notes, capitalised([]string{t.Says})...)
		}
		out = append(out, n.draw(d))
	}
	for _, t := range in.Link.Trends {
		if t.Group == "" && t.Listener == "" && t.Treatment != "" {
			_, unit := t.Metric.Words()
			out = append(out, n.draw(ladder(t, unit, in.Link)))
		}
	}
	return out
}

// jitterTrends are the trends of all listeners over both kinds of jitter, at each chance level of the study's designs. Where there are
// too few comparisons for one, it holds none, and its figure still says what is known.
func jitterTrends(l link.Result) []link.Trend {
	var out []link.Trend
	nan := math.NaN()
	for _, m := range []link.Metric{link.RandomJitter, link.DeterministicJitter} {
		var chances []float64
		for _, r := range l.Rows {
			if r.Kind != "all" || r.Treatment != "" || slices.Contains(chances, r.Chance) {
				continue
			}
			chances = append(chances, r.Chance)
			of := func(t link.Trend) bool {
				return t.Metric == m && t.Chance == r.Chance && t.Group == "" && t.Listener == "" && t.Treatment == ""
			}
			if i := slices.IndexFunc(l.Trends, of); i >= 0 {
				out = append(out, l.Trends[i])
			} else {
				out = append(out, link.Trend{Metric: m, Chance: r.Chance, Threshold: nan, ThresholdInterval: [2]float64{nan, nan}})
			}
		}
	}
	return out
}

// dosePoints are the comparisons of a trend, including those of which only a bound of the difference is known, and notes that say why
// others are not drawn.
func dosePoints(t link.Trend, rows []link.Row) ([]plot.DosePoint, []string) {
	var points []plot.DosePoint
	var absent []string
	name, _ := t.Metric.Words()
	for _, r := range rows {
		design, err := trials.ParseDesign(r.Design)
		if r.Kind != "all" || r.Treatment != "" || err != nil || design.Chance() != t.Chance || r.Trials == 0 {
			continue
		}
		at := slices.IndexFunc(t.Points, func(p link.TrendPoint) bool { return p.Comparison == r.Comparison && p.Trials == r.Trials })
		measured := r.Measured.Of(t.Metric)
		point := plot.DosePoint{Y: r.Proportion, Lo: r.ClopperPearson[0], Hi: r.ClopperPearson[1], Name: r.Comparison}
		pointed := slices.ContainsFunc(t.Points, func(p link.TrendPoint) bool { return p.Comparison == r.Comparison })
		switch bound, direction := boundOf(measured); {
		case measured.Difference == 0:
			absent = append(absent, fmt.Sprintf("%s (no difference in %s was found)", r.Comparison, name))
			continue
		case at >= 0:
			p := t.Points[at]
			point.X, point.Y, point.Lo, point.Hi = p.Difference, p.Proportion, p.Interval[0], p.Interval[1]
			point.BelowLimit = p.Difference < measured.Limit
		case r.Verdict == link.Void:
			absent = append(absent, fmt.Sprintf("%s (its answers count for nothing)", r.Comparison))
			continue
		case direction != 0:
			point.X, point.Bound = bound, direction
		case !math.IsNaN(measured.Difference) && pointed:
			continue // in another design of the same comparison
		case !math.IsNaN(measured.Difference):
			point.X, point.BelowLimit = math.Abs(measured.Difference), belowLimit(link.MetricPair{Pair: measured})
		default:
			absent = append(absent, fmt.Sprintf("%s (no difference in %s is known)", r.Comparison, name))
			continue
		}
		points = append(points, point)
	}
	if len(absent) == 0 {
		return points, nil
	}
	return points, []string{"Not drawn: " + strings.Join(absent, ", ") + "."}
}

// boundOf is what is known of the size of a difference where one chain is at its floor: that it is at least (+1) or at most (−1) so
// large; 0 where nothing is known.
func boundOf(p link.Pair) (bound float64, direction int) {
	switch {
	case !math.IsNaN(p.Difference):
		return 0, 0
	case !math.IsNaN(p.DifferenceBeyond):
		return math.Abs(p.DifferenceBeyond), 1
	}
	most := math.Max(orBound(p.A, p.AAtMost), orBound(p.B, p.BAtMost))
	if math.IsNaN(most) || math.IsNaN(p.AAtMost) && math.IsNaN(p.BAtMost) {
		return 0, 0
	}
	return most, -1
}

// ladder draws how detection grows with a known dose. The points carry no names: their places say which they are.
func ladder(t link.Trend, unit string, all link.Result) plot.Dose {
	metric := t.Metric
	if m, ok := alike[metric]; ok {
		metric = m
	}
	d := plot.Dose{Title: marked("Told apart, against the dose of "+t.Treatment, all.Simulated, all.Silent), XTitle: "dose, " + unit, Chance: t.Chance,
		Threshold: t.Threshold, Lo: t.ThresholdInterval[0], Hi: t.ThresholdInterval[1], Published: published(metric), Linear: t.Metric == link.DoseNoise}
	for _, p := range t.Points {
		d.Points = append(d.Points, plot.DosePoint{X: p.Difference, Y: p.Proportion, Lo: p.Interval[0], Hi: p.Interval[1]})
	}
	for _, c := range t.Curve {
		d.FitX, d.FitY = append(d.FitX, c.Difference), append(d.FitY, c.Proportion)
	}
	d.Notes = capitalised([]string{t.Says})
	for _, other := range all.Trends {
		if other.Treatment == t.Treatment && other.Chance == t.Chance && (other.Listener != "" || other.Group != "") {
			d.Notes = append(d.Notes, capitalised([]string{other.Says})...)
		}
	}
	return d
}

// powers draws what each plan could find, one curve for plans alike.
func powers(n *numbering, in Input) []figure {
	var out []figure
	var seen []string
	for _, p := range in.Plans {
		for _, c := range p.Comparisons {
			if c.Kind != trials.Scored || c.Trials == 0 {
				continue
			}
			key := fmt.Sprint(c.Trials, p.Alpha, p.SmallestEffect, p.Design, p.Order)
			if slices.Contains(seen, key) || p.Sequential() {
				continue
			}
			seen = append(seen, key)
			if level := in.Link.Asked.TestLevel(p); level > 0 {
				p.Alpha = level // one listener's first test has this part of the risk
			}
			if chart, ok := PowerOf(c.Trials, p); ok {
				out = append(out, n.draw(chart))
			}
		}
	}
	return out
}

// PowerOf draws what n trials of a plan can find, by its design, order, level and smallest effect (0 for none). It is
// false where there is nothing to draw.
func PowerOf(n int, plan trials.Plan) (plot.Power, bool) {
	chance := plan.Design.Chance()
	title := fmt.Sprintf("What %d trials at level %.3g can find", n, plan.Alpha)
	if plan.Conditional() {
		title = fmt.Sprintf("What %d trials (%s, %s order) at level %.3g can find", n, plan.Design, plan.Order, plan.Alpha)
	}
	chart := plot.Power{Title: title, Trials: n, Smallest: stats.FromDiscriminators(plan.SmallestEffect, chance), Chance: chance}
	for i := range 101 {
		chart.PTrue = append(chart.PTrue, math.Min(chance+(1-chance)*float64(i)/100, 1-1e-12))
	}
	var err error
	chart.Power, err = plan.Powers(n, chart.PTrue)
	return chart, err == nil
}

// measures draws what was measured.
func measures(n *numbering, p Pictures) []figure {
	var out []figure
	for _, chart := range p.Kinds {
		out = append(out, n.draw(chart))
	}
	if len(p.Responses) > 0 {
		out = append(out, n.draw(plot.ResponseDifference{Title: "Difference in response", Curves: p.Responses, LimitDB: 0.1}))
	}
	for _, null := range p.Nulls {
		out = append(out, n.draw(null))
	}
	for _, t := range p.Pairs {
		out = append(out, n.draw(t))
	}
	return out
}
