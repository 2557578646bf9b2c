package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// byMetrics shows a kind by the metrics and the curve that it declares: what a kind without tables and pictures of its own has.
func byMetrics(k study.Kind) shown {
	measured := k.Measurement.Any()
	as := measuredAs[any]{
		Measured: measured,
		text:     func(result any) string { return metricsText(k, measured, result) },
		words: func(result any) string {
			var all []string
			measured.Figures(result, func(d link.Declared, f link.Figure) { all = append(all, d.Name+" "+metricText(d, f)) })
			return strings.Join(all, ", ")
		},
	}
	if measured.Curve == nil {
		return as
	}
	as.chart = func(captures []named[any], floor *named[any]) plot.Chart {
		return linesOf(measured.Curve, k.Name+" of "+titled(captures), captures, floor)
	}
	as.together = func(chains []named[any], floor *named[any]) (plot.Chart, bool) {
		chart := linesOf(measured.Curve, k.Name+" of the chains", chains, floor)
		return chart, len(chart.Lines) > 0
	}
	return as
}

func metricsText(k study.Kind, measured study.Measured[any], result any) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n\n", k.Name, k.About)
	t := newTable("figure", "value", "least measurable")
	t.right(1, 2)
	measured.Figures(result, func(d link.Declared, f link.Figure) {
		t.row(d.Name, metricText(d, f), quantity(f.Limit, d.Unit))
	})
	t.print(&b, "")
	warningsText(&b, *measured.Warnings(&result))
	return b.String()
}

// linesOf draws the curve of each result, and the set-up's; one without points is left out.
func linesOf(curve func(any) study.Curve, title string, results []named[any], floor *named[any]) plot.Lines {
	chart := plot.Lines{Title: title}
	if floor != nil {
		results = append(slices.Clip(results), *floor)
	}
	for _, r := range results {
		if drawn := curve(r.result); len(drawn.X) > 0 {
			chart.Across, chart.Along = drawn.Across, drawn.Along
			chart.Lines = append(chart.Lines, plot.Line{Name: r.name, X: drawn.X, Y: drawn.Y})
		}
	}
	return chart
}

// metricText writes a figure, or the bound where it is at the floor.
func metricText(d link.Declared, f link.Figure) string {
	if math.IsNaN(f.Value) && !math.IsNaN(f.Limit) {
		return "< " + quantity(f.Limit, d.Unit)
	}
	return quantity(f.Value, d.Unit)
}
