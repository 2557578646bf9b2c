package residual

import (
	"math"

	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// BandSums are the sums over a band of frequencies, for the final gain.
type BandSums struct {
	AA, RR, BB float64 // R and corrected B of the final gain
	AB         complex128
	aaaa, aarr float64 // Σ |A|⁴, Σ |A|²·|R|²
	aaar       complex128
	bins       int
}

// spread returns Σ |A|²·|R⊥|², R⊥ what no fixed gain makes of A: the variance of Σ conj(A)·B, whether or not the
// residual is where the music is.
func (s BandSums) spread() float64 {
	h := 1 - s.AB/complex(s.AA, 0)
	return max(0, s.aarr-2*(real(h)*real(s.aaar)+imag(h)*imag(s.aaar))+squared(h)*s.aaaa)
}

// FinalGain returns the factor that brings the provisional corrected B (A − R) to the final one: least squares.
// A channel that is inverted against the others counts by its magnitude.
func (r *Record) FinalGain() float64 {
	var joint, power float64
	for c := range r.sums {
		s := r.Sums(audible.LowHz, audible.HighHz, 1, c)
		joint += math.Abs(real(s.AB))
		power += s.AA
	}
	return joint / power
}

// Sums adds the bins of Bins. k is the gain still in A − R, see FinalGain. channel −1: all.
//
//	corrected B = (A − R)/k, residual = A − corrected B = (1 − 1/k)·A + R/k
func (r *Record) Sums(low, high, k float64, channel int) BandSums {
	var s BandSums
	lo, hi := r.Bins(low, high)
	s.bins = hi - lo
	u, v := 1-1/k, 1/k
	for c := range r.sums {
		if channel >= 0 && c != channel {
			continue
		}
		for _, b := range r.sums[c][lo:max(lo, hi)] {
			aa, rr, ar := b.aa, b.rr, b.ar
			s.AA += aa
			// The three terms cancel in a deep null; the rest is then rounding, which can be negative.
			s.RR += max(u*u*aa+2*u*v*real(ar)+v*v*rr, 0x1p-52*(u*u*aa+v*v*rr))
			s.BB += v * v * (aa - 2*real(ar) + rr)
			s.AB += complex(v, 0) * (complex(aa, 0) - ar)
			s.aaaa += b.aaaa
			s.aarr += u*u*b.aaaa + 2*u*v*real(b.aaar) + v*v*b.aarr
			s.aaar += complex(u*b.aaaa, 0) + complex(v, 0)*b.aaar
		}
	}
	return s
}

// GainError is the standard error of the gain in dB: the scatter of least squares, and the uncertainty about how
// much of the residual is A's own noise, which lowers the estimate by up to residual/signal.
func (r *Record) GainError(s BandSums) float64 {
	q := s.RR / s.AA
	n := float64(r.blocks*s.bins*len(r.sums)) / audible.PerIndependentBin
	return 20 / math.Ln10 * math.Sqrt(q/(2*n)+q*q/3)
}

// Octaves returns the null in octaves from 31.5 Hz on, at gain k.
func (r *Record) Octaves(k float64) []Band {
	var out []Band
	for centre := 31.25; centre < audible.Edge(r.Rate); centre *= 2 {
		lo, hi := math.Max(audible.LowHz, centre/math.Sqrt2), math.Min(centre*math.Sqrt2, audible.Edge(r.Rate))
		if s := r.Sums(lo, hi, k, -1); s.bins > 0 {
			out = append(out, Band{lo, hi, pcm.PowerDB(s.RR / s.AA)})
		}
	}
	return out
}
