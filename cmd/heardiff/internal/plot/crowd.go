package plot

import (
	"fmt"
	"math"
)

// Crowd sets how many listeners had each share of the answers right against how many of as many guessers would.
type Crowd struct {
	Title string
	Bins  []CrowdBin
	Notes []string
}

// CrowdBin counts the listeners whose proportion correct lies from Lo to below Hi (the last: to Hi).
type CrowdBin struct {
	Lo, Hi   float64
	Observed int
	Guessing float64 // expected of guessers
}

// above is the proportion correct from which the words count listeners: few guessers of ABX reach it in a session of usual length. A judgement,
// no source; TestTheWordsOfACrowdCountFromAShareOn holds it.
const above = 0.65

// Words implements Chart.
func (c Crowd) Words() Words {
	total, reached, guessed := 0, 0, 0.0
	for _, b := range c.Bins {
		total += b.Observed
		if b.Lo >= above {
			reached += b.Observed
			guessed += b.Guessing
		}
	}
	return Words{c.Title, fmt.Sprintf("How many of %d listeners had each share of the answers right, and how many of as many guessers would. From %.0f %% right up: %d listeners, %s guessers.",
		total, 100*above, reached, plainNumber(roundTo(guessed, 3)))}
}

func (c Crowd) sheet() sheet {
	most := 1.0
	for _, b := range c.Bins {
		most = math.Max(most, math.Max(float64(b.Observed), b.Guessing))
	}
	s := sheet{title: c.Title, notes: c.Notes, plot: 240, x: axis{lo: 0, hi: 1, title: "proportion correct", label: percent},
		y: axis{lo: 0, hi: most * 1.05, title: "listeners", label: plainNumber}}
	s.key = []keyEntry{areaKey("listeners", Series1, 0.85), ruleKey("as many guessers", Accent, nil)}
	return s
}

// Height implements Chart.
func (c Crowd) Height(width float64) float64 { return c.sheet().height(width) }

// Draw implements Chart.
func (c Crowd) Draw(on Canvas, width, _ float64) {
	s := c.sheet()
	area, _ := s.draw(on, width)
	var steps []Point
	for _, b := range c.Bins {
		left, right := s.x.at(b.Lo, area.left, area.right), s.x.at(b.Hi, area.left, area.right)
		top := s.y.at(float64(b.Observed), area.bottom, area.top)
		if b.Observed > 0 {
			on.Area(rect{left + 0.5, top, right - 0.5, area.bottom}.corners(), Series1, 0.85)
		}
		at := s.y.at(b.Guessing, area.bottom, area.top)
		steps = append(steps, Point{left, at}, Point{right, at})
	}
	on.Line(steps, Pen{Ink: Accent, Width: 1.6})
}
