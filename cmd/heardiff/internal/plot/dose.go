package plot

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Dose is how often listeners are right against the size of what they listen for. Fit, if any, is the fitted curve;
// Threshold and its interval its midpoint. Published thresholds are drawn next to it, numbered, each with its citation.
type Dose struct {
	Title     string
	XTitle    string // with the unit, "random jitter, ps RMS"
	Chance    float64
	Points    []DosePoint
	FitX      []float64
	FitY      []float64
	Threshold float64 // NaN: none
	Lo, Hi    float64 // NaN: no such end
	Published []Published
	Notes     []string
	// Linear draws x as it is, for levels in decibels; else its logarithm.
	Linear bool
}

// DosePoint is the proportion correct at one dose, with its interval.
type DosePoint struct {
	X, Y, Lo, Hi, Weight float64
	Name                 string
	// Bound is +1 where the dose is X at the least, −1 where it is X at the most, 0 where it is X: a bound is drawn as an arrow.
	Bound int
	// BelowLimit marks a dose smaller than the least that a measurement could have shown.
	BelowLimit bool
}

// Published is a finding of others, on the chart's x axis, and where it was read: a band from From to To, a line where they are equal.
type Published struct {
	From, To float64
	Citation string
}

// span is the band in words.
func (p Published) span() string {
	if p.From == p.To {
		return plainNumber(p.To)
	}
	return plainNumber(p.From) + " to " + plainNumber(p.To)
}

// Words implements Chart.
func (d Dose) Words() Words {
	var b strings.Builder
	fmt.Fprintf(&b, "Proportion correct against %s, %d points. ", d.XTitle, len(d.Points))
	if d.fitted() {
		fmt.Fprintf(&b, "Threshold %s", plainNumber(roundTo(d.Threshold, 3)))
		if !math.IsNaN(d.Lo) && !math.IsNaN(d.Hi) {
			fmt.Fprintf(&b, ", interval %s to %s", plainNumber(roundTo(d.Lo, 3)), plainNumber(roundTo(d.Hi, 3)))
		}
		b.WriteString(". ")
	}
	for _, p := range d.Published {
		fmt.Fprintf(&b, "Published: %s, %s. ", p.span(), p.Citation)
	}
	return Words{d.Title, strings.TrimSpace(b.String())}
}

func (d Dose) fitted() bool { return d.drawable(d.Threshold) && !math.IsInf(d.Threshold, 0) }

// drawable reports whether x has a place on the axis.
func (d Dose) drawable(x float64) bool { return x > 0 || d.Linear && !math.IsNaN(x) }

func (d Dose) sheet() sheet {
	var xs []float64
	for _, p := range d.Points {
		xs = append(xs, p.X)
	}
	for _, p := range d.Published {
		xs = append(xs, p.From, p.To)
	}
	if d.fitted() {
		xs = append(xs, d.Threshold)
	}
	x := axis{log: true, title: d.XTitle, label: shortNumber}
	x.lo, x.hi = logRange(xs, 1, 1000)
	if d.Linear {
		x = axis{title: d.XTitle, label: shortNumber}
		x.lo, x.hi = linearRange(xs, 5, -100, -40)
	}
	s := sheet{title: d.Title, plot: 300, x: x,
		y: axis{lo: 0, hi: 1, title: "proportion correct", label: percent, step: 0.25}}
	s.key = append(s.key, keyEntry{"counted, with 95 % interval", func(c Canvas, b rect) {
		m := b.middle()
		c.Line([]Point{{m.X, b.top}, {m.X, b.bottom}}, Pen{Ink: Series1, Width: 1.4})
		mark(c, m, 0, 3.6, Series1, false)
	}}, ruleKey("chance", Accent, nil))
	s.key = append(s.key, d.boundKeys()...)
	if len(d.FitX) > 0 {
		s.key = append(s.key, lineKey("fit", 1))
	}
	if d.fitted() {
		s.key = append(s.key, keyEntry{"threshold with interval", func(c Canvas, b rect) {
			m := b.middle()
			c.Line([]Point{{b.left, m.Y}, {b.right, m.Y}}, Pen{Ink: Series2, Width: 3})
			mark(c, m, 2, 4, Series2, false)
		}})
	}
	for i, p := range d.Published {
		s.notes = append(s.notes, fmt.Sprintf("(%d) published: %s", i+1, p.Citation))
	}
	s.notes = append(s.notes, d.Notes...)
	return s
}

// boundKeys explain arrows and hollow marks, where there are any.
func (d Dose) boundKeys() []keyEntry {
	var keys []keyEntry
	for _, k := range []struct {
		text string
		of   func(p DosePoint) bool
		draw func(c Canvas, at Point)
	}{
		{"at least this much", func(p DosePoint) bool { return p.Bound > 0 }, func(c Canvas, at Point) { arrow(c, Point{at.X - arrowLength/2, at.Y}, 1, Series1) }},
		{"at most this much", func(p DosePoint) bool { return p.Bound < 0 }, func(c Canvas, at Point) { arrow(c, Point{at.X + arrowLength/2, at.Y}, -1, Series1) }},
		{"hollow: smaller than its captures could tell", func(p DosePoint) bool { return p.BelowLimit }, func(c Canvas, at Point) { mark(c, at, 0, 4, Series1, true) }},
	} {
		if slices.ContainsFunc(d.Points, k.of) {
			keys = append(keys, keyEntry{k.text, func(c Canvas, b rect) { k.draw(c, b.middle()) }})
		}
	}
	return keys
}

// arrowLength is the length of an arrow from a bound, in the units of the chart.
const arrowLength = 18

// arrow draws from a bound towards where the value lies: to the right for +1, to the left for −1.
func arrow(c Canvas, from Point, direction float64, ink Ink) {
	tip := Point{from.X + direction*arrowLength, from.Y}
	c.Line([]Point{{from.X, from.Y - 4}, {from.X, from.Y + 4}}, Pen{Ink: ink, Width: 1.6})
	c.Line([]Point{from, {tip.X - direction*5, tip.Y}}, Pen{Ink: ink, Width: 1.6})
	c.Area([]Point{tip, {tip.X - direction*7, tip.Y - 4}, {tip.X - direction*7, tip.Y + 4}}, ink, 1)
}

// Height implements Chart.
func (d Dose) Height(width float64) float64 { return d.sheet().height(width) }

// mostNamedDoses is up to how many points a picture names them: more names would not find room. A judgement, no source; no figure depends on it.
const mostNamedDoses = 24

// Draw implements Chart.
func (d Dose) Draw(c Canvas, width, _ float64) {
	s := d.sheet()
	area, names := s.draw(c, width)
	point := pointsOf(s, area)
	c.Line([]Point{point(s.x.lo, d.Chance), point(s.x.hi, d.Chance)}, Pen{Ink: Accent, Width: 1.5})
	for i, p := range d.Published {
		at, from := point(p.To, 0), point(p.From, 0)
		c.Area([]Point{{from.X, area.top}, {at.X, area.top}, {at.X, area.bottom}, {from.X, area.bottom}}, Muted, 0.2)
		for _, x := range []float64{from.X, at.X} {
			c.Line([]Point{{x, area.top}, {x, area.bottom}}, Pen{Ink: Muted, Width: 1.2, Dash: []float64{2, 4}})
		}
		names.put(Point{at.X, area.top + 10}, "("+strconv.Itoa(i+1)+")", Type{Size: smallSize, Ink: Text, Bold: true})
	}
	for _, piece := range unbroken(d.FitX, d.FitY, point) {
		c.Line(piece, Pen{Ink: Series2, Width: 1.9, Dash: dashOf(1)})
	}
	for _, p := range d.Points {
		if !d.drawable(p.X) || math.IsNaN(p.Y) {
			continue
		}
		c.Line([]Point{point(p.X, p.Lo), point(p.X, p.Hi)}, Pen{Ink: Series1, Width: 1.4})
		at := point(p.X, p.Y)
		if p.Bound != 0 {
			arrow(c, at, float64(p.Bound), Series1)
		} else {
			mark(c, at, 0, 4, Series1, p.BelowLimit)
		}
		names.keepAround(at, 5)
	}
	for _, p := range d.Points {
		if d.drawable(p.X) && p.Name != "" && len(d.Points) <= mostNamedDoses && !math.IsNaN(p.Y) {
			names.put(point(p.X, p.Y), p.Name, Type{Size: smallSize, Ink: Text})
		}
	}
	d.threshold(c, point, area, s)
}

func (d Dose) threshold(c Canvas, point func(x, y float64) Point, area rect, s sheet) {
	if !d.fitted() {
		return
	}
	mid := (1 + d.Chance) / 2
	lo, hi := d.Lo, d.Hi
	if math.IsNaN(lo) {
		lo = s.x.lo
	}
	if math.IsNaN(hi) {
		hi = s.x.hi
	}
	c.Line([]Point{point(lo, mid), point(hi, mid)}, Pen{Ink: Series2, Width: 3})
	mark(c, point(d.Threshold, mid), 2, 4.5, Series2, false)
}

// Power is the chance that a plan finds a listener, against how often that listener is right.
type Power struct {
	Title    string
	Trials   int
	PTrue    []float64
	Power    []float64
	Smallest float64 // the proportion correct of the smallest effect worth finding; 0: none
	Chance   float64 // of a guesser, where the axis begins
}

// Words implements Chart.
func (p Power) Words() Words {
	s := fmt.Sprintf("The chance that %d trials find a listener, against the proportion that listener gets right.", p.Trials)
	if v := p.at(p.Smallest); p.Smallest > 0 && !math.IsNaN(v) {
		s += fmt.Sprintf(" At the plan's smallest effect, %s right: %s.", percent(p.Smallest), percent(v))
	}
	return Words{p.Title, s}
}

// at returns the power at a proportion, by linear interpolation between its neighbours.
func (p Power) at(x float64) float64 {
	for i := 1; i < len(p.PTrue); i++ {
		if a, b := p.PTrue[i-1], p.PTrue[i]; x >= a && x <= b {
			return p.Power[i-1] + (p.Power[i]-p.Power[i-1])*(x-a)/(b-a)
		}
	}
	return math.NaN()
}

func (p Power) sheet() sheet {
	s := sheet{title: p.Title, plot: 240,
		x: axis{lo: p.Chance, hi: 1, title: "a listener who is right this often", label: percent, step: 0.1},
		y: axis{lo: 0, hi: 1, title: "is found with this chance", label: percent, step: 0.2}}
	s.key = append(s.key, lineKey(strconv.Itoa(p.Trials)+" trials", 0))
	if p.Smallest > 0 {
		s.key = append(s.key, ruleKey("smallest effect of the plan", Muted, []float64{3, 3}))
	}
	return s
}

// Height implements Chart.
func (p Power) Height(width float64) float64 { return p.sheet().height(width) }

// Draw implements Chart.
func (p Power) Draw(c Canvas, width, _ float64) {
	s := p.sheet()
	area, names := s.draw(c, width)
	point := pointsOf(s, area)
	for _, piece := range unbroken(p.PTrue, p.Power, point) {
		c.Line(piece, Pen{Ink: Series1, Width: 2})
	}
	if v := p.at(p.Smallest); p.Smallest > 0 && !math.IsNaN(v) {
		at := point(p.Smallest, v)
		c.Line([]Point{{at.X, area.top}, {at.X, area.bottom}}, Pen{Ink: Muted, Width: 1.2, Dash: []float64{3, 3}})
		mark(c, at, 0, 4, Series1, false)
		names.put(at, "found in "+percent(v), Type{Size: smallSize, Ink: Text})
	}
}
