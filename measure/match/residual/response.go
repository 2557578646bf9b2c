package residual

import (
	"math"
	"math/cmplx"

	"heardiff/measure/match/audible"
	"heardiff/measure/match/fit"
	"heardiff/playback/pcm"
)

// Response compares the captures in third octaves, in two ways, and takes the one that is surer. Both are relative to
// the gain k.
//
// The transfer function Σ conj(A)·B/Σ |A|² is not biased by noise in B, but by noise in A, and by whatever else makes the
// two incoherent, such as a wandering clock. What that can be is known: with coherence γ² the true value lies between it
// and 1/γ² times it, see transfer. The slope of B's level on A's over the blocks, see slope, is biased by neither, but needs music that is
// louder and softer.
func (r *Record) Response(k float64) []ResponseBand {
	var out []ResponseBand
	for i, band := range ThirdOctaves(r.Rate) {
		s := r.Sums(band.LowHz, band.HighHz, k, -1)
		if s.bins < 1 {
			continue
		}
		b := r.transfer(band, k)
		// By half, and only against what no more music would mend: of two errors estimated from few blocks, the smaller is so by chance.
		if l := r.byLevels(i, k, b); l.StandardErrorDB < openError(b.Coherence)/2 || math.IsNaN(b.DB) {
			b = l
		}
		if !(b.StandardErrorDB < 1) {
			b.DB, b.StandardErrorDB = math.NaN(), math.NaN()
		}
		out = append(out, b)
	}
	return out
}

// leastCoherence is the least coherence at which a transfer function is stated: below it the truth may lie 10 dB away. A judgement,
// no source; TestBandsAndChannelsNeedSomethingInCommon holds it.
const leastCoherence = 0.3

// transfer measures a band by the transfer function, each channel by itself. The standard error is that of least squares
// whatever the scatter of the residual, R⊥, does,
//
//	8.686·√(Σ |A|²·|R⊥|² / (2·(1 − 1/m))) / |Σ conj(A)·B| dB
//
// which for noise independent of the music is the familiar 8.686·√((1 − γ²)/(2·n·γ²)) of n averages with
// coherence γ², but for m, the number of equal terms that would decide as much, one of which the fit takes. A decaying note lies in a few
// bins of a few blocks. The value is midway between the one for all noise in B and the one for all noise in A, since every value between
// is as likely.
// ref: J. S. Bendat, A. G. Piersol, Random Data, the random error of a gain factor estimate (from memory);
// H. White, Econometrica 48, 1980, for the form that allows any scatter (from memory).
func (r *Record) transfer(band Band, k float64) ResponseBand {
	var aa, bb, joint, spread, aaaa float64
	for c := range r.sums {
		s := r.Sums(band.LowHz, band.HighHz, k, c)
		if !(s.AA > 0) {
			continue
		}
		m := s.AA * s.AA / (audible.PerIndependentBin * s.aaaa)
		aa, bb, joint, aaaa = aa+s.AA, bb+s.BB, joint+cmplx.Abs(s.AB), aaaa+s.aaaa
		spread += s.spread() / max(1e-9, 1-1/m)
	}
	b := ResponseBand{Band: band, StandardErrorDB: math.NaN()}
	b.Coherence = min(1, joint*joint/(aa*bb))
	if b.Coherence > leastCoherence {
		b.DB = pcm.DB(joint/aa) - pcm.DB(b.Coherence)/2
		b.deciding = max(1e-3, 2*(aa*aa/(audible.PerIndependentBin*aaaa)-1)) // complex terms count twice
		b.StandardErrorDB = math.Hypot(20/math.Ln10*math.Sqrt(audible.PerIndependentBin*spread/2)/joint*fit.StudentFactor(b.deciding, fit.Stated), openError(b.Coherence))
	}
	return b
}

// openError returns the standard error in dB of a level that is equally likely anywhere from all noise being in B to all being in A.
func openError(coherence float64) float64 { return -pcm.DB(coherence) / math.Sqrt(12) }

// byLevels measures a band by the slope of its levels; b is what the transfer function says of it, and of the share of A that may be noise.
func (r *Record) byLevels(band int, k float64, b ResponseBand) ResponseBand {
	ratio, se, deciding := fit.Slope(r.LevelPairs[band])
	b.DB, b.StandardErrorDB, b.deciding = math.NaN(), math.NaN(), deciding
	if !(ratio > 0) {
		return b
	}
	se *= fit.StudentFactor(deciding, fit.Stated)
	lo, hi := r.Bins(b.LowHz, b.HighHz)
	dilution := fit.Dilution(r.LevelPairs[band], 1-b.Coherence, float64((hi-lo)*len(r.sums))/audible.PerIndependentBin)
	b.DB, b.StandardErrorDB = pcm.PowerDB(ratio/(k*k)), 10/math.Ln10*math.Hypot(se/ratio, dilution)
	return b
}

// apart is how many standard errors make a difference in one of some thirty bands clear: chance alone does so in 1 comparison of
// 500.
const apart = 4

// Largest returns the largest difference that exceeds its own uncertainty and the common gain's; 0 if none
// does, NaN if nothing was measurable.
func Largest(bands []ResponseBand, gainError float64) float64 {
	best := math.NaN()
	for _, b := range bands {
		if math.IsNaN(b.DB) {
			continue
		}
		if math.IsNaN(best) {
			best = 0
		}
		clear := b.StandardErrorDB * fit.StudentFactor(b.deciding, apart) / fit.StudentFactor(b.deciding, fit.Stated)
		if math.Abs(b.DB) > math.Abs(best) && math.Abs(b.DB) > apart*math.Hypot(clear, gainError) {
			best = b.DB
		}
	}
	return best
}

// ResponseBand is a level difference B − A, with its standard error from the coherence; NaN where the two
// captures hold nothing common.
type ResponseBand struct {
	Band
	StandardErrorDB float64 `json:"standard_error_db"`
	Coherence       float64 `json:"coherence"`
	deciding        float64 // degrees of freedom of the error
}
