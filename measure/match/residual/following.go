package residual

import (
	"cmp"
	"math/cmplx"
	"slices"
)

// blockPower holds the powers of one channel of one block in one band: of A, of R, and of what of R no gain, slope and delay of the block makes of A.
type blockPower struct{ a, rem, own float64 }

// leastFollowedBins is how many bins a band needs for what no gain, slope and delay makes of A to be distinguished from A. A judgement, no source;
// TestWhatFollowsNeedsBinsAndBlocks holds it.
const leastFollowedBins = 16

// steadySlope is the spread of a's power across the band from which on a slope is distinguished from a gain: less is rounding.
const steadySlope = 1e-9

// leastFollowedBlocks is how many blocks are loud and how many quiet. A judgement, no source; TestWhatFollowsNeedsBinsAndBlocks holds it.
const leastFollowedBlocks = 4

// noteFollowing notes the powers of a block by third octaves.
func (r *Record) noteFollowing(a, rem [][]complex128) {
	for i, band := range ThirdOctaves(r.Rate) {
		lo, hi := r.Bins(band.LowHz, band.HighHz)
		if hi-lo < leastFollowedBins {
			continue
		}
		for c := range a {
			r.following[i] = append(r.following[i], powersOf(a[c][lo:hi], rem[c][lo:hi]))
		}
	}
}

// powersOf takes out of rem what a response that changes steadily across the band makes of a: a gain, its slope, and a delay.
func powersOf(a, rem []complex128) blockPower {
	var p blockPower
	var flat, slope complex128 // what rem has of a, and of a times the place x in the band, −1 to 1
	var ax, axx float64
	for k, z := range a {
		x := (2*float64(k)+1)/float64(len(a)) - 1
		za, both := squared(z), cmplx.Conj(z)*rem[k]
		p.a, ax, axx = p.a+za, ax+x*za, axx+x*x*za
		p.rem += squared(rem[k])
		flat, slope = flat+both, slope+complex(x, 0)*both
	}
	p.own = p.rem
	if p.a == 0 {
		return p
	}
	p.own -= squared(flat) / p.a
	// The gain has part of the slope already.
	slope -= complex(ax/p.a, 0) * flat
	if rest := axx - ax*ax/p.a; rest > steadySlope*p.a {
		p.own -= squared(slope) / rest
	}
	p.own = max(0, p.own)
	return p
}

func squared(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// Following says how R follows A in a band: where A is loud and where it is quiet, a third of the blocks and channels each. Mean powers.
type Following struct {
	Band
	Loud, Quiet float64 // power of A
	Own         float64 // of R where A is loud, without what a gain, a slope and a delay of each block makes of A
	Steady      float64 // of R where A is quiet
}

// Share returns the power of what follows the music, relative to the music where it is loud.
func (f Following) Share() float64 { return max(0, f.Own-f.Steady) / (f.Loud + 1e-300) }

// Followings returns how R follows A in each third octave that is wide enough, the lowest first. Where A is loud, R without what a gain, a slope and a delay of
// each block makes of A is no more than all of R where A is quiet, whatever noise A and B have of their own: the noise of A that this takes for
// music is missing there and not here.
func (r *Record) Followings() []Following {
	var out []Following
	for i, band := range ThirdOctaves(r.Rate) {
		blocks := slices.Clone(r.following[i])
		n := len(blocks) / 3
		if n < leastFollowedBlocks {
			continue
		}
		slices.SortStableFunc(blocks, func(p, q blockPower) int { return cmp.Compare(p.a, q.a) })
		f := Following{Band: band}
		for k := range n {
			loud, quiet := blocks[len(blocks)-1-k], blocks[k]
			f.Loud, f.Own = f.Loud+loud.a/float64(n), f.Own+loud.own/float64(n)
			f.Quiet, f.Steady = f.Quiet+quiet.a/float64(n), f.Steady+quiet.rem/float64(n)
		}
		out = append(out, f)
	}
	return out
}
