package plot

import (
	"fmt"
	"math"
	"sort"
)

// Transfer is the attenuation of jitter against its frequency: negative dB is jitter taken away. Points at which the
// floor stops the reading are bounds: the true value lies below.
type Transfer struct {
	Title  string
	Points []TransferPoint
}

// TransferPoint is one reading, from a line or from a density: densities are joined by a curve, lines are single points.
type TransferPoint struct {
	Hz, DB  float64
	Line    bool
	AtFloor bool
}

// Words implements Chart.
func (t Transfer) Words() Words {
	return Words{t.Title, fmt.Sprintf("Jitter attenuation in decibels against jitter frequency, %d readings.", len(t.Points))}
}

// chart holds two curves: the densities, broken at bounds, to be drawn; and all other readings, for the extent of the axes alone.
func (t Transfer) chart() frequencyChart {
	density, others := Curve{Name: "from the noise"}, Curve{Name: "from a line"}
	sorted := append([]TransferPoint(nil), t.Points...)
	sort.Slice(sorted, func(i, k int) bool { return sorted[i].Hz < sorted[k].Hz })
	for _, p := range sorted {
		if p.Line || p.AtFloor {
			others.Hz, others.Y = append(others.Hz, p.Hz), append(others.Y, p.DB)
		}
		if p.Line {
			continue
		}
		y := p.DB
		if p.AtFloor {
			y = math.NaN()
		}
		density.Hz, density.Y = append(density.Hz, p.Hz), append(density.Y, y)
	}
	return frequencyChart{curves: []Curve{density, others}, zero: true, step: 10, unit: "dB"}
}

func (t Transfer) sheet() sheet {
	s := t.chart().sheet(t.Title, "jitter frequency, Hz", "output over input, dB", 10, 10000)
	entry := func(text string, style int, size float64, hollow bool) keyEntry {
		return keyEntry{text, func(c Canvas, b rect) { mark(c, b.middle(), style, size, seriesInk(style%4), hollow) }}
	}
	s.key = append(s.key[:1], entry("from a line", 1, 3.8, false), entry("the floor stops the reading: an upper bound", 4, 4, true))
	return s
}

// Height implements Chart.
func (t Transfer) Height(width float64) float64 { return t.sheet().height(width) }

// Draw implements Chart.
func (t Transfer) Draw(c Canvas, width, _ float64) {
	s := t.sheet()
	chart := t.chart()
	chart.curves = chart.curves[:1]
	area := chart.draw(c, s, width)
	for _, p := range t.Points {
		at := Point{s.x.at(p.Hz, area.left, area.right), s.y.at(p.DB, area.bottom, area.top)}
		switch {
		case p.AtFloor && p.Line:
			mark(c, at, 4, 4.2, seriesInk(1), true)
		case p.AtFloor:
			mark(c, at, 4, 4.2, seriesInk(0), true)
		case p.Line:
			mark(c, at, 1, 3.8, seriesInk(1), false)
		default:
			mark(c, at, 0, 3, seriesInk(0), false)
		}
	}
}
