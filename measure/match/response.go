package match

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/stat/distuv"

	"heardiff/playback/pcm"
)

// thirdOctaves returns the bands of the response that lie below the band edge, by their place in the standard's series.
func thirdOctaves(rate pcm.Rate) []Band {
	var out []Band
	for i := -17; i <= 13; i++ {
		centre := 1000 * math.Pow(10, float64(i)/10)
		lo, hi := centre*math.Pow(10, -0.05), centre*math.Pow(10, 0.05)
		if lo >= bandEdge(rate) {
			break
		}
		out = append(out, Band{lo, hi, math.NaN()})
	}
	return out
}

// followed returns the bands whose levels are kept block by block: third octaves, then bands of 500 Hz, see bandLimit.
func followed(rate pcm.Rate) []Band {
	out := thirdOctaves(rate)
	for low := 0.0; low+bandHz <= bandEdge(rate); low += bandHz {
		out = append(out, Band{low, low + bandHz, math.NaN()})
	}
	return out
}

// bins returns those between two frequencies, at the most up to the band edge, as sums takes them.
func (r *remainder) bins(low, high float64) (lo, hi int) {
	per := float64(r.n) / r.rate.Hz()
	return max(1, int(math.Ceil(low*per))), min(r.n/2, int(math.Ceil(math.Min(high, bandEdge(r.rate))*per)))
}

// follow notes the levels of a block by band.
func (r *remainder) follow(a, rem [][]complex128) {
	for i, band := range r.bands {
		var level [2]float64
		lo, hi := r.bins(band.LowHz, band.HighHz)
		for c := range a {
			for k := lo; k < hi; k++ {
				z, b := a[c][k], a[c][k]-rem[c][k]
				level[0] += real(z)*real(z) + imag(z)*imag(z)
				level[1] += real(b)*real(b) + imag(b)*imag(b)
			}
		}
		r.course[i] = append(r.course[i], level)
	}
}

// response compares the captures in third octaves, in two ways, and takes the one that is surer. Both are relative to
// the gain k.
//
// The transfer function Σ conj(A)·B/Σ |A|² is not biased by noise in B, but by noise in A, and by whatever else makes the
// two incoherent, such as a wandering clock. What that can be is known: with coherence γ² the true value lies between it
// and 1/γ² times it, see transfer. The slope of B's level on A's over the blocks, see slope, is biased by neither, but needs music that is
// louder and softer.
func (r *remainder) response(k float64) []ResponseBand {
	var out []ResponseBand
	for i, band := range thirdOctaves(r.rate) {
		s := r.sums(band.LowHz, math.Min(band.HighHz, bandEdge(r.rate)), k, -1)
		if s.bins < 1 {
			continue
		}
		b := r.transfer(band, k)
		// By half, and only against what no more music would mend: of two errors told by few blocks, the smaller is so by chance.
		if l := r.levelled(i, k, b); l.StandardErrorDB < open(b.Coherence)/2 || math.IsNaN(b.DB) {
			b = l
		}
		if !(b.StandardErrorDB < 1) {
			b.DB, b.StandardErrorDB = math.NaN(), math.NaN()
		}
		out = append(out, b)
	}
	return out
}

// transfer measures a band by the transfer function, each channel by itself. The standard error is that of least squares
// whatever the scatter of what is left, R⊥, does,
//
//	8.686·√(Σ |A|²·|R⊥|² / (2·(1 − 1/m))) / |Σ conj(A)·B| dB
//
// which for noise that pays no heed to the music is the familiar 8.686·√((1 − γ²)/(2·n·γ²)) of n averages with
// coherence γ², but for m: as many equal terms would decide as much, of which the fit takes one. A decaying note lies in a few
// bins of a few blocks. The value is the middle between that of all noise being in B and that of all being in A, each as likely as any between.
// ref: J. S. Bendat, A. G. Piersol, Random Data, the random error of a gain factor estimate (from memory);
// H. White, Econometrica 48, 1980, for the form that allows any scatter (from memory).
func (r *remainder) transfer(band Band, k float64) ResponseBand {
	var aa, bb, joint, spread, aaaa float64
	for c := range r.aa {
		s := r.sums(band.LowHz, math.Min(band.HighHz, bandEdge(r.rate)), k, c)
		if !(s.aa > 0) {
			continue
		}
		m := s.aa * s.aa / (alike * s.aaaa)
		aa, bb, joint, aaaa = aa+s.aa, bb+s.bb, joint+cmplx.Abs(s.ab), aaaa+s.aaaa
		spread += s.spread() / max(1e-9, 1-1/m)
	}
	b := ResponseBand{Band: band, StandardErrorDB: math.NaN()}
	b.Coherence = min(1, joint*joint/(aa*bb))
	if b.Coherence > 0.3 {
		b.DB = pcm.DB(joint/aa) - pcm.DB(b.Coherence)/2
		b.deciding = max(1e-3, 2*(aa*aa/(alike*aaaa)-1)) // complex terms count twice
		b.StandardErrorDB = math.Hypot(20/math.Ln10*math.Sqrt(alike*spread/2)/joint*few(b.deciding, stated), open(b.Coherence))
	}
	return b
}

// open returns the standard error in dB of a level that is equally likely anywhere from all noise being in B to all being in A.
func open(coherence float64) float64 { return -pcm.DB(coherence) / math.Sqrt(12) }

// levelled measures a band by the slope of its levels; b is what the transfer function says of it, and of the share of A that may be noise.
func (r *remainder) levelled(band int, k float64, b ResponseBand) ResponseBand {
	ratio, se, deciding := slope(r.course[band])
	b.DB, b.StandardErrorDB, b.deciding = math.NaN(), math.NaN(), deciding
	if !(ratio > 0) {
		return b
	}
	se *= few(deciding, stated)
	lo, hi := r.bins(b.LowHz, b.HighHz)
	dilution := dilution(r.course[band], 1-b.Coherence, float64((hi-lo)*len(r.aa)))
	b.DB, b.StandardErrorDB = pcm.PowerDB(ratio/(k*k)), 10/math.Ln10*math.Hypot(se/ratio, dilution)
	return b
}

// leastBlocks is how many blocks tell a slope.
const leastBlocks = 10

// stated is by how many standard errors what is stated holds the truth as often as a normal law would: in 95.4 of 100.
const stated = 2

// few is by how much a standard error known from so many degrees of freedom is to be larger, that so many of it hold the truth as
// often as so many should.
// ref: R. M. Bell, D. F. McCaffrey, Survey Methodology 28, 2002, for degrees of freedom by Satterthwaite's rule (from memory).
func few(deciding, errors float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: deciding}
	return t.Quantile(distuv.UnitNormal.CDF(errors)) / errors
}

// slope returns the slope of the second value of each pair on the first, by least squares, and its standard error, which
// allows that blocks scatter by different amounts and that a few loud ones decide: how many, is returned too. Steady noise
// in either leaves the slope as it is.
// ref: J. G. MacKinnon, H. White, Journal of Econometrics 29, 1985, the form HC3 (from memory).
func slope(pairs [][2]float64) (ratio, error, deciding float64) {
	if len(pairs) < leastBlocks {
		return math.NaN(), math.NaN(), 0
	}
	line := newFit()
	for _, p := range pairs {
		line.add(p[0], p[1], 1)
	}
	base, ratio := line.solve()
	middle, spread := scatter(pairs)
	if !(spread > 0) {
		return math.NaN(), math.NaN(), 0
	}
	sum, fourth := 0.0, 0.0
	for _, p := range pairs {
		d := p[0] - middle
		fourth += d * d * d * d
		leverage := 1/float64(len(pairs)) + d*d/spread
		miss := d * (p[1] - base - ratio*p[0]) / max(1e-9, 1-leverage)
		sum += miss * miss
	}
	deciding = spread * spread / fourth
	return ratio, math.Sqrt(sum) / spread, deciding
}

// scatter returns the mean of the first values and the sum of their squared deviations from it.
func scatter(pairs [][2]float64) (mean, sum float64) {
	for _, p := range pairs {
		mean += p[0] / float64(len(pairs))
	}
	for _, p := range pairs {
		sum += (p[0] - mean) * (p[0] - mean)
	}
	return mean, sum
}

// dilution returns the share by which chance in A's own noise lowers a slope at the most: a block of m bins with mean
// power a, of which a share is noise, scatters by up to a·√(2·share/m) from what is common.
func dilution(pairs [][2]float64, share, m float64) float64 {
	mean, spread := scatter(pairs)
	return 2 * share * float64(len(pairs)) * mean * mean * alike / (m * spread)
}

// apart is by how many standard errors a difference in one of some thirty bands stands clear: by chance, in 1 comparison of 500.
const apart = 4

// largest returns the largest difference that stands clear of its own uncertainty and of the common gain's; 0 if none
// does, NaN if nothing was measurable.
func largest(bands []ResponseBand, gainError float64) float64 {
	best := math.NaN()
	for _, b := range bands {
		if math.IsNaN(b.DB) {
			continue
		}
		if math.IsNaN(best) {
			best = 0
		}
		clear := b.StandardErrorDB * few(b.deciding, apart) / few(b.deciding, stated)
		if math.Abs(b.DB) > math.Abs(best) && math.Abs(b.DB) > apart*math.Hypot(clear, gainError) {
			best = b.DB
		}
	}
	return best
}
