package match

import (
	"math"
	"math/cmplx"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// channel is one channel of corrected B against A's: what the common offset, gain and polarity have left. Gain and delay
// are NaN where the two have too little in common.
type channel struct {
	channel        int
	gainDB, gainSE float64
	late, lateSE   float64 // frames
	inverted       bool
	correlation    float64 // at its own delay, without its sign
	powerA, powerB float64
}

// leastCommon is the correlation from which on two channels are compared.
const leastCommon = 0.3

// channels measures every channel by itself, at the common gain k.
func (r *remainder) channels(k float64) []channel {
	out := make([]channel, len(r.aa))
	for c := range out {
		out[c] = r.channel(k, c)
	}
	return out
}

func (r *remainder) channel(k float64, c int) channel {
	s := r.sums(lowHz, bandEdge(r.rate), k, c)
	ch := channel{channel: c + 1, gainDB: math.NaN(), late: math.NaN(), powerA: s.aa, powerB: s.bb}
	if !(s.aa > 0 && s.bb > 0) {
		return ch
	}
	p := r.phases(c)
	late := p.sight()
	for range 4 {
		late += p.slope(late)
	}
	joint := p.turned(late)
	ch.inverted = real(joint) < 0
	ch.correlation = cmplx.Abs(joint) / math.Sqrt(s.aa*s.bb) / k
	if ch.correlation < leastCommon {
		return ch
	}
	ch.late, ch.lateSE = late, p.error(float64(r.blocks))
	ch.gainDB = pcm.DB(math.Abs(real(joint)) / s.aa / k)
	// As the common gain's, from what is left at the channel's own delay.
	q := max(0, 1/(ch.correlation*ch.correlation)-1)
	ch.gainSE = 20 / math.Ln10 * math.Sqrt(q/(2*float64(r.blocks*s.bins)/alike)+q*q/3)
	return ch
}

// phases is the mean joint spectrum of a channel of A and B, with its weights: |joint|²/(|A|²·|B⊥|²), B⊥ what no delay or
// gain makes of A.
type phases struct {
	n, lo  int
	joint  []complex128 // from bin lo on
	weight []float64
}

func (r *remainder) phases(c int) phases {
	lo, hi := r.bins(lowHz, highHz)
	p := phases{n: r.n, lo: lo}
	for i := lo; i < hi; i++ {
		aa, rr, ar := r.aa[c][i], r.rr[c][i], r.ar[c][i]
		ab := complex(aa, 0) - ar
		power := real(ab)*real(ab) + imag(ab)*imag(ab)
		// |A|²·|B|² − |joint|², written so that a deep null stays clear of rounding.
		rest := aa*rr - real(ar)*real(ar) - imag(ar)*imag(ar)
		p.joint = append(p.joint, ab)
		p.weight = append(p.weight, power/(max(0, rest)+1e-15*aa*aa+1e-300))
	}
	return p
}

// sight returns the whole number of frames by which the channel is late, sought within a sixteenth of a block. It stays 0
// unless another is clearly better.
func (p phases) sight() float64 {
	bins := make([]complex128, p.n/2+1)
	for i, z := range p.joint {
		bins[p.lo+i] = z / complex(math.Sqrt(cmplx.Abs(z))+1e-300, 0)
	}
	c := spectrum.NewPlan(p.n).Inverse(nil, bins)
	at := func(d int) float64 { return math.Abs(c[(d+p.n)%p.n]) }
	best, here := 0, max(at(-2), at(-1), at(0), at(1), at(2))
	top := 1.02 * here
	for d := -p.n / 16; d <= p.n/16; d++ {
		if at(d) > top {
			best, top = d, at(d)
		}
	}
	return float64(best)
}

// slope returns by how many frames more the channel is late than late, from the slope of the phase that is left.
func (p phases) slope(late float64) float64 {
	joint := p.turned(late)
	sign := complex(math.Copysign(1, real(joint)), 0)
	var num, den float64
	per := 2 * math.Pi / float64(p.n)
	for i, z := range p.joint {
		omega := per * float64(p.lo+i)
		num -= p.weight[i] * omega * cmplx.Phase(sign*z*cmplx.Rect(1, omega*late))
		den += p.weight[i] * omega * omega
	}
	if !(den > 0) {
		return 0
	}
	return num / den
}

// turned returns the sum of the joint spectrum with a delay taken out.
func (p phases) turned(late float64) complex128 {
	var sum complex128
	per := 2 * math.Pi / float64(p.n)
	for i, z := range p.joint {
		sum += z * cmplx.Rect(1, per*float64(p.lo+i)*late)
	}
	return sum
}

// error is the standard error of the delay: the phase of a bin scatters by 1/(2·blocks·weight).
func (p phases) error(blocks float64) float64 {
	den := 0.0
	per := 2 * math.Pi / float64(p.n)
	for i, w := range p.weight {
		omega := per * float64(p.lo+i)
		den += w * omega * omega
	}
	return math.Sqrt(alike / (2 * blocks * den))
}

// Differences between channels that are said: what prepare refuses of a pair.
const (
	channelDB = 0.1
	channelUS = 10.0
)

// unequal says how channels differ from the first that can be measured.
func unequal(own []channel, rate pcm.Rate, swapped bool, say func(string, ...any)) {
	first := -1
	for i, c := range own {
		name := c.channel
		if swapped && i < 2 {
			name = 2 - i // its place in B
		}
		if c.correlation < leastCommon {
			c.missing(own, name, say)
			continue
		}
		if c.inverted {
			say("channel %d of B is inverted against the others", name)
		}
		if first < 0 {
			first = i
			continue
		}
		f := own[first]
		if d := c.gainDB - f.gainDB; math.Abs(d) > channelDB && math.Abs(d) > 3*math.Hypot(c.gainSE, f.gainSE) {
			say("channel %d differs by %+.2f dB from channel %d: the balance is not that of A", c.channel, d, f.channel)
		}
		if d := 1e6 * (c.late - f.late) / rate.Hz(); math.Abs(d) > channelUS && math.Abs(d) > 4e6*math.Hypot(c.lateSE, f.lateSE)/rate.Hz() {
			say("channel %d is late by %+.1f µs against channel %d, beyond what it is in A", c.channel, d, f.channel)
		}
	}
}

// missing says that a channel is not to be found in B, if there is anything to be found.
func (c channel) missing(own []channel, name int, say func(string, ...any)) {
	loudest := 0.0
	for _, o := range own {
		loudest = max(loudest, o.powerA, o.powerB)
	}
	if max(c.powerA, c.powerB) < 1e-3*loudest { // silent in both, or nearly
		return
	}
	say("channel %d of B is not that of A (correlation %.2f, level %+.1f dB): silent, or another's", name, c.correlation, pcm.PowerDB(c.powerB/c.powerA))
}
