package report

import (
	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/trials/link"
)

// mostNotes is the number of listeners up to which each is described in words below a figure; the table has them all.
const mostNotes = 12

// thresholds draws each ladder of the threshold runs: of all listeners where there are several, else of the only one.
func thresholds(n *numbering, in Input) []figure {
	var out []figure
	all := in.Link.Thresholds
	for i, t := range all {
		if t.Kind == "all" || t.Kind == "listener" && onlyListener(all, i) {
			out = append(out, n.draw(thresholdChart(t, all)))
		}
	}
	return out
}

// onlyListener reports whether the i-th threshold is of the only listener of its ladder.
func onlyListener(all []link.Threshold, i int) bool {
	for k, other := range all {
		if k != i && all[i].SameLadder(other) {
			return false
		}
	}
	return true
}

func thresholdChart(t link.Threshold, all []link.Threshold) plot.Dose {
	d := plot.Dose{Title: marked("Threshold run: "+t.What+", in "+t.Excerpt, t.Simulated, t.Silent), XTitle: "dose, " + t.Unit, Chance: t.Chance,
		Threshold: t.Threshold, Lo: t.ThresholdInterval[0], Hi: t.ThresholdInterval[1], Linear: t.Levels()}
	if metric, ok := t.Against(); ok {
		d.Published = published(metric)
	}
	for _, p := range t.Points {
		d.Points = append(d.Points, plot.DosePoint{X: p.Dose, Y: p.Proportion, Lo: p.Interval[0], Hi: p.Interval[1]})
	}
	for _, c := range t.Curve {
		d.FitX, d.FitY = append(d.FitX, c.Difference), append(d.FitY, c.Proportion)
	}
	d.Notes = capitalised([]string{t.Says})
	for _, other := range all {
		if other.Kind == "listener" && other.Listener != t.Listener && t.SameLadder(other) && len(d.Notes) <= mostNotes {
			d.Notes = append(d.Notes, capitalised([]string{other.Says})...)
		}
	}
	return d
}
