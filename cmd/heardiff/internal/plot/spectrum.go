package plot

import "fmt"

// Spectrum is the residual after test tones, against frequency in Hz: curves are noise in dBFS in 1 Hz, spurs are
// lines in dBFS. Floor, if any, is the recording set-up's own.
type Spectrum struct {
	Title  string
	Chains []Curve
	Floor  *Curve
}

// Words implements Chart.
func (s Spectrum) Words() Words {
	return Words{s.Title, fmt.Sprintf("Noise in decibels below full scale in one hertz as curves, %d lines in decibels below full scale as stems, against frequency, of %s.", s.lines(), names(s.Chains))}
}

// lines is how many stems there are.
func (s Spectrum) lines() int {
	n := 0
	for _, c := range s.Chains {
		n += len(c.Spurs)
	}
	return n
}

func (s Spectrum) chart() frequencyChart {
	return frequencyChart{curves: s.Chains, floor: s.Floor, step: 20, unit: "dBFS"}
}

func (s Spectrum) sheet() sheet {
	caption := "noise, dBFS in 1 Hz"
	if s.lines() > 0 {
		caption = "curves (noise): dBFS in 1 Hz · stems (lines): dBFS"
	}
	sheet := s.chart().sheet(s.Title, "frequency, Hz", caption, 20, 20000)
	for i, c := range s.Chains {
		if len(c.Spurs) > 0 {
			sheet.key = append(sheet.key, stemKey("line of "+c.Name, i, seriesInk(i), false))
		}
	}
	return sheet
}

// Height implements Chart.
func (s Spectrum) Height(width float64) float64 { return s.sheet().height(width) }

// Draw implements Chart.
func (s Spectrum) Draw(c Canvas, width, _ float64) { s.chart().draw(c, s.sheet(), width) }

// Response is the response in dB against frequency in Hz, 0 dB at 1 kHz.
type Response struct {
	Title  string
	Curves []Curve
	Floor  *Curve
}

// Words implements Chart.
func (r Response) Words() Words {
	w := ResponseDifference{Title: r.Title, Curves: r.Curves}.Words()
	w.Description = "Response against frequency, 0 dB at 1 kHz." + w.Description[len("Difference in response against frequency."):]
	return w
}

func (r Response) chart() frequencyChart {
	curves := r.Curves
	if r.Floor != nil { // a response has no floor below which nothing can be read: a curve like the others
		curves = append(append([]Curve(nil), curves...), *r.Floor)
	}
	return frequencyChart{curves: curves, zero: true, unit: "dB"}
}

func (r Response) sheet() sheet {
	return r.chart().sheet(r.Title, "frequency, Hz", "response, dB (0 dB at 1 kHz)", 20, 20000)
}

// Height implements Chart.
func (r Response) Height(width float64) float64 { return r.sheet().height(width) }

// Draw implements Chart.
func (r Response) Draw(c Canvas, width, _ float64) { r.chart().draw(c, r.sheet(), width) }
