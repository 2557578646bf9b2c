package plot

import (
	"fmt"
	"math"
	"strings"
)

// Lines are curves on linear axes, whose titles say what they are of and in which unit.
type Lines struct {
	Title         string
	Across, Along string // what is on the horizontal and on the vertical axis
	Lines         []Line
}

// Line is a curve by its points, from left to right; a Y that is NaN breaks it.
type Line struct {
	Name string
	X, Y []float64
}

// Words implements Chart.
func (l Lines) Words() Words {
	var all []string
	for _, one := range l.Lines {
		all = append(all, one.Name)
	}
	return Words{l.Title, fmt.Sprintf("%d curves, %s against %s: %s.", len(all), l.Along, l.Across, strings.Join(all, ", "))}
}

func (l Lines) sheet() sheet {
	s := sheet{title: l.Title, plot: 300, x: axis{title: l.Across}, y: axis{title: l.Along}}
	var xs, ys []float64
	for i, one := range l.Lines {
		xs, ys = append(xs, one.X...), append(ys, one.Y...)
		s.key = append(s.key, lineKey(one.Name, i))
	}
	s.x.lo, s.x.hi = extentAny(xs)
	if s.x.lo == s.x.hi {
		s.x.hi = s.x.lo + 1
	}
	lo, hi := extentAny(ys)
	if lo == hi {
		hi = lo + math.Max(math.Abs(lo), 1)
	}
	const steps = 6
	s.y.lo, s.y.hi = linearRange(ys, niceStep((hi-lo)/steps), 0, 1)
	return s
}

// Height implements Chart.
func (l Lines) Height(width float64) float64 { return l.sheet().height(width) }

// Draw implements Chart.
func (l Lines) Draw(c Canvas, width, _ float64) {
	s := l.sheet()
	area, _ := s.draw(c, width)
	for i, one := range l.Lines {
		for _, piece := range unbroken(one.X, one.Y, pointsOf(s, area)) {
			c.Line(piece, Pen{Ink: seriesInk(i), Width: 1.7, Dash: dashOf(i)})
		}
	}
}
