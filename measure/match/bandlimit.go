package match

import (
	"math"
	"slices"
)

// bandLimit tells where one capture ends well below the other: the trace of a sample-rate conversion, or of a lossy
// code. That is where, from the top of what the other holds down, all is 12 dB lower than in it, and 1.5 kHz below
// nearly as strong. Both are looked at over the same stretches of the music, those left out in which something happens.
func bandLimit(found aligned, left *remainder, events []event, response []ResponseBand, say func(string, ...any)) {
	both := found.sideBySide(events)
	for _, way := range []struct {
		short, long string
		p, q        profile
		at          int // of the short one in a pair
	}{{"B", "A", found.b, found.a, 1}, {"A", "B", found.a, found.b, 0}} {
		// Clipping makes treble where there was none, which the other's level cannot follow.
		clipped := way.q.clippedMore(way.p)
		p, q, ok := both.means(way.at, clipped)
		if !ok {
			return
		}
		hz, ok := edge(p, q, left.rate.Hz()/2)
		if ok = ok && !(q.steady(hz+bandHz) && left.onlyNoise(q, hz)); !ok && !clipped {
			hz, ok = left.hiddenEdge(way.at)
		}
		switch ok = ok && q.goesOn(hz); {
		case ok && images(response, 1-way.at, hz):
			say("%s goes on above %.1f kHz, where %s ends, and is weaker below: images of a poor sample-rate conversion in %s", way.long, hz/1000, way.short, way.long)
		case ok:
			say("%s ends at %.1f kHz where %s goes on: a sample-rate conversion, lossy coding or another band limit in %s", way.short, hz/1000, way.long, way.short)
		}
	}
}

// edge finds where p ends and q does not, from their mean spectra.
func edge(p, q densities, nyquist float64) (hz float64, ok bool) {
	ratio := quotient(p, q, 0.98*nyquist)
	top := len(ratio)
	for floor := leastDensity * q.between(bandHz, 4000); top > 0 && q.power[top-1] < floor; {
		top--
	}
	edge := top
	for edge > 0 && ratio[edge-1] < gone {
		edge--
	}
	hz = float64(edge) * bandHz
	return hz, top-edge >= 2 && hz >= lowestEdgeHz && slices.Max(ratio[max(0, edge-3):edge]) >= there
}

// goesOn reports whether no step stands at hz: where the music itself ends, clicks and distortion of a few stretches show
// in the one capture as they do in the other, only higher.
func (d densities) goesOn(hz float64) bool {
	return d.between(hz, hz+2*bandHz) > leastOn*d.between(hz-2*bandHz, hz)
}

// images reports whether the capture at place long of a pair, which goes on above hz, is weaker below: an interpolator that
// does not stop the images of what it should pass does not pass all of it. Next to hz, images may fill that gap.
func images(response []ResponseBand, long int, hz float64) bool {
	weaker := 0.0
	for _, b := range response {
		if b.HighHz < 0.95*hz {
			weaker = b.DB
		}
	}
	if long == 1 {
		weaker = -weaker
	}
	return weaker > drooped
}

const (
	gone, there  = 0.06, 0.5 // power left: −12 dB and −3 dB
	lowestEdgeHz = 4000.0
	// leastOn is the fall within a kilohertz that is no step: 15 dB. Music falls by 10 dB at the most, and where it ends by
	// itself by 20 dB and more.
	leastOn = 0.03
	// drooped is a loss in dB that a fair filter does not have there, and that a code does not fill up; straight lines between
	// samples, there and back, lose 5 dB and more.
	drooped = 3.0
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

// quotient returns p's power over q's by band, up to a frequency, relative to that between 500 Hz and 4 kHz.
func quotient(p, q densities, top float64) []float64 {
	common := p.between(bandHz, 4000) / q.between(bandHz, 4000)
	var out []float64
	for b := 0; float64(b+1)*bandHz < top; b++ {
		out = append(out, p.power[b]/q.power[b]/common)
	}
	return out
}

// steady reports whether what stands in the band at hz is as steady as noise: the mean of its logarithms over hops of
// 10 ms is then 0.7 dB below the logarithm of its mean. That of music lies 5 to 50 dB below.
func (d densities) steady(hz float64) bool {
	b := min(int(hz/bandHz), len(d.power)-1)
	return math.Log(d.power[b])-d.logs[b] < 2*math.Ln10/10
}

// onlyNoise reports whether what goes on above hz is no more than what is noise below it: then the capture is noisier,
// and no other one band-limited.
func (r *remainder) onlyNoise(long densities, hz float64) bool {
	top := math.Min(hz-bandHz, bandEdge(r.rate))
	s := r.sums(top-3*bandHz, top-bandHz, r.final(), -1)
	below, above := long.wholeBetween(top-3*bandHz, top-bandHz), long.between(hz+bandHz, hz+2*bandHz)
	return s.rr/s.aa*below > above/4
}
