package align

import (
	"math"
	"math/cmplx"
	"slices"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"

	"gonum.org/v1/gonum/cmplxs"
	"gonum.org/v1/gonum/floats"
)

// tracker follows the delay of B from block to block by its spectra, without evaluating B anew: a delay of d
// frames turns bin k by −2π·k·d/n.
type tracker struct {
	g            *blocks
	c            cross
	delay        []float64 // of each block of c
	information  []float64 // the information on it: Σ ω²·common/noise
	significance []float64 // information, in standard deviations of what unrelated noise makes of it
	fit          []float64 // correlation of the block
	noise        []float64 // mean |A − B/gain|² by bin, the blocks' own delays taken out
	common       []float64 // share of |A|² that B holds too, by bin, 0 to 1
	gain         float64
}

func newTracker(g *blocks, c cross) *tracker {
	m := len(c.block)
	t := &tracker{g: g, c: c, gain: 1, delay: slices.Clone(c.frame), information: make([]float64, m), significance: make([]float64, m), fit: make([]float64, m)}
	t.noise, t.common = make([]float64, g.n/2+1), make([]float64, g.n/2+1)
	for k := range t.noise {
		for j := range c.power {
			t.noise[k] += c.power[j][k] / float64(len(c.power))
		}
		t.common[k] = 1
	}
	return t
}

// follow finds the delays by Gauss-Newton steps, each with the noise of the step before. At first delays
// may be large: they are sought by correlation, then by the angles of the lower bins, where they are unambiguous.
func (t *tracker) follow(first bool) {
	steps := 4
	if first {
		steps = 6
	}
	t.coarseDelays()
	t.sweep(false, 0)
	for step := range steps {
		t.sweep(first && step < 2, 1)
	}
}

// coarseDelays sets the delays of blocks whose correlation, with that of the two blocks on either side, peaks several
// frames away from where it should: a clock that wanders far, or a slip.
func (t *tracker) coarseDelays() {
	const reach = reachable
	course := make([][]float64, len(t.delay)) // by displacement from −reach on
	for j := range course {
		course[j] = make([]float64, 2*reach+1)
	}
	plan, joint, c := spectrum.NewPlan(t.g.n), make([]complex128, t.g.n/2+1), make([]float64, t.g.n)
	for j := range t.delay {
		clear(joint)
		all := 1e-300
		for k := t.g.lo; k < t.g.hi; k++ {
			size := math.Sqrt(cmplx.Abs(t.c.joint[j][k])) + 1e-300
			joint[k] = t.c.joint[j][k] / complex(size, 0)
			all += size
		}
		plan.Inverse(c, joint)
		for _, around := range course[max(0, j-2):min(len(course), j+3)] {
			for d := range around {
				around[d] += c[(d-reach+t.g.n)%t.g.n] / all
			}
		}
	}
	for j, c := range course {
		best := floats.MaxIdx(c)
		if c[best] > clearlyBetter*slices.Max(c[reach-2:reach+3]) {
			t.delay[j] = float64(best - reach)
		}
	}
}

// sums of one worker's blocks in one sweep.
type sweepSums struct {
	other, power []float64    // |B|², |A|²
	common       []complex128 // conj(A)·B, turned
}

// sweep turns every block by its delay and adds step times the weighted least squares of what the phase then shows,
//
//	δ = −Σ w·ω·φ / Σ w·ω², w = |A|²/N,
//
// N the noise of the sweep before. φ is the angle of the joint spectrum where delays may be large, else
// Im(joint)/(gain·|A|²), which noise does not bias. Bins that hold little but noise do not count: they would hold
// the estimate at zero.
func (t *tracker) sweep(large bool, step float64) {
	bins := len(t.noise)
	parts := make([]sweepSums, audible.Workers)
	for w := range parts {
		parts[w] = sweepSums{make([]float64, bins), make([]float64, bins), make([]complex128, bins)}
	}
	audible.Share(len(t.delay), func(w, j int) { t.block(j, large, step, parts[w]) })
	sum := parts[0]
	for _, p := range parts[1:] {
		floats.Add(sum.other, p.other)
		floats.Add(sum.power, p.power)
		cmplxs.Add(sum.common, p.common)
	}
	t.conclude(sum)
}

// conclude computes gain, noise and the common share from a sweep's sums.
func (t *tracker) conclude(sum sweepSums) {
	var joint, power float64
	for k := t.g.lo; k < t.g.hi; k++ {
		joint += real(sum.common[k])
		power += sum.power[k]
	}
	t.gain = joint / power
	m := float64(len(t.delay))
	for k := range t.noise {
		n := (sum.power[k] - 2*real(sum.common[k])/t.gain + sum.other[k]/(t.gain*t.gain)) / m
		t.noise[k] = max(n, 1e-15*sum.power[k]/m)
		// The magnitude: a delay still common to all blocks does not lower it.
		t.common[k] = min(1, cmplx.Abs(sum.common[k])/(math.Abs(t.gain)*sum.power[k]+1e-300))
	}
}

// leastShare is the share of a bin that must be common for it to count: chance alone, over 48 blocks, stays below.
const leastShare = 0.4

// leastSignificance is how many standard deviations of chance the common part of a block must exceed for the block to have a delay at all.
// The best of 10⁴ displacements of noise, as many as are tried for 128 blocks, reaches 4.
const leastSignificance = 6

func (t *tracker) block(j int, large bool, step float64, sum sweepSums) {
	per := 2 * math.Pi / float64(t.g.n)
	turn, by := cmplx.Rect(1, per*t.delay[j]*float64(t.g.lo)), cmplx.Rect(1, per*t.delay[j])
	top := t.g.hi
	if large {
		top = min(top, t.g.n/16) // up to an eighth of the rate a delay of four frames is still unambiguous
	}
	var num, den, information, chance, xx, xy, yy float64
	power, other := t.c.power[j], t.c.other[j]
	for k := t.g.lo; k < t.g.hi; k++ {
		z := t.c.joint[j][k] * turn
		turn *= by
		sum.common[k] += z
		sum.power[k] += power[k]
		sum.other[k] += other[k]
		xx, xy, yy = xx+power[k], xy+real(z), yy+other[k]
		if k >= top || t.common[k] < leastShare || power[k] == 0 {
			continue
		}
		omega := per * float64(k)
		w := t.common[k] * omega / t.noise[k]
		if large {
			num -= w * power[k] * cmplx.Phase(z)
		} else {
			num -= w * imag(z) / t.gain
		}
		den += w * omega * power[k]
		information += w * omega * real(z) / t.gain
		// The variance of Re(joint)/gain if the captures hold nothing in common in this bin of the block: their phases are then unrelated,
		// and together they make up no more noise than N. A tone of which little is left is thus not taken for chance, even in few bins.
		chance += math.Pow(w*omega, 2) * min(t.noise[k]*t.noise[k]/8, power[k]*other[k]/(2*t.gain*t.gain))
	}
	t.information[j], t.significance[j] = information, information/math.Sqrt(audible.PerIndependentBin*chance+1e-300)
	t.fit[j] = xy / math.Sqrt(xx*yy+1e-300)
	if den > 0 {
		t.delay[j] += step * num / den
	}
}

// points returns the track: the blocks that surely hold something in common. In a pause each capture plays its own noise; the delay that
// fits best there may be anything. Where no block is sure (a tone that begins elsewhere in each capture, say), all with any information
// count.
func (t *tracker) points() []point {
	var track, unsure []point
	for j, i := range t.c.block {
		p := point{t: t.g.middle(i), delay: t.delay[j] - t.c.frame[j], weight: t.information[j], fit: t.fit[j]}
		switch {
		case p.fit == 0: // silent
		case t.significance[j] > leastSignificance:
			track = append(track, p)
		case p.weight > 0:
			unsure = append(unsure, p)
		}
	}
	if len(track) == 0 {
		return unsure
	}
	return track
}

// point is a local delay: B is delay frames later than the line at frame t of A, with weight 1/variance up to a common scale. fit is the
// correlation there.
type point struct{ t, delay, weight, fit float64 }
