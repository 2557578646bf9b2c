package align

import (
	"math"
	"math/cmplx"

	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// join sums the channels of every block into joint, each turned by the frames by which it is later than the line.
func (c *cross) join(n int, delays []float64) {
	audible.Share(len(c.each), func(_, j int) {
		if len(delays) == 1 {
			c.joint[j] = c.each[j][0]
			return
		}
		c.joint[j] = make([]complex128, n/2+1)
		for ch, spec := range c.each[j] {
			turn, by := complex128(1), cmplx.Rect(1, 2*math.Pi/float64(n)*delays[ch])
			for k, z := range spec {
				c.joint[j][k] += z * turn
				turn *= by
			}
		}
	})
}

// channelDelays returns by how many frames each channel is late against the first, good to a part of a frame. The product of two
// channels' joint spectra does not depend on the delay that both share, so that no block need be followed yet.
func (c *cross) channelDelays(g *blocks) []float64 {
	delays := make([]float64, len(g.a[0]))
	for ch := 1; ch < len(delays); ch++ {
		p := CrossPhase{N: g.n, Lo: g.lo, Joint: make([]complex128, g.hi-g.lo), Weight: make([]float64, g.hi-g.lo)}
		for _, each := range c.each {
			for i := range p.Joint {
				z := each[ch][g.lo+i] * cmplx.Conj(each[0][g.lo+i])
				p.Joint[i] += z / complex(math.Sqrt(cmplx.Abs(z))+1e-300, 0)
			}
		}
		for i, z := range p.Joint {
			p.Weight[i] = cmplx.Abs(z)
		}
		delays[ch] = p.CoarseDelay()
		for range 4 {
			delays[ch] += p.ResidualDelay(delays[ch])
		}
	}
	return delays
}

// channelDelays returns by how many frames each channel is later than was assumed, and the information on each. Every block has a delay of
// its own as well, whatever the clock does: least squares of both, the blocks' delays eliminated,
//
//	Σⱼ (Dⱼc·δc − Dⱼc·Σₑ Dⱼₑ·δₑ/Dⱼ) = Σⱼ (Nⱼc − Dⱼc·Nⱼ/Dⱼ), Dⱼ = Σc Dⱼc, Nⱼ = Σc Nⱼc,
//
// N and D the sums of tracker.sweep for block j and channel c.
func (t *tracker) channelDelays(delays []float64) (change, information []float64) {
	change, information = make([]float64, len(delays)), make([]float64, len(delays))
	if len(delays) == 1 {
		return change, information
	}
	num, den := t.byChannel(delays)
	matrix, right := mat.NewSymDense(len(delays), nil), mat.NewVecDense(len(delays), nil)
	for j := range den {
		all, sum := floats.Sum(den[j]), floats.Sum(num[j])
		if !(all > 0) {
			continue
		}
		for c, d := range den[j] {
			information[c] += d
			right.SetVec(c, right.AtVec(c)+num[j][c]-d*sum/all)
			matrix.SetSym(c, c, matrix.At(c, c)+d)
			for e := range c + 1 {
				matrix.SetSym(c, e, matrix.At(c, e)-d*den[j][e]/all)
			}
		}
	}
	// A delay that all channels share belongs to the blocks, and is set to 0 here; so is the delay of a silent channel.
	all := floats.Sum(information)
	for c := range delays {
		for e := range c + 1 {
			matrix.SetSym(c, e, matrix.At(c, e)+all/float64(len(delays)))
		}
		matrix.SetSym(c, c, matrix.At(c, c)+1e-9*all)
	}
	var factors mat.Cholesky
	if !(all > 0) || !factors.Factorize(matrix) || factors.SolveVecTo(mat.NewVecDense(len(change), change), right) != nil {
		clear(change)
	}
	return change, information
}

// byChannel returns the sums of sweep for each block and channel, all delays known so far taken out.
func (t *tracker) byChannel(delays []float64) (num, den [][]float64) {
	m, per := len(t.delay), 2*math.Pi/float64(t.g.n)
	num, den = pcm.Planes(m, len(delays)), pcm.Planes(m, len(delays))
	weight := make([]float64, len(t.noise)) // w·ω
	for k := t.g.lo; k < t.g.hi; k++ {
		if t.common[k] >= leastShare {
			weight[k] = t.common[k] * per * float64(k) / t.noise[k] / t.gain
		}
	}
	audible.Share(m, func(_, j int) {
		for ch, spec := range t.c.each[j] {
			turned := per * (t.delay[j] + delays[ch])
			turn, by := cmplx.Rect(1, turned*float64(t.g.lo)), cmplx.Rect(1, turned)
			for k := t.g.lo; k < t.g.hi; k++ {
				z := spec[k] * turn
				turn *= by
				num[j][ch] -= weight[k] * imag(z)
				den[j][ch] += weight[k] * per * float64(k) * real(z)
			}
			den[j][ch] = max(0, den[j][ch])
		}
	})
	return num, den
}

// centreDelays adds change to delays and subtracts the mean, weighted by information, which belongs to the line. It returns that mean and
// the largest distance that any delay has moved.
func centreDelays(delays, change, information []float64) (mean, moved float64) {
	all := 0.0
	for ch, w := range information {
		mean += w * (delays[ch] + change[ch])
		all += w
	}
	mean /= all + 1e-300
	for ch := range delays {
		delays[ch] += change[ch] - mean
		moved = max(moved, math.Abs(change[ch]-mean))
	}
	return mean, moved
}
