package tone

import (
	"math"
	"slices"

	"heardiff/measure/spectrum"
)

// falseAlarms is how many lines a spectrum of noise alone shows on average.
const falseAlarms = 0.001

const (
	humOrders  = 12    // harmonics of the mains looked for
	mainsSlack = 0.005 // relative: 50 ± 0.25 Hz; grids keep within 0.2 Hz. Common practice, no source
)

// findLines returns the lines of a spectrum, parted into the mains series and the others, strongest first each.
// skip says which frequencies belong to something else.
func findLines(s spectrum.Spectrum, skip func(hz float64) bool) (hum, other []spectrum.Line) {
	lines := s.Lines(bandLow, min(bandHigh, s.RateHz/2*0.99), 50, falseAlarms)
	lines = slices.DeleteFunc(lines, func(l spectrum.Line) bool { return skip(l.FreqHz) })
	mine := make([]float64, len(lines)) // mains frequency of the series each line belongs to, 0: none
	fifty, sixty := seriesOf(lines, 50, s.BinHz()), seriesOf(lines, 60, s.BinHz())
	// 300 Hz and its multiples belong to both: they go to the series that is stronger without them.
	if ownPower(lines, sixty, fifty) > ownPower(lines, fifty, sixty) {
		fifty, sixty = sixty, fifty
	}
	for _, i := range sixty {
		mine[i] = 1
	}
	for _, i := range fifty {
		mine[i] = 1
	}
	for i, l := range lines {
		if mine[i] != 0 {
			hum = append(hum, l)
		} else {
			other = append(other, l)
		}
	}
	return hum, other
}

func ownPower(lines []spectrum.Line, of, without []int) float64 {
	sum := 0.0
	for _, i := range of {
		if !slices.Contains(without, i) {
			sum += lines[i].Amplitude * lines[i].Amplitude
		}
	}
	return sum
}

// seriesOf returns which lines are harmonics of one mains frequency near base. Lines that only fit a high order are
// no series: one of the first three must be there.
func seriesOf(lines []spectrum.Line, base, binHz float64) []int {
	for _, lead := range lines { // strongest first
		order := math.Round(lead.FreqHz / base)
		if order < 1 || order > 3 || math.Abs(lead.FreqHz-order*base) > mainsSlack*order*base+binHz/4 {
			continue
		}
		mains := lead.FreqHz / order
		var members []int
		for i, l := range lines {
			n := math.Round(l.FreqHz / mains)
			if n >= 1 && n <= humOrders && math.Abs(l.FreqHz-n*mains) < binHz/2*(1+n/order/4) {
				members = append(members, i)
			}
		}
		return members
	}
	return nil
}
