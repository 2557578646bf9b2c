package plot

import (
	"fmt"
	"math"
	"strings"
)

// Null is how deep the difference of two captures lies below the first, octave by octave; dB, negative is deeper.
type Null struct {
	Title string
	Bands []NullBand
}

// NullBand is one octave.
type NullBand struct{ LowHz, HighHz, DB float64 }

// Words implements Chart.
func (n Null) Words() Words {
	var parts []string
	for _, b := range n.Bands {
		if !math.IsNaN(b.DB) {
			parts = append(parts, fmt.Sprintf("%s to %s Hz %s dB", shortNumber(math.Round(b.LowHz)), shortNumber(math.Round(b.HighHz)), plainNumber(roundTo(b.DB, 3))))
		}
	}
	return Words{n.Title, "What is left when one capture is taken from the other, relative to the first in the same octave: " + strings.Join(parts, "; ") + "."}
}

func (n Null) sheet() sheet {
	var values []float64
	for _, b := range n.Bands {
		values = append(values, 1.1*b.DB) // room for the figure below the bar
	}
	lo, _ := linearRange(append(values, 0, -20), 20, -100, 0)
	s := sheet{title: n.Title, plot: 240, x: axis{lo: 20, hi: 20000, log: true, title: "frequency, Hz", label: shortNumber},
		y: axis{lo: lo, hi: 0, title: "left over, dB (longer is a deeper null)"}}
	if len(n.Bands) > 0 {
		s.x.lo, s.x.hi = n.Bands[0].LowHz, n.Bands[len(n.Bands)-1].HighHz
	}
	return s
}

// Height implements Chart.
func (n Null) Height(width float64) float64 { return n.sheet().height(width) }

// Draw implements Chart.
func (n Null) Draw(c Canvas, width, _ float64) {
	s := n.sheet()
	area, names := s.draw(c, width)
	for _, b := range n.Bands {
		if math.IsNaN(b.DB) {
			continue
		}
		left, right := s.x.at(b.LowHz, area.left, area.right)+1.5, s.x.at(b.HighHz, area.left, area.right)-1.5
		end := s.y.at(b.DB, area.bottom, area.top)
		c.Area(rect{left, area.top, right, end}.corners(), Series1, 0.85)
		box := rect{left, area.top, right, end}
		names.keep(box)
		text := plainNumber(math.Round(b.DB))
		w := textWidth(text, smallSize, false) + 4
		at := rect{(left+right)/2 - w/2, end + 2, (left+right)/2 + w/2, end + 2 + smallSize*1.25}
		if names.free(at) {
			names.set(at, text, Type{Size: smallSize, Ink: Text})
		}
	}
	c.Line([]Point{{area.left, area.top}, {area.right, area.top}}, Pen{Ink: Axis, Width: 1.2})
}
