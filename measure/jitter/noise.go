package jitter

import (
	"math"
	"slices"
)

// noiseBand holds the noise of one narrow band of a record or, after add, of several.
type noiseBand struct {
	low, high float64 // Hz
	pm, am    float64 // density, rad²/Hz and 1/Hz, lines taken out
	// The real parts of the cross densities of the phases, and of the amplitudes, of two channels.
	crossPM, crossAM float64
	used             float64 // part of the band not hidden by lines
	seconds          float64 // of all records
	// What additive noise takes off pm, how far that may be wrong either way, and how much of the rest may be wrong by jitter of higher frequencies:
	// see additive and folded.
	additive, unknown, other float64
	ownAmplitude             bool // amplitude holds noise of its own
}

// bandsPerDecade is the resolution of the density in jitter frequency; a band that is no wider than the ratio narrowest joins the one before.
const bandsPerDecade, narrowest = 20, 1.001

// hiddenBins is how far from a line, in bins of the record, what it leaves counts as no noise. A judgement, no source; TestBinsNextToALineAreHidden
// holds it.
const hiddenBins = 3

// edges returns narrow bands between low and high that break at the decades.
func edges(band [2]float64) []noiseBand {
	var out []noiseBand
	at := band[0]
	for i := math.Floor(math.Log10(band[0])*bandsPerDecade) + 1; at < band[1]; i++ {
		next := min(math.Pow(10, i/bandsPerDecade), band[1])
		if next > at*narrowest {
			out = append(out, noiseBand{low: at, high: next})
			at = next
		} else if next == band[1] && len(out) > 0 {
			out[len(out)-1].high = next
			at = next
		}
	}
	return out
}

// measureNoise averages the bins of the narrow bands, leaving out those within hiddenBins of a line in either spectrum.
func (r *record) measureNoise(bands []noiseBand, lines []peak) {
	hidden := r.hide(lines, r.removedSpans)
	for b := range bands {
		n := &bands[b]
		n.seconds = r.seconds
		count := 0.0
		from, to := r.inside(n.low, n.high)
		for k := from; k <= to; k++ {
			if !hidden[k] {
				count++
				n.pm += power(r.pm[k]) * r.toDensity
				n.am += power(r.am[k]) * r.toDensity
			}
		}
		n.used = count / max(1, float64(to-from+1))
		if count > 0 {
			n.pm /= count
			n.am /= count
		}
	}
	fillGaps(bands)
}

func (r *record) hide(lines []peak, strayed []span) []bool {
	hidden := make([]bool, len(r.pm))
	for _, h := range strayed {
		for k := h.from; k < h.to; k++ {
			hidden[k] = true
		}
	}
	for _, l := range lines {
		x, reach := l.hz/r.binHz, hiddenBins*r.pad
		for k := max(0, int(x-reach)); k <= min(len(hidden)-1, int(x+reach)+1); k++ {
			hidden[k] = true
		}
	}
	return hidden
}

// fillGaps gives a band that lines hide entirely the density of its nearest neighbour.
func fillGaps(bands []noiseBand) {
	for b := range bands {
		for d := 1; bands[b].used == 0 && d < len(bands); d++ {
			for _, i := range []int{b - d, b + d} {
				if i >= 0 && i < len(bands) && bands[i].used > 0 && bands[b].pm == 0 {
					bands[b].pm, bands[b].am = bands[i].pm, bands[i].am
				}
			}
			if bands[b].pm != 0 {
				break
			}
		}
	}
}

// spectraCopy is the spectra of the first channel, for the second to be compared with when the record's memory is in use for another. Noise
// takes no more than single precision.
type spectraCopy struct {
	pm, am       []complex64
	lines        []peak
	removedSpans []span
}

func (k *spectraCopy) copyFrom(r *record, lines []peak) {
	k.pm, k.am, k.lines = slices.Grow(k.pm[:0], len(r.pm)), slices.Grow(k.am[:0], len(r.am)), lines
	k.removedSpans = r.removedSpans
	for i, x := range r.pm {
		k.pm, k.am = append(k.pm, complex64(x)), append(k.am, complex64(r.am[i]))
	}
}

// crossNoise fills in what the phases and the amplitudes of two channels share.
func crossNoise(a *spectraCopy, b *record, bands []noiseBand, lines []peak) {
	hidden := b.hide(append(lines, a.lines...), append(slices.Clone(b.removedSpans), a.removedSpans...))
	for i := range bands {
		n := &bands[i]
		count := 0.0
		from, to := b.inside(n.low, n.high)
		for k := from; k <= to; k++ {
			if !hidden[k] {
				count++
				n.crossPM += joint(complex128(a.pm[k]), b.pm[k]) * b.toDensity
				n.crossAM += joint(complex128(a.am[k]), b.am[k]) * b.toDensity
			}
		}
		n.crossPM /= max(count, 1)
		n.crossAM /= max(count, 1)
	}
}

// merged returns the mean bands of so many records, n, and another of equal length. It mutates n.
func merged(n, other []noiseBand, already int) []noiseBand {
	if already == 0 {
		return other
	}
	old, fresh := float64(already)/float64(already+1), 1/float64(already+1)
	for b := range n {
		n[b].pm = n[b].pm*old + other[b].pm*fresh
		n[b].am = n[b].am*old + other[b].am*fresh
		n[b].crossPM = n[b].crossPM*old + other[b].crossPM*fresh
		n[b].crossAM = n[b].crossAM*old + other[b].crossAM*fresh
		n[b].used = n[b].used*old + other[b].used*fresh
		n[b].seconds += other[b].seconds
	}
	return n
}

// variance returns the variance of density·width, for a density estimated over the visible part of the band.
func (n noiseBand) variance(density float64) float64 {
	width := n.high - n.low
	return density * density * width * width / n.independent()
}

// independent returns how many independent bins bear on the band: at least one of the record.
func (n noiseBand) independent() float64 {
	return max((n.high-n.low)*max(n.used, 0.02)*n.seconds/spread, 1/spread)
}

// Additive noise shows in amplitude as in phase, never more. Where amplitude exceeds phase it holds noise of its own, such as a
// reference voltage's, and says no longer what additive noise there is: only that this is no more than the lesser of the two, and
// that it is much the same at all frequencies, since it has no edge at the carrier.
const (
	// beyondChance is how many standard errors a stretch of narrow bands must exceed the rest by: in simulated captures of 6 to 60 s
	// of noise alone the most striking stretch does so in one channel of 800.
	beyondChance = 4.5
	// octave is in narrow bands. The noise of one that holds leastInOctave independent bins is known to 3 %.
	octave        = bandsPerDecade * 3 / 10
	leastInOctave = 1000
	// Amplitude noise falls off little by little: a stretch includes its neighbours that exceed the additive noise by tail,
	// and by tailErrors standard errors of their own.
	tail, tailErrors = 1.05, 2
	// rise is how far above the quietest octave amplitude that rises towards the carrier is; the least of many octaves is a little too quiet.
	rise = 1.15
	// nothing is the part of the phase noise that amplitude below it does not bear on: a quarter of a per cent of the figure.
	nothing = 0.005
)

// rises reports whether the amplitude exceeds the additive noise.
func (n noiseBand) rises(level float64) bool {
	return n.am > level*n.seen()
}

// seen is how many times the additive noise the amplitude must be to show that it is more.
func (n noiseBand) seen() float64 { return max(tail, 1+tailErrors/math.Sqrt(n.independent())) }

// noiseSum is the noise of several bands: the powers of phase and of additive noise in rad², the variances of each by scatter, by
// how much the additive noise may be wrong otherwise, and how much of the difference may be wrong by jitter of higher frequencies.
type noiseSum struct{ pm, additive, variancePM, varianceAdditive, unknown, other float64 }

// variance returns the variance of the difference, also where there is no jitter. Anything within what is unknown is equally likely.
func (s noiseSum) variance() float64 { return s.scatter()*s.scatter() + s.unknown*s.unknown/3 }

// uncertainty returns the standard error of the difference as jitter of the band. What folds is not anything up to other: a clock of white
// jitter, as many are, makes all of it, and always to one side. With half of its square as variance two errors hold it under any scatter
// 92 times in 100 at the least, P(g < √2), and always where it is nothing.
func (s noiseSum) uncertainty() float64 { return math.Sqrt(s.variance()+s.other*s.other/2) + rounded }

// scatter returns the standard error of the difference by scatter alone.
func (s noiseSum) scatter() float64 { return math.Sqrt(s.variancePM + s.varianceAdditive) }

// rounded is the power of the rounding of an exact digital signal, 1e-12 radians RMS.
const rounded = 1e-24

func sum(bands []noiseBand, low, high float64) noiseSum {
	var s noiseSum
	for _, n := range bands {
		if mid := math.Sqrt(n.low * n.high); mid > low && mid < high {
			s.add(n)
		}
	}
	return s
}

func (s *noiseSum) add(n noiseBand) {
	width := n.high - n.low
	s.pm += n.pm * width
	s.additive += n.additive * width
	s.unknown += n.unknown * width
	s.other += n.other * width
	s.variancePM += n.variance(n.pm)
	s.varianceAdditive += n.variance(n.additive)
}

// excess reads what phase has above additive noise: the RMS value in radians and its standard error, NaN where it is below two
// standard errors.
func (s noiseSum) excess() (rms, se float64, significant bool) {
	d, sigma := s.pm-s.additive, math.Sqrt(s.variance())+rounded
	if !(d > 2*sigma) {
		return math.NaN(), math.NaN(), false
	}
	return math.Sqrt(d), s.uncertainty() / (2 * math.Sqrt(d)), true
}

// bound returns the 95 % upper bound of the excess, for which all that is unknown is jitter of the band.
func (s noiseSum) bound() float64 {
	return math.Sqrt(max(0, s.pm-s.additive) + s.unknown + s.other + oneSided95*(s.scatter()+rounded))
}

// least returns the least excess that could be distinguished from none.
func (s noiseSum) least() float64 { return math.Sqrt(2 * math.Sqrt(s.variance())) }
