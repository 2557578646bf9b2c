package fault

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/match/audible"
	"heardiff/measure/match/fit"
	"heardiff/measure/match/residual"
	"heardiff/stats/warning"
)

// bandLimit says where the band of one capture ends well below the other's, the trace of a sample-rate conversion or
// of a lossy code: from the top of what the other holds down to there, all is 12 dB lower than in the other, and
// 1.5 kHz below it is nearly as strong. Both are averaged over the same stretches of the music, without those that hold an event.
func (f *finder) bandLimit(events []event) {
	both := f.sideBySide(events)
	for _, way := range []struct {
		short, long string
		p, q        *Capture
		at          int // of the short one in a pair
	}{{"B", "A", f.B, f.A, 1}, {"A", "B", f.A, f.B, 0}} {
		// Clipping makes treble where there was none, which the other's level cannot follow.
		clipped := way.q.clippedMore(way.p)
		if len(both.at) < leastStretches {
			return
		}
		p, q := both.means(way.at, clipped)
		hz, ok := edge(p, q, f.Rate.Hz()/2)
		if ok = ok && !(q.steady(hz+residual.BandHz) && f.onlyNoise(q, hz)); !ok && !clipped {
			hz, ok = f.hiddenEdge(way.at)
		}
		switch ok = ok && q.goesOn(hz); {
		case ok && images(f.Response, 1-way.at, hz):
			f.warn(warning.Newf(Images, "%s goes on above %.1f kHz, where %s ends, and is weaker below: images of a poor sample-rate conversion in %s", way.long, hz/1000, way.short, way.long).Of(hz, "Hz"))
		case ok:
			f.warn(warning.Newf(BandLimit, "%s ends at %.1f kHz where %s goes on: a sample-rate conversion, lossy coding or another band limit in %s", way.short, hz/1000, way.long, way.short).Of(hz, "Hz"))
		}
	}
}

// edge finds where p ends and q does not, from their mean spectra.
func edge(p, q densities, nyquist float64) (hz float64, ok bool) {
	ratio := quotient(p, q, 0.98*nyquist)
	top := len(ratio)
	for floor := leastDensity * q.between(residual.BandHz, 4000); top > 0 && q.power[top-1] < floor; {
		top--
	}
	edge := top
	for edge > 0 && ratio[edge-1] < gone {
		edge--
	}
	hz = float64(edge) * residual.BandHz
	return hz, top-edge >= 2 && hz >= lowestEdgeHz && slices.Max(ratio[max(0, edge-edgeBands):edge]) >= there
}

// goesOn reports whether there is no step at hz: where the music itself ends, clicks and distortion of a few stretches show
// in both captures, only higher in the one.
func (d densities) goesOn(hz float64) bool {
	return d.between(hz, hz+2*residual.BandHz) > leastOn*d.between(hz-2*residual.BandHz, hz)
}

// images reports whether the capture at index long of a pair, which goes on above hz, is weaker below: an interpolator that
// does not stop the images of what it should pass does not pass all of it. Next to hz, images may fill that gap.
func images(response []residual.ResponseBand, long int, hz float64) bool {
	weaker := 0.0
	for _, b := range response {
		if b.HighHz < belowEdge*hz {
			weaker = b.DB
		}
	}
	if long == 1 {
		weaker = -weaker
	}
	return weaker > drooped
}

const (
	gone, there  = 0.06, 0.5 // remaining power: −12 dB and −3 dB
	lowestEdgeHz = 4000.0
	// leastOn is the fall within a kilohertz that is no step: 15 dB. Music falls by 10 dB at the most, and where it ends by
	// itself by 20 dB and more.
	leastOn = 0.03
	// drooped is a loss in dB that a fair filter does not have there, and that a code does not fill up; straight lines between
	// samples, there and back, lose 5 dB and more.
	drooped = 3.0
	// leastDensity is the power below which a band counts as empty, against the same width of the middle of the music:
	// there is nothing but rounding.
	leastDensity = 1e-8
	// leastSure is the standard error up to which a share of the remaining power is known, a little less than gone.
	leastSure = 0.05
)

const (
	// edgeBands is over how many bands a capture may fade out for an edge: 1.5 kHz.
	edgeBands = 3
	// belowEdge is the part of the edge up to which the response counts: next to it images may fill the gap.
	belowEdge = 0.95
	// steadyLog is by how much the mean logarithm of noise lies below the logarithm of its mean at the most: 2 dB, between 0.7 for noise and 5 for music.
	steadyLog = 2 * math.Ln10 / 10
	// noiseRatio is the least ratio of what goes on above an edge to the noise below it for it to be more than noise. A judgement, no
	// source; TestNoiseInOneIsNoBandLimitOfTheOther holds it.
	noiseRatio = 4
)

// hiddenEdge finds where one capture ends though noise goes on, or a code puts something else in its place: there its
// level no longer follows the other's. short is the index of the capture that ends there in a pair. Bands whose level
// in the other hardly changes do not count.
func (r Evidence) hiddenEdge(short int) (hz float64, ok bool) {
	k := r.FinalGain()
	first, bands := len(residual.ThirdOctaves(r.Rate)), r.Bands
	lost := 0
	for i := len(bands) - 1; i >= first && bands[i].LowHz >= lowestEdgeHz-edgeBands*residual.BandHz; i-- {
		remaining, known := r.share(i, short, k)
		switch {
		case !known && lost == 0:
		case known && remaining < gone:
			lost++
			hz = bands[i].LowHz
		case known && remaining >= there:
			return hz, lost >= 2 && hz >= lowestEdgeHz && hz-bands[i].LowHz <= edgeBands*residual.BandHz
		case hz-bands[i].LowHz > edgeBands*residual.BandHz:
			return 0, false
		}
	}
	return 0, false
}

// share returns the share of the other capture's power in a band that the short one holds too, and whether it is known.
func (r Evidence) share(band, short int, k float64) (remaining float64, known bool) {
	pairs := make([][2]float64, len(r.LevelPairs[band]))
	for j, p := range r.LevelPairs[band] {
		pairs[j] = [2]float64{p[0] * k * k, p[1]}
		if short == 0 {
			pairs[j] = [2]float64{p[1], p[0] * k * k}
		}
	}
	remaining, error, deciding := fit.Slope(pairs)
	lo, hi := r.Bins(r.Bands[band].LowHz, r.Bands[band].HighHz)
	// All of it may be noise. Between gone and there is so much room that two attacks will do.
	return remaining, deciding >= 2 && math.Hypot(error, fit.Dilution(pairs, 1, float64((hi-lo)*len(r.Stretches))/audible.PerIndependentBin)) < leastSure
}

// quotient returns p's power over q's by band, up to a frequency, relative to that between 500 Hz and 4 kHz.
func quotient(p, q densities, top float64) []float64 {
	common := p.between(residual.BandHz, 4000) / q.between(residual.BandHz, 4000)
	var out []float64
	for b := 0; float64(b+1)*residual.BandHz < top; b++ {
		out = append(out, p.power[b]/q.power[b]/common)
	}
	return out
}

// steady reports whether the content of the band at hz is as steady as noise: the mean of its logarithms over hops of
// 10 ms is then 0.7 dB below the logarithm of its mean. That of music lies 5 to 50 dB below.
func (d densities) steady(hz float64) bool {
	b := min(int(hz/residual.BandHz), len(d.power)-1)
	return math.Log(d.power[b])-d.logs[b] < steadyLog
}

// onlyNoise reports whether what goes on above hz is no more than what is noise below it: then this capture is
// noisier, and the other is not band-limited.
func (r Evidence) onlyNoise(long densities, hz float64) bool {
	top := math.Min(hz-residual.BandHz, audible.Edge(r.Rate))
	s := r.Sums(top-edgeBands*residual.BandHz, top-residual.BandHz, r.FinalGain(), -1)
	below, above := meanBetween(long.all, top-edgeBands*residual.BandHz, top-residual.BandHz), long.between(hz+residual.BandHz, hz+2*residual.BandHz)
	return s.RR/s.AA*below > above/noiseRatio
}

// sideBySide holds the spectra of two captures over the same stretches of the music.
type sideBySide struct {
	of [2]*spectra // A, B
	at [][2]float64
}

// sideBySide pairs the stretches of A that lie in the overlap and hold no event with those of B.
func (r Evidence) sideBySide(events []event) sideBySide {
	t := sideBySide{of: [2]*spectra{r.A.spectra, r.B.spectra}}
	length := r.A.spectra.every * r.A.spectra.hop
	for i := (r.Overlap[0] + length - 1) / length; (i+1)*length <= r.Overlap[1]; i++ {
		from := i * length
		if slices.ContainsFunc(events, func(e event) bool { return e.from < from+length+r.A.hop && e.to > from-r.A.hop }) {
			continue
		}
		t.at = append(t.at, [2]float64{float64(i), float64(i) + r.Line.Shift(float64(from))/float64(length)})
	}
	return t
}

// densities is a mean spectrum: by band, the power of a bin and the mean of its logarithm over hops of 10 ms. all is the power with the
// strongest stretches included, as in the residual.
type densities struct{ power, logs, all []float64 }

// leastStretches of a tenth of a second are needed for a spectrum.
const leastStretches = 20

// means returns the mean spectra of the capture at index short of the pair and of the other. In each band, the other's strongest thirtieth
// of stretches and their neighbours are left out of both: a click, or a cut into the middle of the music, is no treble of the music. calm
// takes the hops in which the other is free of clipping.
func (t sideBySide) means(short int, calm bool) (p, q densities) {
	without := max(2, len(t.at)/30)
	pairs, order := make([][2]level, len(t.at)), make([]float64, len(t.at))
	for b := range t.of[0].bands {
		for i, at := range t.at {
			pairs[i] = [2]level{t.of[short].at(at[short], b), t.of[1-short].at(at[1-short], b)}
			order[i] = pairs[i][1].power
		}
		limit := slices.Sorted(slices.Values(order))[len(order)-without]
		var sum, all [2]level
		for i, v := range pairs {
			all[0].add(v[0])
			all[1].add(v[1])
			// With their neighbours, since stretches of the two do not begin at the same instant.
			if slices.Max(order[max(0, i-1):min(len(order), i+2)]) >= limit {
				continue
			}
			for side := range sum {
				sum[side].add(v[side])
			}
		}
		p.add(sum[0], all[0], false)
		q.add(sum[1], all[1], calm)
	}
	return p, q
}

// add appends the mean of the next band, without the strongest stretches and with them.
func (d *densities) add(sum, all level, calm bool) {
	d.power, d.logs = append(d.power, sum.mean(calm)), append(d.logs, sum.logs/max(1, sum.hops))
	d.all = append(d.all, all.mean(calm))
}

// between returns the mean power between two frequencies, rounded to bands.
func (d densities) between(low, high float64) float64 { return meanBetween(d.power, low, high) }

func meanBetween(power []float64, low, high float64) float64 {
	lo := min(max(0, int(low/residual.BandHz)), len(power)-1)
	hi := min(max(lo+1, int(high/residual.BandHz)), len(power))
	return floats.Sum(power[lo:hi]) / float64(hi-lo)
}
