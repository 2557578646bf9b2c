package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"heardiff/cmd/heardiff/internal/printable"
)

// table prints aligned columns: text to the left, numbers to the right.
type table struct {
	head    []string
	rows    [][]string
	toRight map[int]bool
}

func newTable(head ...string) *table { return &table{head: head, toRight: map[int]bool{}} }

// right aligns the named columns, from 0, to the right.
func (t *table) right(columns ...int) {
	for _, c := range columns {
		t.toRight[c] = true
	}
}

// row adds a row. A cell is one line: what would break it is escaped.
func (t *table) row(cells ...string) {
	for i, c := range cells {
		cells[i] = printable.Text(c)
	}
	t.rows = append(t.rows, cells)
}

// print writes before and then the table, or nothing where it has no rows.
func (t *table) print(w io.Writer, before string) {
	if len(t.rows) == 0 {
		return
	}
	width := make([]int, len(t.head))
	for _, r := range append([][]string{t.head}, t.rows...) {
		for c, cell := range r {
			width[c] = max(width[c], utf8.RuneCountInString(cell))
		}
	}
	fmt.Fprint(w, before)
	for _, r := range append([][]string{t.head}, t.rows...) {
		fmt.Fprintln(w, strings.TrimRight(t.line(r, width), " "))
	}
}

func (t *table) line(cells []string, width []int) string {
	var b strings.Builder
	for c, cell := range cells {
		pad := strings.Repeat(" ", width[c]-utf8.RuneCountInString(cell))
		switch {
		case t.toRight[c]:
			b.WriteString(pad + cell)
		default:
			b.WriteString(cell + pad)
		}
		b.WriteString("  ")
	}
	return b.String()
}

// optional formats a number that may not have been given.
func optional(v *float64, format string) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf(format, *v)
}

// figure formats v, or a dash where it is not measurable. What rounds to nothing has no sign.
func figure(v float64, format string) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	text := fmt.Sprintf(format, v)
	if !strings.ContainsAny(text, "123456789") {
		return strings.TrimLeft(text, "+-")
	}
	return strings.Replace(text, "-", "−", 1)
}

// decimals writes two places, number three.
func decimals(v float64) string { return figure(v, "%.2f") }
func number(v float64) string   { return figure(v, "%.3f") }

// probability formats a p value: three places, never 0.000.
func probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "–"
	case p < 0.001:
		return "<0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
