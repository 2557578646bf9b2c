package plot

import (
	"fmt"
	"math"
	"strings"
)

// Forest sets each result's interval against chance: listeners, groups, and the pooled result as a diamond.
type Forest struct {
	Title string
	Rows  []ForestRow
	// Chance is the proportion correct of a guesser; Smallest, if above 0, the smallest worth finding.
	Chance, Smallest float64
	Notes            []string
}

// RowKind says what a row of a forest is.
type RowKind uint8

// The kinds of row.
const (
	One    RowKind = iota // a listener
	Group                 // a group of listeners
	Pooled                // everybody
)

// ForestRow is one result: the proportion correct, its interval, and what is said of it.
type ForestRow struct {
	Name         string
	Kind         RowKind
	Estimate     float64
	Lo, Hi       float64
	Weight       float64 // trials: the mark's size
	Counts, Said string  // "12 of 16", "heard"
}

// said is the text to the right of the row.
func (r ForestRow) said() string {
	if r.Counts == "" || r.Said == "" {
		return r.Counts + r.Said
	}
	return r.Counts + ": " + r.Said
}

// mostSpoken is how many rows of a chart are put into words. A judgement, no source; no figure depends on it.
const mostSpoken = 12

// Words implements Chart.
func (f Forest) Words() Words {
	var b strings.Builder
	fmt.Fprintf(&b, "Proportion correct with its interval, against chance at %s. ", percent(f.Chance))
	for i, r := range f.Rows {
		if i == mostSpoken {
			fmt.Fprintf(&b, "And %d more, in the table. ", len(f.Rows)-i)
			break
		}
		fmt.Fprintf(&b, "%s: %s, %s to %s. ", r.Name, percent(r.Estimate), percent(r.Lo), percent(r.Hi))
	}
	return Words{f.Title, strings.TrimSpace(b.String())}
}

func (f Forest) rowHeight(width float64) float64 {
	if width < narrow {
		return 40
	}
	return 25
}

func (f Forest) sheet(width float64) sheet {
	lo, hi := 0.0, 1.0
	s := sheet{title: f.Title, notes: f.Notes, plot: float64(len(f.Rows))*f.rowHeight(width) + 8,
		x: axis{lo: lo, hi: hi, title: "proportion correct", label: percent}}
	s.key = []keyEntry{
		{"listener", func(c Canvas, b rect) { whisker(c, b.left, b.right, b.middle(), One, 4, Series1) }},
		{"group or all", func(c Canvas, b rect) { whisker(c, b.left, b.right, b.middle(), Pooled, 4, Series1) }},
		ruleKey("chance", Accent, nil),
	}
	if f.Smallest > 0 {
		s.key = append(s.key, ruleKey("smallest effect of the plan", Muted, []float64{3, 3}))
	}
	s.left, s.right = margin, margin
	if width >= narrow {
		s.left, s.right = f.columns(width)
	}
	return s
}

// columns returns the room for names and for what is said, as the texts need within a share of the width.
func (f Forest) columns(width float64) (left, right float64) {
	for _, r := range f.Rows {
		left = math.Max(left, textWidth(r.Name, textSize, r.Kind != One))
		right = math.Max(right, textWidth(r.said(), smallSize, false))
	}
	return math.Min(left+margin+12, width*0.3), math.Min(right+margin+12, width*0.3)
}

// Height implements Chart.
func (f Forest) Height(width float64) float64 { return f.sheet(width).height(width) }

// Draw implements Chart.
func (f Forest) Draw(c Canvas, width, _ float64) {
	s := f.sheet(width)
	area, _ := s.draw(c, width)
	f.rule(c, s, area, f.Chance, Pen{Ink: Accent, Width: 1.5})
	if f.Smallest > 0 {
		f.rule(c, s, area, f.Smallest, Pen{Ink: Muted, Width: 1.2, Dash: []float64{3, 3}})
	}
	most := 1.0
	for _, r := range f.Rows {
		most = math.Max(most, r.Weight)
	}
	for i, r := range f.Rows {
		y := area.top + (float64(i)+0.5)*f.rowHeight(width) + 4
		at := y
		if width < narrow {
			at = y + 10
		}
		f.texts(c, s, area, width, r, y)
		if math.IsNaN(r.Estimate) {
			continue
		}
		x := func(v float64) float64 { return s.x.at(v, area.left, area.right) }
		size := 3 + 3.5*math.Sqrt(r.Weight/most)
		whisker(c, x(r.Lo), x(r.Hi), Point{x(r.Estimate), at}, r.Kind, size, Series1)
	}
}

func (f Forest) rule(c Canvas, s sheet, area rect, v float64, pen Pen) {
	x := s.x.at(v, area.left, area.right)
	c.Line([]Point{{x, area.top}, {x, area.bottom}}, pen)
}

func (f Forest) texts(c Canvas, s sheet, area rect, width float64, r ForestRow, y float64) {
	name := Type{Size: textSize, Bold: r.Kind != One, Ink: Text}
	said := r.said()
	if width < narrow {
		room := textWidth(said, smallSize, false)
		c.Area(rect{area.left, y - 16, area.right, y + 2}.corners(), Paper, 0.8)
		c.Text(Point{margin, y - 2}, fit(r.Name, textSize, name.Bold, width-2*margin-room-10), name)
		c.Text(Point{width - margin, y - 2}, said, Type{Size: smallSize, Ink: Muted, Anchor: End})
		return
	}
	c.Text(Point{margin, y + 4}, fit(r.Name, textSize, name.Bold, area.left-margin-8), name)
	c.Text(Point{area.right + 10, y + 4}, fit(said, smallSize, false, width-area.right-10), Type{Size: smallSize, Ink: Muted})
}

// whisker draws an interval with its estimate: a square for one listener, a diamond as wide as the interval for many.
func whisker(c Canvas, lo, hi float64, at Point, kind RowKind, size float64, ink Ink) {
	if kind == One {
		c.Line([]Point{{lo, at.Y}, {hi, at.Y}}, Pen{Ink: ink, Width: 1.6})
		for _, end := range []float64{lo, hi} {
			c.Line([]Point{{end, at.Y - 3}, {end, at.Y + 3}}, Pen{Ink: ink, Width: 1.6})
		}
		mark(c, at, 1, size, ink, false)
		return
	}
	h := 6.5
	if kind == Group {
		h = 4.5
	}
	c.Area([]Point{{lo, at.Y}, {at.X, at.Y - h}, {hi, at.Y}, {at.X, at.Y + h}}, ink, 0.9)
}
