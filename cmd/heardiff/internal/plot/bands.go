package plot

import "fmt"

// Bands are levels in auditory bands, in dBFS, against their centres in Hz: the music's, and what a dose adds.
type Bands struct {
	Title  string
	Curves []Curve
}

// Words implements Chart.
func (b Bands) Words() Words {
	return Words{b.Title, fmt.Sprintf("Levels in bands one equivalent rectangular bandwidth wide, in decibels below full scale against frequency, of %s.", names(b.Curves))}
}

func (b Bands) chart() frequencyChart {
	return frequencyChart{curves: b.Curves, step: 20, unit: "dBFS"}
}

func (b Bands) sheet() sheet {
	return b.chart().sheet(b.Title, "frequency, Hz", "level in a band one ERB wide, dBFS", 20, 20000)
}

// Height implements Chart.
func (b Bands) Height(width float64) float64 { return b.sheet().height(width) }

// Draw implements Chart.
func (b Bands) Draw(c Canvas, width, _ float64) { b.chart().draw(c, b.sheet(), width) }
