package plot

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// Curve is one chain's figures over frequency, Hz ascending.
type Curve struct {
	Name string
	Hz   []float64
	Y    []float64
	// Spurs are its discrete lines, drawn as stems with heads so that they are never taken for the curve.
	Spurs []Spur
}

// Spur is one line of a spectrum, in the unit the chart says. Inherent marks what belongs to the test signal or the recording
// set-up and is not counted.
type Spur struct {
	Hz       float64
	Y        float64
	Inherent bool
}

// JitterSpectrum is the jitter of one or more chains against the offset from the tone. Curves hold the phase noise,
// what additive noise makes of it included, in ps/√Hz; spurs the deterministic part, in ps peak. Floor, if any, is the recording set-up's own.
type JitterSpectrum struct {
	Title  string
	Chains []Curve
	Floor  *Curve
}

// Words implements Chart.
func (j JitterSpectrum) Words() Words {
	var b strings.Builder
	b.WriteString("Phase noise, additive noise included, in picoseconds per root hertz as curves, deterministic lines in picoseconds peak as stems, against offset from the tone. ")
	for _, c := range j.Chains {
		n, worst := 0, Spur{}
		for _, s := range c.Spurs {
			if !s.Inherent {
				n++
				if s.Y > worst.Y {
					worst = s
				}
			}
		}
		fmt.Fprintf(&b, "%s: %d lines", c.Name, n)
		if n > 0 {
			fmt.Fprintf(&b, ", the largest %s ps at %s Hz", plainNumber(worst.Y), plainNumber(math.Round(worst.Hz)))
		}
		b.WriteString(". ")
	}
	return Words{j.Title, strings.TrimSpace(b.String())}
}

func (j JitterSpectrum) sheet() sheet {
	f := frequencyChart{curves: j.Chains, floor: j.Floor, logY: true}
	s := f.sheet(j.Title, "offset from the tone, Hz", "curves (phase noise, additive noise included): ps/√Hz · stems (lines): ps peak", 10, 10000)
	inherent := false
	for i, c := range j.Chains {
		if len(c.Spurs) > 0 {
			s.key = append(s.key, stemKey("line of "+c.Name, i, seriesInk(i), false))
		}
		for _, p := range c.Spurs {
			inherent = inherent || p.Inherent
		}
	}
	if inherent {
		s.key = append(s.key, stemKey("not counted: the test signal’s own, or at the floor", 0, Muted, true))
	}
	return s
}

// Height implements Chart.
func (j JitterSpectrum) Height(width float64) float64 { return j.sheet().height(width) }

// Draw implements Chart.
func (j JitterSpectrum) Draw(c Canvas, width, _ float64) {
	frequencyChart{curves: j.Chains, floor: j.Floor, logY: true, unit: "ps"}.draw(c, j.sheet(), width)
}

// ResponseDifference is B − A in dB against frequency in Hz. LimitDB, if above 0, shades what counts as matched.
type ResponseDifference struct {
	Title   string
	Curves  []Curve
	LimitDB float64
}

// Words implements Chart.
func (r ResponseDifference) Words() Words {
	var b strings.Builder
	b.WriteString("Difference in response against frequency. ")
	for _, c := range r.Curves {
		at, most := 0.0, 0.0
		for i, y := range c.Y {
			if math.Abs(y) > math.Abs(most) {
				at, most = c.Hz[i], y
			}
		}
		fmt.Fprintf(&b, "%s: at most %s dB, at %s Hz. ", c.Name, signed(most), plainNumber(math.Round(at)))
	}
	return Words{r.Title, strings.TrimSpace(b.String())}
}

func (r ResponseDifference) chart() frequencyChart {
	return frequencyChart{curves: r.Curves, limit: r.LimitDB, zero: true, unit: "dB"}
}

func (r ResponseDifference) sheet() sheet {
	s := r.chart().sheet(r.Title, "frequency, Hz", "B − A, dB", 20, 20000)
	if r.LimitDB > 0 {
		s.key = append(s.key, areaKey("within ±"+plainNumber(r.LimitDB)+" dB", FloorInk, 0.25))
	}
	return s
}

// Height implements Chart.
func (r ResponseDifference) Height(width float64) float64 { return r.sheet().height(width) }

// Draw implements Chart.
func (r ResponseDifference) Draw(c Canvas, width, _ float64) { r.chart().draw(c, r.sheet(), width) }

// frequencyChart is what all charts against a logarithmic frequency share.
type frequencyChart struct {
	curves []Curve
	floor  *Curve
	logY   bool
	zero   bool
	limit  float64
	step   float64
	unit   string
}

func (f frequencyChart) sheet(title, xTitle, yTitle string, lowHz, highHz float64) sheet {
	var hz, y, spurs []float64
	for _, c := range f.all() {
		hz = append(hz, c.Hz...)
		for _, s := range c.Spurs {
			hz, spurs = append(hz, s.Hz), append(spurs, s.Y)
		}
		_, thin := thinned(c, f.logY)
		y = append(y, thin...)
	}
	s := sheet{title: title, plot: 300, x: axis{log: true, title: xTitle, label: shortNumber}}
	s.x.lo, s.x.hi = lowHz, highHz
	if lo, hi := extent(hz); hi > lo {
		s.x.lo, s.x.hi = lo, hi
	}
	for _, c := range f.curves { // the heads of chains side by side need room at the edge
		for _, p := range c.Spurs {
			s.x.hi = math.Max(s.x.hi, 1.05*p.Hz)
			if p.Hz > 0 {
				s.x.lo = math.Min(s.x.lo, p.Hz/1.05)
			}
		}
	}
	s.y = f.yAxis(append(y, spurs...), yTitle)
	for i, c := range f.curves {
		s.key = append(s.key, lineKey(c.Name, i))
	}
	if f.floor != nil {
		s.key = append(s.key, areaKey(f.floor.Name+" (the limit of what can be measured)", FloorInk, 0.3))
	}
	return s
}

func (f frequencyChart) all() []Curve {
	if f.floor == nil {
		return f.curves
	}
	return append(append([]Curve(nil), f.curves...), *f.floor)
}

func (f frequencyChart) yAxis(values []float64, title string) axis {
	a := axis{title: title, log: f.logY}
	if f.logY {
		a.lo, a.hi = logRange(values, 0.01, 10)
		return a
	}
	if f.zero {
		values = append(values, f.limit, -f.limit, 0)
	}
	step := f.step
	if step == 0 {
		lo, hi := extentAny(values)
		step = niceStep(math.Max(hi-lo, 0.02) / 6)
	}
	a.lo, a.hi = linearRange(values, step, -1, 1)
	a.label = func(v float64) string {
		if f.zero {
			return signed(v)
		}
		return plainNumber(v)
	}
	a.step = f.step
	return a
}

func (f frequencyChart) draw(c Canvas, s sheet, width float64) rect {
	area, names := s.draw(c, width)
	point := pointsOf(s, area)
	if f.limit > 0 {
		top, bottom := s.y.at(f.limit, area.bottom, area.top), s.y.at(-f.limit, area.bottom, area.top)
		c.Area(rect{area.left, top, area.right, bottom}.corners(), FloorInk, 0.18)
	}
	if f.zero {
		c.Line([]Point{point(s.x.lo, 0), point(s.x.hi, 0)}, Pen{Ink: Axis, Width: 1.2})
	}
	if f.floor != nil {
		f.shade(c, *f.floor, area, point)
	}
	for i, curve := range f.curves {
		hz, y := thinned(curve, f.logY)
		for _, piece := range unbroken(hz, y, point) {
			c.Line(piece, Pen{Ink: seriesInk(i), Width: 1.7, Dash: dashOf(i)})
		}
	}
	f.stems(c, s, area, names)
	return area
}

// shade fills below the floor's curve.
func (f frequencyChart) shade(c Canvas, floor Curve, area rect, point func(hz, y float64) Point) {
	hz, y := thinned(floor, f.logY)
	for _, piece := range unbroken(hz, y, point) {
		closed := append(append([]Point{{piece[0].X, area.bottom}}, piece...), Point{piece[len(piece)-1].X, area.bottom})
		c.Area(closed, FloorInk, 0.25)
		c.Line(piece, Pen{Ink: FloorInk, Width: 1})
	}
}

// mostNamed is how many lines a picture names: more would be a table.
const mostNamed = 8

// Lines so near each other, in pixels, are drawn as one and need one name.
const (
	sameLine  = 16
	sameLevel = 6
)

// stems draws the spurs and names the largest.
func (f frequencyChart) stems(c Canvas, s sheet, area rect, names *labels) {
	type head struct {
		at   Point
		spur Spur
		ink  Ink
	}
	var heads []head
	have, nth := 0, 0
	for _, curve := range f.curves {
		if len(curve.Spurs) > 0 {
			have++
		}
	}
	for i, curve := range f.curves {
		if len(curve.Spurs) == 0 {
			continue
		}
		// Chains that share a line (the mains, say) are drawn side by side.
		offset := (float64(nth) - float64(have-1)/2) * 5
		nth++
		for _, p := range curve.Spurs {
			if !s.x.holds(p.Hz) {
				continue
			}
			at := Point{s.x.at(p.Hz, area.left, area.right) + offset, s.y.at(p.Y, area.bottom, area.top)}
			ink := seriesInk(i)
			if p.Inherent {
				ink = Muted
			}
			c.Line([]Point{{at.X, area.bottom}, at}, Pen{Ink: ink, Width: 1.4})
			mark(c, at, i, 3.8, ink, p.Inherent)
			names.keepAround(at, 5)
			names.keep(rect{at.X - 1.5, at.Y, at.X + 1.5, area.bottom})
			if !p.Inherent {
				heads = append(heads, head{at, p, ink})
			}
		}
	}
	sort.SliceStable(heads, func(i, k int) bool { return heads[i].spur.Y > heads[k].spur.Y })
	var named []Point
	for _, h := range heads {
		// The same line of another chain, at the same level, needs no second name.
		same := slices.ContainsFunc(named, func(p Point) bool { return math.Abs(p.X-h.at.X) < sameLine && math.Abs(p.Y-h.at.Y) < sameLevel })
		if len(named) == mostNamed || same {
			continue
		}
		y := roundTo(h.spur.Y, 2)
		if strings.HasPrefix(f.unit, "dB") { // digits of decibels are not significant digits: −103 is not −100
			y = math.Round(h.spur.Y)
		}
		if names.put(h.at, fmt.Sprintf("%s Hz, %s %s", plainNumber(roundTo(h.spur.Hz, 4)), plainNumber(y), f.unit),
			Type{Size: smallSize, Ink: Text}) {
			named = append(named, h.at)
		}
	}
}

// thinned returns at most some hundreds of points: where many share a pixel their power mean on a logarithmic axis
// (they are densities), else their mean.
func thinned(c Curve, powers bool) (hz, y []float64) {
	const perDecade = 180 // finer than a screen's pixels in these charts
	n := min(len(c.Hz), len(c.Y))
	for i := 0; i < n; {
		if c.Hz[i] <= 0 {
			i++
			continue
		}
		edge := c.Hz[i] * math.Pow(10, 1.0/perDecade)
		sumHz, sum, k := 0.0, 0.0, 0.0
		for ; i < n && (k == 0 || c.Hz[i] < edge); i++ {
			v := c.Y[i]
			if powers {
				v *= v
			}
			sumHz, sum, k = sumHz+c.Hz[i], sum+v, k+1
		}
		mean := sum / k
		if powers {
			mean = math.Sqrt(mean)
		}
		hz, y = append(hz, sumHz/k), append(y, mean)
	}
	return hz, y
}

// unbroken returns the stretches in which every number is measurable.
func unbroken(hz, y []float64, point func(hz, y float64) Point) [][]Point {
	var pieces [][]Point
	var piece []Point
	for i := range hz {
		if math.IsNaN(y[i]) || math.IsInf(y[i], 0) {
			if len(piece) > 1 {
				pieces = append(pieces, piece)
			}
			piece = nil
			continue
		}
		piece = append(piece, point(hz[i], y[i]))
	}
	if len(piece) > 1 {
		pieces = append(pieces, piece)
	}
	return pieces
}

func extent(values []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), 0
	for _, v := range values {
		if v > 0 && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return lo, hi
}

func extentAny(values []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if lo > hi {
		return 0, 0
	}
	return lo, hi
}

func names(curves []Curve) string {
	var all []string
	for _, c := range curves {
		all = append(all, c.Name)
	}
	return strings.Join(all, ", ")
}

func signed(v float64) string {
	if v > zeroBelow {
		return "+" + plainNumber(v)
	}
	return plainNumber(v)
}

// roundTo rounds v to so many significant digits.
func roundTo(v float64, digits int) float64 {
	if v == 0 {
		return 0
	}
	p := math.Pow(10, float64(digits)-1-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*p) / p
}
