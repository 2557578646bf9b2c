package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"heardiff/trials/link"
)

// linkMeasuredText prints what the chains of each comparison measure: a row for each metric that is known of either and no detail of another, the null,
// and whether both chains deliver the words that they are sent.
func linkMeasuredText(w io.Writer, rows []link.Row) {
	var done []string
	for _, v := range rows {
		if slices.Contains(done, v.Comparison) {
			continue
		}
		t := newTable("figure", "A", "B", "B less A", "recorder's floor", "own limit", "unit")
		t.right(1, 2, 3, 4, 5)
		for _, p := range v.Measured.Figures {
			if !p.Detail && known(p.Pair) {
				t.row(append([]string{p.Name}, pairText(p)...)...)
			}
		}
		if null := v.Measured.NullDB; !math.IsNaN(null) {
			name, unit := link.NullDepth.Words()
			t.row(name, "", "", figure(null, "%.1f"), "", "", unit)
		}
		if delivered := v.Measured.BitPerfect; delivered != nil {
			t.row("words delivered as sent", "", "", yesNo(delivered), "", "", "")
		}
		if len(t.rows) > 0 {
			t.print(w, fmt.Sprintf("\nMeasured, %s:\n", v.Comparison))
			done = append(done, v.Comparison)
		}
	}
	if len(done) > 0 {
		fmt.Fprint(w, "\nA and B are the chains in this order. Own limit: the least that these captures could have shown. \"≤\" is a bound, where a chain cannot be distinguished from the recorder, and \"> +9\" a difference of more than that. Words are delivered as sent where both chains do so. A dash is not known.\n")
	}
}

func known(p link.Pair) bool {
	return slices.ContainsFunc([]float64{p.A, p.B, p.AAtMost, p.BAtMost}, func(v float64) bool { return !math.IsNaN(v) })
}

// pairText returns the cells of a pair: both chains, the difference, the recorder's floor, the least that could have been seen, and the unit.
func pairText(p link.MetricPair) []string {
	v, unit := link.Scaled(p.Unit, p.A, p.B, p.AAtMost, p.BAtMost, p.Difference, p.DifferenceBeyond, p.Floor, p.Limit, p.Uncertainty)
	write := plainDigits
	if strings.HasPrefix(unit, "dB") {
		write = func(v float64) string { return figure(v, "%.1f") }
	}
	atMost := func(v, bound float64) string {
		if math.IsNaN(v) && !math.IsNaN(bound) {
			return "≤ " + write(bound)
		}
		return write(v)
	}
	difference := signed(v[4], write)
	switch {
	case v[5] > 0:
		difference = "> " + signed(v[5], write)
	case v[5] < 0:
		difference = "< " + signed(v[5], write)
	case v[8] > 0:
		difference = give(v[4], v[8], "+")
	}
	return []string{atMost(v[0], v[2]) + enteredMark(p.EnteredA), atMost(v[1], v[3]) + enteredMark(p.EnteredB), difference, write(v[6]), write(v[7]), unit}
}

// enteredMark marks a figure that was not measured here.
func enteredMark(yes bool) string {
	if yes {
		return " (entered)"
	}
	return ""
}

// signed writes a figure of either sign.
func signed(v float64, write func(float64) string) string {
	text := write(v)
	if v > 0 && strings.ContainsAny(text, "123456789") {
		return "+" + text
	}
	return text
}

// plainDigits writes a figure with three digits, or a dash where it is not measurable.
func plainDigits(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strings.Replace(link.Digits(v), "-", "−", 1)
}

// quantity writes a figure with three digits in the unit of time that suits it, or a dash where it is not measurable.
func quantity(v float64, unit string) string {
	scaled, unit := link.Scaled(unit, v)
	if math.IsNaN(v) {
		return "–"
	}
	return plainDigits(scaled[0]) + " " + unit
}
