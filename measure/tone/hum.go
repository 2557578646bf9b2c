package tone

import (
	"cmp"
	"math"
	"slices"

	"heardiff/measure/spectrum"
)

// falseAlarms is how many lines a spectrum of noise alone shows on average.
const falseAlarms = 0.001

const (
	humOrders   = 12    // harmonics of the mains looked for
	leadOrders  = 3     // of which one of the first must be there. A judgement, no source; TestMultiplesOfTheMainsAloneAreNoHum holds it
	mainsSlack  = 0.005 // relative: 50 ± 0.25 Hz; grids keep within 0.2 Hz. Common practice, no source
	mainsBinLag = 0.25  // bins by which the line of a steady frequency may be read wrongly. A judgement, no source; TestMultiplesOfTheMainsAloneAreNoHum holds it
)

// findLines returns the lines of a spectrum, parted into the mains series and the others, strongest first each.
// skip says which frequencies do not count.
func findLines(s spectrum.Spectrum, skip func(hz float64) bool) (hum, other []spectrum.Line) {
	lines := s.Lines(bandLow, min(bandHigh, s.RateHz/2*0.99), 50, falseAlarms)
	lines = slices.DeleteFunc(lines, func(l spectrum.Line) bool { return skip(l.FreqHz) })
	fields := fields{Spectrum: s, noise: s.Noise(50)}
	fifty, sixty := fields.series(lines, 50), fields.series(lines, 60)
	// 300 Hz and its multiples belong to both: they go to the series that is stronger without them.
	if ownPower(lines, sixty, fifty) > ownPower(lines, fifty, sixty) {
		fifty, sixty = sixty, fifty
	}
	var taken []field
	for i, l := range lines { // the strongest line takes in those that its wandering made
		within := func(f field) bool { return f.from <= l.FreqHz && l.FreqHz <= f.to }
		switch {
		case slices.ContainsFunc(taken, within):
		case slices.Contains(fifty, i) || slices.Contains(sixty, i):
			f := fields.of(l)
			taken, hum = append(taken, f), append(hum, f.Line)
		default:
			other = append(other, l)
		}
	}
	slices.SortStableFunc(hum, func(a, b spectrum.Line) int { return cmp.Compare(b.Amplitude, a.Amplitude) })
	return hum, other
}

// fields measures lines of the mains, whose frequency wanders with the load on the grid: by all the power of the hill that an
// averaged spectrum shows of one, not by its peak, which is the lower the wider the hill is.
type fields struct {
	spectrum.Spectrum
	noise []float64
}

// field is a line with the frequencies that it covers.
type field struct {
	spectrum.Line
	from, to float64
}

const (
	lineReach = 3 // bins to either side that hold all of a steady line but a ten thousandth, of the window used here
	hillRatio = 2 // a hill goes on where it exceeds the noise by as much
)

// of returns the hill around a line, by mainsSlack to either side at the most.
func (s fields) of(l spectrum.Line) field {
	peak := s.Bin(l.FreqHz)
	reach := max(lineReach, int(mainsSlack*l.FreqHz/s.BinHz()))
	end := func(step int) int {
		k := peak
		for i := 1; i <= reach; i++ {
			next := peak + i*step
			if next < 1 || next >= len(s.Density)-1 || i > lineReach && s.Density[next] < hillRatio*s.noise[next] {
				break
			}
			k = next
		}
		return k
	}
	lo, hi := end(-1), end(1)
	power, moment := 0.0, 0.0
	for k := lo; k <= hi; k++ {
		p := (s.Density[k] - s.noise[k]) * s.BinHz()
		power, moment = power+p, moment+p*s.FreqHz(k)
	}
	f := field{Line: l, from: s.FreqHz(lo), to: s.FreqHz(hi)}
	if power > 0 {
		f.Amplitude = math.Sqrt(2 * power)
		if hi-lo > 2*int(math.Ceil(s.Window.Lobe())) { // it wanders: the peak is where it was most of the time
			f.FreqHz = moment / power
		}
	}
	return f
}

// strays returns by how much a line wandered to either side, in Hz.
func (s fields) strays(f field) float64 {
	return max(0, (f.to-f.from)/2-math.Ceil(s.Window.Lobe())*s.BinHz())
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

// series returns which lines are harmonics of one mains frequency near base. Lines that only fit a high order are
// no series: one of the first leadOrders must be there.
func (s fields) series(lines []spectrum.Line, base float64) []int {
	for _, lead := range lines { // strongest first
		order := math.Round(lead.FreqHz / base)
		if order < 1 || order > leadOrders || math.Abs(lead.FreqHz-order*base) > mainsSlack*order*base+mainsBinLag*s.BinHz() {
			continue
		}
		f := s.of(lead)
		mains, strays := f.FreqHz/order, s.strays(f)/order
		var members []int
		for i, l := range lines {
			n := math.Round(l.FreqHz / mains)
			near := s.BinHz()/2*(1+n/order/4) + n*strays
			if n >= 1 && n <= humOrders && (math.Abs(l.FreqHz-n*mains) < near || math.Abs(s.of(l).FreqHz-n*mains) < near) {
				members = append(members, i)
			}
		}
		return members
	}
	return nil
}
