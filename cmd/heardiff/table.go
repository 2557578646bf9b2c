package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/printable"
)

// table is aligned columns: text to the left, numbers to the right. Where it has no heads the last cell of each row is a remark.
type table struct {
	head    []string
	rows    [][]string
	toRight map[int]bool
	keys    int
}

func newTable(head ...string) *table { return &table{head: head, toRight: map[int]bool{}} }

// keyed names the first columns as those that say what a row is of: where the table is too wide they are repeated. Else it is the
// first one.
func (t *table) keyed(columns int) { t.keys = columns }

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

// print writes before and then the table, to be set by lay, or nothing where it has no rows.
func (t *table) print(w io.Writer, before string) {
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprint(w, before)
	if len(t.head) > 0 {
		head := slices.Clone(t.head)
		for c := range t.keys {
			head[c] = keyMark + head[c]
		}
		fmt.Fprintln(w, headMark+t.marked(head))
	}
	for _, r := range t.rows {
		fmt.Fprintln(w, rowMark+t.marked(r))
	}
}

func (t *table) marked(cells []string) string {
	var b strings.Builder
	for c, cell := range cells {
		if c > 0 {
			b.WriteString(cellMark)
		}
		if t.toRight[c] {
			b.WriteString(rightMark)
		}
		b.WriteString(cell)
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

// give writes a figure with its standard error: as many places as the error has two digits in, four where it is not known. sign
// is "+" where a positive figure bears one.
func give(v, se float64, sign string) string {
	if !(se > 0) || math.IsInf(se, 0) {
		return figure(v, "%"+sign+".4f")
	}
	places := min(9, max(0, 1-int(math.Floor(math.Log10(se)))))
	return figure(v, fmt.Sprintf("%%%s.%df", sign, places)) + " ± " + fmt.Sprintf("%.*f", places, se)
}

// decimals writes a figure with two decimals, number with three.
func decimals(v float64) string { return figure(v, "%.2f") }
func number(v float64) string   { return figure(v, "%.3f") }
