package plot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Stability is how steady clocks are against observation time, both on logarithmic axes: above the Allan deviation, a ratio of
// frequencies, below TDEV and MTIE in nanoseconds. Limit, if any, is the smallest Allan deviation that can be measured.
type Stability struct {
	Title     string
	Clocks    []Clock
	Limit     []StabilityPoint
	LimitName string
}

// Clock holds the figures of one clock, by observation time.
type Clock struct {
	Name              string
	Allan, TDEV, MTIE []StabilityPoint
}

// StabilityPoint is a figure at an observation time. SE is its standard error, 0: not known. AtFloor marks one that the noise or the
// recording set-up explains.
type StabilityPoint struct {
	TauS, Y, SE float64
	AtFloor     bool
}

// Words implements Chart.
func (s Stability) Words() Words {
	var b strings.Builder
	b.WriteString("Allan deviation, and TDEV and MTIE in nanoseconds, against observation time in seconds. ")
	for _, c := range s.Clocks {
		for _, p := range c.Allan {
			if p.TauS == 1 {
				fmt.Fprintf(&b, "%s: Allan deviation %s at 1 s. ", c.Name, power(p.Y))
			}
		}
	}
	return Words{s.Title, strings.TrimSpace(b.String())}
}

// Height implements Chart.
func (s Stability) Height(width float64) float64 {
	return s.allanSheet().height(width) + s.timeSheet().height(width)
}

// Draw implements Chart.
func (s Stability) Draw(c Canvas, width, _ float64) {
	upper, lower := s.allanSheet(), s.timeSheet()
	s.drawAllan(c, upper, width)
	s.drawTimes(below{c, upper.height(width)}, lower, width)
}

func (s Stability) allanSheet() sheet {
	var lists [][]StabilityPoint
	for _, c := range s.Clocks {
		lists = append(lists, c.Allan)
	}
	sheet := s.sheet(append(lists, s.Limit), 230, "Allan deviation, with its standard error", power)
	sheet.title = s.Title
	for i, c := range s.Clocks {
		sheet.key = append(sheet.key, lineKey(c.Name, i))
	}
	if len(s.Limit) > 0 {
		sheet.key = append(sheet.key, areaKey(s.LimitName, FloorInk, 0.3))
	}
	return sheet
}

func (s Stability) timeSheet() sheet {
	var lists [][]StabilityPoint
	for _, c := range s.Clocks {
		lists = append(lists, c.TDEV, c.MTIE)
	}
	sheet := s.sheet(lists, 230, "time, ns", plainNumber)
	entry := func(name string, style int, hollow bool) keyEntry {
		return keyEntry{name, func(c Canvas, b rect) { mark(c, b.middle(), style, 3.8, Muted, hollow) }}
	}
	sheet.key = []keyEntry{entry("MTIE", mtieMark, false), entry("TDEV", tdevMark, false)}
	if s.anyAtFloor() {
		sheet.key = append(sheet.key, entry("hollow: no more than the noise or the set-up explains", tdevMark, true))
	}
	return sheet
}

// The marks of the two figures in time, the same for every clock: the ink tells the clocks apart.
const (
	tdevMark = 0
	mtieMark = 1
)

func (s Stability) anyAtFloor() bool {
	for _, c := range s.Clocks {
		for _, list := range [][]StabilityPoint{c.Allan, c.TDEV, c.MTIE} {
			for _, p := range list {
				if p.AtFloor {
					return true
				}
			}
		}
	}
	return false
}

// sheet returns axes around lists of points; the time axes of both sheets are the same.
func (s Stability) sheet(lists [][]StabilityPoint, height float64, yTitle string, label func(float64) string) sheet {
	var taus, ys []float64
	for _, c := range s.Clocks {
		for _, p := range c.Allan {
			taus = append(taus, p.TauS)
		}
	}
	for _, list := range lists {
		for _, p := range list {
			ys = append(ys, p.Y)
		}
	}
	out := sheet{plot: height, left: margin + textWidth("5·10⁻¹²", smallSize, false) + 8,
		x: axis{log: true, title: "observation time, s", label: plainNumber}, y: axis{log: true, title: yTitle, label: label}}
	out.x.lo, out.x.hi = logRange(taus, 0.1, 10)
	if lo, hi := extent(taus); hi > lo {
		out.x.lo, out.x.hi = lo/1.12, hi*1.12 // room for the outermost marks
	}
	out.y.lo, out.y.hi = logRange(ys, 1e-12, 1e-9)
	return out
}

func (s Stability) drawAllan(c Canvas, sh sheet, width float64) {
	area, names := sh.draw(c, width)
	point := pointsOf(sh, area)
	for _, piece := range unbroken(columns(s.Limit, point)) {
		closed := append(append([]Point{{piece[0].X, area.bottom}}, piece...), Point{piece[len(piece)-1].X, area.bottom})
		c.Area(closed, FloorInk, 0.25)
		c.Line(piece, Pen{Ink: FloorInk, Width: 1})
	}
	for i, clock := range s.Clocks {
		for _, p := range clock.Allan {
			if p.SE > 0 && p.Y > 0 {
				at, lo := point(p.TauS, p.Y+p.SE), point(p.TauS, math.Max(p.Y-p.SE, sh.y.lo))
				c.Line([]Point{at, lo}, Pen{Ink: seriesInk(i), Width: 1.3})
			}
		}
		s.curve(c, clock.Allan, point, names, i, i)
	}
	for _, clock := range s.Clocks {
		for _, p := range clock.Allan {
			if p.TauS == 1 && p.Y > 0 {
				names.put(point(1, p.Y), power(p.Y)+" at 1 s", Type{Size: smallSize, Ink: Text})
			}
		}
	}
}

func (s Stability) drawTimes(c Canvas, sh sheet, width float64) {
	area, names := sh.draw(c, width)
	point := pointsOf(sh, area)
	for i, clock := range s.Clocks {
		s.curve(c, clock.TDEV, point, names, i, tdevMark)
		s.curve(c, clock.MTIE, point, names, i, mtieMark)
	}
	for _, clock := range s.Clocks {
		for _, list := range [][]StabilityPoint{clock.MTIE, clock.TDEV} {
			for _, p := range list {
				if p.TauS == 1 && p.Y > 0 {
					names.put(point(1, p.Y), plainNumber(roundTo(p.Y, 2))+" ns", Type{Size: smallSize, Ink: Text})
				}
			}
		}
	}
}

// curve joins the points of the i-th clock, and marks them in a style.
func (s Stability) curve(c Canvas, list []StabilityPoint, point func(x, y float64) Point, names *labels, i, style int) {
	for _, piece := range unbroken(columns(list, point)) {
		c.Line(piece, Pen{Ink: seriesInk(i), Width: 1.7, Dash: dashOf(i)})
		names.keepAlong(piece, 2)
	}
	for _, p := range list {
		if !(p.Y > 0) {
			continue
		}
		at := point(p.TauS, p.Y)
		mark(c, at, style, 3.8, seriesInk(i), p.AtFloor)
		names.keepAround(at, 5)
	}
}

// columns returns what unbroken takes; values that have no place on a logarithmic axis count as not measurable.
func columns(list []StabilityPoint, point func(x, y float64) Point) (x, y []float64, to func(x, y float64) Point) {
	for _, p := range list {
		v := p.Y
		if !(v > 0) {
			v = math.NaN()
		}
		x, y = append(x, p.TauS), append(y, v)
	}
	return x, y, point
}

// pointsOf returns a function that turns values of both axes into a point of the plot area.
func pointsOf(s sheet, area rect) func(x, y float64) Point {
	return func(x, y float64) Point {
		return Point{s.x.at(x, area.left, area.right), s.y.at(y, area.bottom, area.top)}
	}
}

// power writes a small number as a power of ten, such as 3.2·10⁻¹¹.
func power(v float64) string {
	if !(v > 0) {
		return plainNumber(v)
	}
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', 1, 64), "e")
	n, err := strconv.Atoi(exponent)
	if err != nil { // an infinity
		return ""
	}
	raised := strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹").Replace(strconv.Itoa(n))
	switch mantissa = strings.TrimSuffix(mantissa, ".0"); mantissa {
	case "1":
		return "10" + raised
	}
	return mantissa + "·10" + raised
}

// below is a canvas whose top is so many pixels down another.
type below struct {
	Canvas
	down float64
}

// Line implements Canvas.
func (b below) Line(points []Point, pen Pen) { b.Canvas.Line(b.moved(points), pen) }

// Area implements Canvas.
func (b below) Area(points []Point, ink Ink, opacity float64) {
	b.Canvas.Area(b.moved(points), ink, opacity)
}

// Disc implements Canvas.
func (b below) Disc(at Point, radius float64, ink Ink) {
	b.Canvas.Disc(Point{at.X, at.Y + b.down}, radius, ink)
}

// Text implements Canvas.
func (b below) Text(at Point, s string, t Type) { b.Canvas.Text(Point{at.X, at.Y + b.down}, s, t) }

func (b below) moved(points []Point) []Point {
	out := make([]Point, len(points))
	for i, p := range points {
		out[i] = Point{p.X, p.Y + b.down}
	}
	return out
}
