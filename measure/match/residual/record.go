// Package residual measures what differs once B is aligned with A: R = A − B/gain, in one pass over both, and from its sums the null,
// the response, the channels, and shares of noise, distortion, response and timing.
package residual

import (
	"math"
	"math/cmplx"

	"heardiff/measure"
	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// Record holds the sums over the overlap of A, and of R = A − sign·B/gain with a provisional gain,
// by channel and bin. Keeping R and not B keeps a deep null clear of rounding.
type Record struct {
	Rate       pcm.Rate
	N          int
	hop        int
	Gain       float64 // provisional
	blocks     int
	sums       [][]binSums    // by channel and bin
	Bands      []Band         // whose levels are followed, see followed
	LevelPairs [][][2]float64 // [band][block], |A|² and |B|² over channels, B of the provisional gain
	Stretches  [][]Stretch    // by channel, in the order of time
	BlockGains []BlockGain
	timing     []timingSums
	following  [][]blockPower             // [third octave][block and channel]
	Curves     []Curve                    // by channel
	Differs    bool                       // A and B differ anywhere, even in blocks whose spectra are not taken
	Loudness   [2]measure.LoudnessReading // of A and of B as it is
	source     source                     // for a second look at single places
}

// binSums are the sums of |A|², of |R|² and of conj(A)·R; and of products weighted by |A|², from which scatter is estimated: |A|⁴,
// |A|²·|R|², |A|²·conj(A)·R.
type binSums struct {
	aa, rr, aaaa, aarr float64
	ar, aaar           complex128
}

func (s *binSums) add(o binSums) {
	s.aa, s.rr, s.aaaa, s.aarr = s.aa+o.aa, s.rr+o.rr, s.aaaa+o.aaaa, s.aarr+o.aarr
	s.ar, s.aaar = s.ar+o.ar, s.aaar+o.aaar
}

func newRecord(rate pcm.Rate, channels, n int, gain float64) *Record {
	r := &Record{Rate: rate, N: n, hop: n, Gain: gain, Bands: followedBands(rate), Curves: make([]Curve, channels), Stretches: make([][]Stretch, channels)}
	r.LevelPairs, r.following = make([][][2]float64, len(r.Bands)), make([][]blockPower, len(ThirdOctaves(rate)))
	for range channels {
		r.sums = append(r.sums, make([]binSums, n/2+1))
	}
	return r
}

func (r *Record) merge(p *Record) {
	r.blocks += p.blocks
	r.Differs = r.Differs || p.Differs
	r.timing, r.BlockGains = append(r.timing, p.timing...), append(r.BlockGains, p.BlockGains...)
	for i, c := range p.LevelPairs {
		r.LevelPairs[i] = append(r.LevelPairs[i], c...)
	}
	for i, b := range p.following {
		r.following[i] = append(r.following[i], b...)
	}
	for c := range r.sums {
		r.Curves[c].merge(p.Curves[c])
		r.Stretches[c] = append(r.Stretches[c], p.Stretches[c]...)
		for k, s := range p.sums[c] {
			r.sums[c][k].add(s)
		}
	}
}

func (r *Record) collect(c int, a, rem []complex128) {
	for k, z := range a {
		aa, rr, ar := squared(z), squared(rem[k]), cmplx.Conj(z)*rem[k]
		r.sums[c][k].add(binSums{aa, rr, aa * aa, aa * rr, ar, complex(aa*real(ar), aa*imag(ar))})
	}
}

// noteGains takes the levels of a block.
func (r *Record) noteGains(at int, a, rem [][]complex128) {
	l, bands := BlockGain{At: at}, ThirdOctaves(r.Rate)
	for c := range a {
		var db []float64
		for _, band := range bands {
			lo, hi := r.Bins(band.LowHz, band.HighHz)
			db = append(db, levelDB(a[c][lo:hi], rem[c][lo:hi]))
		}
		l.DB = append(l.DB, db)
	}
	r.BlockGains = append(r.BlockGains, l)
}

// noteLevels notes the levels of a block by band.
func (r *Record) noteLevels(a, rem [][]complex128) {
	for i, band := range r.Bands {
		var level [2]float64
		lo, hi := r.Bins(band.LowHz, band.HighHz)
		for c := range a {
			for k := lo; k < hi; k++ {
				level[0] += squared(a[c][k])
				level[1] += squared(a[c][k] - rem[c][k])
			}
		}
		r.LevelPairs[i] = append(r.LevelPairs[i], level)
	}
}

// Bins returns the range of bins between two frequencies, up to the band edge at the most, as Sums takes them.
func (r *Record) Bins(low, high float64) (lo, hi int) {
	per := float64(r.N) / r.Rate.Hz()
	return max(1, int(math.Ceil(low*per))), min(r.N/2, int(math.Ceil(math.Min(high, audible.Edge(r.Rate))*per)))
}
