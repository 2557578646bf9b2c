package main

import (
	"fmt"
	"math"
	"strings"

	"heardiff/trials/link"
	"heardiff/trials/study"
)

// byMetrics shows a kind by the metrics that it declares: what a kind without tables of its own has.
func byMetrics(k study.Kind) shown {
	measured := k.Measurement.Any()
	return measuredAs[any]{
		Measured: measured,
		text: func(result any) string {
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
		},
		words: func(result any) string {
			var all []string
			measured.Figures(result, func(d link.Declared, f link.Figure) { all = append(all, d.Name+" "+metricText(d, f)) })
			return strings.Join(all, ", ")
		},
	}
}

// metricText writes a figure, or the bound where it is at the floor.
func metricText(d link.Declared, f link.Figure) string {
	if math.IsNaN(f.Value) && !math.IsNaN(f.Limit) {
		return "< " + quantity(f.Limit, d.Unit)
	}
	return quantity(f.Value, d.Unit)
}
