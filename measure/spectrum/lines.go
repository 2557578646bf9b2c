package spectrum

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Line is a spectral line.
type Line struct {
	FreqHz float64
	// Amplitude is the peak of the sine, in units of full scale.
	Amplitude float64
}

// Peak returns the line whose largest bin is k, its frequency and amplitude interpolated by the shape of the
// window's main lobe from the neighbouring bins. It holds for a line alone within the main lobe, inside the spectrum.
func (s Spectrum) Peak(k int) Line {
	k = min(max(k, 1), len(s.Density)-2)
	off := s.Window.offset(math.Sqrt(s.Density[k-1]), math.Sqrt(s.Density[k+1]))
	return Line{
		FreqHz:    (float64(k) + off) * s.BinHz(),
		Amplitude: s.LineAmplitude(k) / s.Window.Response(off),
	}
}

// offset returns the offset of a line, −0.5 to 0.5 bins, from the magnitudes of its neighbours.
func (w Window) offset(below, above float64) float64 {
	if !(below+above > 0) {
		return 0
	}
	want := (above - below) / (above + below)
	lo, hi := -0.5, 0.5
	for range 50 { // the ratio rises steadily with the offset
		mid := (lo + hi) / 2
		l, r := math.Abs(w.Response(mid+1)), math.Abs(w.Response(mid-1))
		if (r-l)/(r+l) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Noise returns for every bin the density of the noise around it: the median over halfWidth bins on either
// side, divided by the median of the bins' own chi-square distribution. Lines narrower than half the stretch do not
// raise it. halfWidth is at least 1.
func (s Spectrum) Noise(halfWidth int) []float64 {
	return LocalNoise(make([]float64, len(s.Density)), func(k int) float64 { return s.Density[k] }, s.Freedom, func(int) int { return halfWidth })
}

// LocalNoise is Spectrum.Noise for any len(out) powers, which need not be stored, whose noise is chi-square distributed with the given
// degrees of freedom. The median at bin k is taken over reach(k) bins on either side, at least 1; it is taken
// anew every reach and interpolated between. It writes into out and returns it.
func LocalNoise(out []float64, power func(k int) float64, freedom float64, reach func(k int) int) []float64 {
	n := len(out)
	if n == 0 {
		return out
	}
	toMean := freedom / 2 / mathext.GammaIncRegInv(freedom/2, 0.5) // mean over median of a chi-square variable
	var scratch []float64
	at := func(k int) float64 {
		r := max(1, reach(k))
		scratch = scratch[:0]
		for i := max(0, k-r); i < min(n, k+r+1); i++ {
			scratch = append(scratch, power(i))
		}
		return selectNth(scratch, len(scratch)/2) * toMean
	}
	out[0] = at(0)
	for from := 0; from < n-1; {
		to := min(from+max(1, reach(from)), n-1)
		out[to] = at(to)
		for k := from + 1; k < to; k++ {
			u := float64(k-from) / float64(to-from)
			out[k] = out[from]*(1-u) + out[to]*u
		}
		from = to
	}
	return out
}

// selectNth returns the value that would be at index n if x were sorted; it reorders x. Hoare's selection.
func selectNth(x []float64, n int) float64 {
	for lo, hi := 0, len(x)-1; lo < hi; {
		pivot, i, j := x[(lo+hi)/2], lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return x[n]
		}
	}
	return x[n]
}

// Lines returns the lines between two frequencies above the local noise, strongest first. On
// average a spectrum of noise alone shows falseAlarms of them. A line's main lobe hides weaker ones within it.
func (s Spectrum) Lines(lowHz, highHz float64, halfWidth int, falseAlarms float64) []Line {
	noise := s.Noise(halfWidth)
	low, high := max(1, s.Bin(lowHz)), min(s.Bin(highHz), len(s.Density)-2)
	// How many times the mean noise a bin must hold: on average, falseAlarms of as many independent bins of noise alone exceed it.
	p := falseAlarms / float64(max(high-low+1, 1))
	threshold := mathext.GammaIncRegCompInv(s.Freedom/2, min(p, 0.5)) / (s.Freedom / 2)
	var found []Line
	lobe := int(math.Ceil(s.Window.Lobe()))
	for k := low; k <= high; k++ {
		if s.Density[k] > threshold*noise[k] && s.largest(k, lobe) {
			found = append(found, s.Peak(k))
		}
	}
	slices.SortFunc(found, func(a, b Line) int { return cmp.Compare(b.Amplitude, a.Amplitude) })
	return found
}

// largest reports whether bin k holds the most of the bins within reach.
func (s Spectrum) largest(k, reach int) bool {
	for i := max(0, k-reach); i <= min(k+reach, len(s.Density)-1); i++ {
		if s.Density[i] > s.Density[k] || i < k && s.Density[i] == s.Density[k] {
			return false
		}
	}
	return true
}
