package match

import (
	"math"

	"heardiff/playback/pcm"
)

// bands sums the remainder over bins lo to hi−1 of all channels, for the final gain.
type bandSums struct {
	aa, rr, bb float64 // R and corrected B of the final gain
	ab         complex128
	aaaa, aarr float64 // Σ |A|⁴, Σ |A|²·|R|²
	aaar       complex128
	bins       int
}

// spread returns Σ |A|²·|R⊥|², R⊥ what no fixed gain makes of A: the variance of Σ conj(A)·B, whether or not what is
// left stands where the music does.
func (s bandSums) spread() float64 {
	h := 1 - s.ab/complex(s.aa, 0)
	return max(0, s.aarr-2*(real(h)*real(s.aaar)+imag(h)*imag(s.aaar))+(real(h)*real(h)+imag(h)*imag(h))*s.aaaa)
}

// final returns the factor that brings the provisional corrected B (A − R) to the final one: least squares.
// A channel that is inverted against the others counts by its magnitude.
func (r *remainder) final() float64 {
	var joint, power float64
	for c := range r.aa {
		s := r.sums(lowHz, bandEdge(r.rate), 1, c)
		joint += math.Abs(real(s.ab))
		power += s.aa
	}
	return joint / power
}

// sums adds bins between two frequencies. k is the gain still in A − R, see final. channel −1 stands for all.
//
//	corrected B = (A − R)/k, remainder = A − corrected B = (1 − 1/k)·A + R/k
func (r *remainder) sums(low, high, k float64, channel int) bandSums {
	var s bandSums
	lo := max(1, int(math.Ceil(low*float64(r.n)/r.rate.Hz())))
	hi := min(r.n/2, int(math.Ceil(high*float64(r.n)/r.rate.Hz())))
	s.bins = hi - lo
	u, v := 1-1/k, 1/k
	for c := range r.aa {
		if channel >= 0 && c != channel {
			continue
		}
		for i := lo; i < hi; i++ {
			aa, rr, ar := r.aa[c][i], r.rr[c][i], r.ar[c][i]
			s.aa += aa
			s.rr += u*u*aa + 2*u*v*real(ar) + v*v*rr
			s.bb += v * v * (aa - 2*real(ar) + rr)
			s.ab += complex(v, 0) * (complex(aa, 0) - ar)
			s.aaaa += r.aaaa[c][i]
			s.aarr += u*u*r.aaaa[c][i] + 2*u*v*real(r.aaar[c][i]) + v*v*r.aarr[c][i]
			s.aaar += complex(u*r.aaaa[c][i], 0) + complex(v, 0)*r.aaar[c][i]
		}
	}
	return s
}

func report(f pcm.Format, found aligned, left *remainder) Result {
	k := left.final()
	all := left.sums(lowHz, bandEdge(f.Rate), k, -1)
	gain := found.gain * k
	r := Result{
		Schema: Schema, OffsetSamples: found.offset, OffsetS: found.offset / f.Rate.Hz(), DriftPPM: 1e6 * found.drift,
		GainDB: pcm.DB(gain), Polarity: Same, ChannelsSwapped: found.swapped,
		NullDB: pcm.PowerDB(all.rr / all.aa), Identical: !left.differs,
		Correlation: real(all.ab) / math.Sqrt(all.aa*all.bb),
		OverlapS:    f.Rate.Seconds(found.overlap[1] - found.overlap[0]), Confidence: found.confidence(all.rr/all.aa + found.skipped),
		LoudnessDifferenceLU: left.loudness[1].IntegratedLUFS - left.loudness[0].IntegratedLUFS, line: found.line,
	}
	if found.sign < 0 {
		r.Polarity = Inverted
	}
	r.StandardErrors = StandardErrors{found.seOffset, 1e6 * found.seDrift, left.gainError(all)}
	r.NullBands = left.octaves(k)
	r.ResponseBands = left.response(k)
	r.ResponseMaxDB = largest(r.ResponseBands, r.StandardErrors.GainDB)
	own := left.channels(k)
	for c := range own {
		r.likeness += own[c].correlation * math.Sqrt(own[c].powerA*own[c].powerB/(all.aa*all.bb))
		if !math.IsNaN(own[c].late) {
			own[c].late = found.late[c]
		}
	}
	for _, c := range own {
		r.inverted = append(r.inverted, c.inverted && c.correlation >= leastCommon)
		r.Channels = append(r.Channels, Channel{c.channel, r.GainDB + c.gainDB, found.offset + c.late})
	}
	r.likeness = max(r.likeness, found.alike())
	r.Wander = found.report(f.Rate)
	r.Residual = left.kind(k, all)
	// A filter delays what it passes by its own amount at every frequency: what music plays then moves the track too.
	if r.Residual.Response > 0.9 && r.Residual.Timing < 0.1 {
		r.Wander.Significant = false
	}
	r.Warnings, r.passing = warnings(f, found, left, own, r)
	return r
}

// gainError is the standard error of the gain in dB: the scatter of least squares, and that it is unknown how
// much of the remainder is A's own noise, which lowers the estimate by up to remainder/signal.
func (r *remainder) gainError(s bandSums) float64 {
	q := s.rr / s.aa
	n := float64(r.blocks*s.bins*len(r.aa)) / alike
	return 20 / math.Ln10 * math.Sqrt(q/(2*n)+q*q/3)
}

func (r *remainder) octaves(k float64) []Band {
	var out []Band
	for centre := 31.25; centre < bandEdge(r.rate); centre *= 2 {
		lo, hi := math.Max(lowHz, centre/math.Sqrt2), math.Min(centre*math.Sqrt2, bandEdge(r.rate))
		if s := r.sums(lo, hi, k, -1); s.bins > 0 {
			out = append(out, Band{lo, hi, pcm.PowerDB(s.rr / s.aa)})
		}
	}
	return out
}

func (f aligned) report(rate pcm.Rate) Wander {
	w := Wander{RMSSamples: f.wanderRMS, PeakSamples: f.wanderMax, Significant: f.wandering}
	n := len(f.track)
	if n < 8 {
		w.RMSSamples, w.PeakSamples, w.BelowHz = math.NaN(), math.NaN(), math.NaN()
		return w
	}
	w.BelowHz = rate.Hz() * smoothed / f.every()
	pieces := min(8, n/4)
	for i := range pieces {
		part := f.track[i*n/pieces : (i+1)*n/pieces]
		line := newFit()
		for _, p := range part {
			line.add(p.t, p.delay, p.weight)
		}
		_, drift := line.solve()
		w.Pieces = append(w.Pieces, Piece{part[0].t / rate.Hz(), part[len(part)-1].t / rate.Hz(), 1e6 * (f.drift + drift)})
	}
	return w
}
