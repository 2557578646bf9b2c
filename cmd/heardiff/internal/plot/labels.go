package plot

import (
	"math"
	"strings"
)

// fields splits at plain spaces only, so that a no-break space holds a number to its unit.
func fields(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' })
}

// labels sets texts inside the plot area so that none covers another or a mark.
type labels struct {
	c     Canvas
	area  rect
	taken []rect
}

// keep reserves room that no label may cover.
func (l *labels) keep(r rect) { l.taken = append(l.taken, r) }

// keepAround reserves a square around a mark.
func (l *labels) keepAround(p Point, half float64) {
	l.keep(rect{p.X - half, p.Y - half, p.X + half, p.Y + half})
}

// keepAlong reserves squares along a line.
func (l *labels) keepAlong(points []Point, half float64) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		steps := math.Ceil(math.Hypot(b.X-a.X, b.Y-a.Y)/(2*half)) + 1
		for k := range int(steps) {
			share := float64(k) / steps
			l.keepAround(Point{a.X + share*(b.X-a.X), a.Y + share*(b.Y-a.Y)}, half)
		}
	}
}

// closest is how far a label is from its point if there is room, in pixels: no line is needed between the two.
const closest = 8

// put sets s near at: to the right, left, above or below, then farther, with a thin line back. It reports whether
// there was room; a label without room is left out, for the tables hold every number.
func (l *labels) put(at Point, s string, t Type) bool {
	w, h := textWidth(s, t.Size, t.Bold)+4, t.Size*1.25
	for _, far := range []float64{closest, 20, 36, 54} {
		for _, box := range around(at, w, h, far) {
			if l.free(box) {
				if far > closest {
					l.c.Line([]Point{at, nearest(at, box)}, Pen{Ink: Axis, Width: 0.7})
				}
				l.set(box, s, t)
				return true
			}
		}
	}
	return false
}

func (l *labels) set(box rect, s string, t Type) {
	l.keep(box)
	l.c.Area(box.corners(), Paper, 0.78)
	t.Anchor = Start
	l.c.Text(Point{box.left + 2, box.bottom - t.Size*0.3}, s, t)
}

func (l *labels) free(box rect) bool {
	if box.left < l.area.left || box.right > l.area.right || box.top < l.area.top || box.bottom > l.area.bottom {
		return false
	}
	for _, r := range l.taken {
		if r.meets(box) {
			return false
		}
	}
	return true
}

// around returns the boxes of w by h at a distance of far pixels from p, the best place first.
func around(p Point, w, h, far float64) []rect {
	place := func(x, y float64) rect { return rect{x, y, x + w, y + h} }
	return []rect{
		place(p.X+far, p.Y-h/2), place(p.X-far-w, p.Y-h/2),
		place(p.X-w/2, p.Y-far-h), place(p.X-w/2, p.Y+far),
		place(p.X+far*0.7, p.Y-far*0.7-h), place(p.X-far*0.7-w, p.Y-far*0.7-h),
		place(p.X+far*0.7, p.Y+far*0.7), place(p.X-far*0.7-w, p.Y+far*0.7),
	}
}

// nearest returns the point of box closest to p.
func nearest(p Point, box rect) Point {
	hold := func(v, lo, hi float64) float64 { return max(lo, min(hi, v)) }
	return Point{hold(p.X, box.left, box.right), hold(p.Y, box.top, box.bottom)}
}
