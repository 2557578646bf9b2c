package match

import (
	"math"
	"slices"
)

// bandLimit tells where one capture ends well below the other: the trace of a sample-rate conversion, or of a lossy
// code. That is where, from the top of what the other holds down, all is 12 dB lower than in it, and 1.5 kHz below
// nearly as strong.
func bandLimit(found aligned, left *remainder, say func(string, ...any)) {
	a, b := found.a, found.b
	for _, way := range []struct {
		short, long string
		p, q        profile
		at          int // in the courses
	}{{"B", "A", b, a, 1}, {"A", "B", a, b, 0}} {
		// Clipping makes treble where there was none, which the other's level cannot follow.
		clipped, long := way.q.clippedMore(way.p), way.q
		if clipped {
			long = long.unclipped()
		}
		hz, ok := edge(way.p, long)
		if ok = ok && !(way.q.steady(hz+bandHz) && left.onlyNoise(way.q, hz)); !ok && !clipped {
			hz, ok = left.hiddenEdge(way.at)
		}
		if ok {
			say("%s ends at %.1f kHz where %s goes on: a sample-rate conversion, lossy coding or another band limit in %s", way.short, hz/1000, way.long, way.short)
		}
	}
}

// edge finds where p ends and q does not, from their mean spectra.
func edge(p, q profile) (hz float64, ok bool) {
	ratio := quotient(p, q)
	top := len(ratio)
	for floor := leastDensity * q.between(250, 4000); top > 0 && q.between(float64(top-1)*bandHz, float64(top)*bandHz) < floor; {
		top--
	}
	edge := top
	for edge > 0 && ratio[edge-1] < gone {
		edge--
	}
	hz = float64(edge) * bandHz
	return hz, top-edge >= 2 && hz >= lowestEdgeHz && slices.Max(ratio[max(0, edge-3):edge]) >= there
}

const (
	bandHz       = 500.0
	gone, there  = 0.06, 0.5 // power left: −12 dB and −3 dB
	lowestEdgeHz = 4000.0
	// leastDensity is the power below which a band counts as empty, against the same width of the middle of the music:
	// what stands there is rounding.
	leastDensity = 1e-8
	// leastSure is the standard error up to which a share of the power left is known, a little less than gone.
	leastSure = 0.05
)

// hiddenEdge finds where one capture ends though noise goes on, or a code puts something else in its place: there its
// level no longer follows the other's. The short one stands at place short of a pair. Bands whose level in the other
// hardly changes tell nothing.
func (r *remainder) hiddenEdge(short int) (hz float64, ok bool) {
	k := r.final()
	first, bands := len(thirdOctaves(r.rate)), r.bands
	lost := 0
	for i := len(bands) - 1; i >= first && bands[i].LowHz >= lowestEdgeHz-3*bandHz; i-- {
		left, known := r.share(i, short, k)
		switch {
		case !known && lost == 0:
		case known && left < gone:
			lost++
			hz = bands[i].LowHz
		case known && left >= there:
			return hz, lost >= 2 && hz >= lowestEdgeHz && hz-bands[i].LowHz <= 3*bandHz
		case hz-bands[i].LowHz > 3*bandHz:
			return 0, false
		}
	}
	return 0, false
}

// share returns what of the other capture's power in a band stands in the short one too, and whether that is known.
func (r *remainder) share(band, short int, k float64) (left float64, known bool) {
	pairs := make([][2]float64, len(r.course[band]))
	for j, p := range r.course[band] {
		pairs[j] = [2]float64{p[0] * k * k, p[1]}
		if short == 0 {
			pairs[j] = [2]float64{p[1], p[0] * k * k}
		}
	}
	left, error, deciding := slope(pairs)
	lo, hi := r.bins(r.bands[band].LowHz, r.bands[band].HighHz)
	// All of it may be noise. Between gone and there is so much room that two attacks will do.
	return left, deciding >= 2 && math.Hypot(error, dilution(pairs, 1, float64((hi-lo)*len(r.aa)))) < leastSure
}

// quotient returns p's power over q's in bands of 500 Hz up to 0.98 of Nyquist, relative to that between 250 Hz and 4 kHz.
func quotient(p, q profile) []float64 {
	common := p.between(250, 4000) / q.between(250, 4000)
	var out []float64
	for low := 0.0; low+bandHz < 0.98*p.binHz*float64(len(p.power)-1); low += bandHz {
		out = append(out, p.between(low, low+bandHz)/q.between(low, low+bandHz)/common)
	}
	return out
}

// between returns the mean power between two frequencies.
func (p profile) between(low, high float64) float64 {
	sum, lo, hi := 1e-300, int(low/p.binHz), int(high/p.binHz)
	for _, v := range p.power[lo:hi] {
		sum += v
	}
	return sum / float64(hi-lo)
}

// steady reports whether what stands in the band at hz is as steady as noise: the mean of its logarithms over hops of
// 10 ms is then 0.7 dB below the logarithm of its mean. That of music lies 5 to 50 dB below.
func (p profile) steady(hz float64) bool {
	b := min(int(hz/bandHz), len(p.logs)-1)
	mean := p.between(float64(b)*bandHz, float64(b+1)*bandHz) / p.hops
	return math.Log(mean)-p.logs[b]/p.hops < 2*math.Ln10/10
}

// onlyNoise reports whether what goes on above hz is no more than what is noise below it: then the capture is noisier,
// and no other one band-limited.
func (r *remainder) onlyNoise(long profile, hz float64) bool {
	top := math.Min(hz-bandHz, bandEdge(r.rate))
	s := r.sums(top-3*bandHz, top-bandHz, r.final(), -1)
	below, above := long.between(top-3*bandHz, top-bandHz), long.between(hz+bandHz, hz+2*bandHz)
	return s.rr/s.aa*below > above/4
}
