package match

import (
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"heardiff/playback/pcm"
)

// join sums the channels of every block, each turned by how many frames it is late beyond the line, into joint.
func (c *cross) join(n int, late []float64) {
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			for j := w; j < len(c.each); j += workers {
				if len(late) == 1 {
					c.joint[j] = c.each[j][0]
					continue
				}
				c.joint[j] = make([]complex128, n/2+1)
				for ch, spec := range c.each[j] {
					addTurned(c.joint[j], spec, 2*math.Pi/float64(n)*late[ch])
				}
			}
		})
	}
	wait.Wait()
}

// addTurned adds x, bin k turned by k·per, to sum.
func addTurned(sum, x []complex128, per float64) {
	turn, by := complex128(1), cmplx.Rect(1, per)
	for k, z := range x {
		sum[k] += z * turn
		turn *= by
	}
}

// apart returns by how many frames each channel is late against the first, good to a part of a frame. The product of two
// channels' joint spectra does not know the delay that both share, so that no block need be followed yet.
func (c *cross) apart(g *blocks) []float64 {
	late := make([]float64, len(g.a[0]))
	for ch := 1; ch < len(late); ch++ {
		p := phases{n: g.n, lo: g.lo, joint: make([]complex128, g.hi-g.lo), weight: make([]float64, g.hi-g.lo)}
		for _, each := range c.each {
			for i := range p.joint {
				z := each[ch][g.lo+i] * cmplx.Conj(each[0][g.lo+i])
				p.joint[i] += z / complex(math.Sqrt(cmplx.Abs(z))+1e-300, 0)
			}
		}
		for i, z := range p.joint {
			p.weight[i] = cmplx.Abs(z)
		}
		late[ch] = p.sight()
		for range 4 {
			late[ch] += p.slope(late[ch])
		}
	}
	return late
}

// late returns by how many frames more each channel is late than it was taken for, and the information on each. Every block
// has a delay of its own besides, whatever the clock does: least squares of both, the blocks' eliminated,
//
//	Σⱼ (Dⱼc·δc − Dⱼc·Σₑ Dⱼₑ·δₑ/Dⱼ) = Σⱼ (Nⱼc − Dⱼc·Nⱼ/Dⱼ), Dⱼ = Σc Dⱼc, Nⱼ = Σc Nⱼc,
//
// N and D the sums of tracker.sweep for block j and channel c.
func (t *tracker) late(was []float64) (more, told []float64) {
	more, told = make([]float64, len(was)), make([]float64, len(was))
	if len(was) == 1 {
		return more, told
	}
	num, den := t.byChannel(was)
	matrix, right := mat.NewSymDense(len(was), nil), mat.NewVecDense(len(was), nil)
	for j := range den {
		whole, sum := floats.Sum(den[j]), floats.Sum(num[j])
		if !(whole > 0) {
			continue
		}
		for c, d := range den[j] {
			told[c] += d
			right.SetVec(c, right.AtVec(c)+num[j][c]-d*sum/whole)
			matrix.SetSym(c, c, matrix.At(c, c)+d)
			for e := range c + 1 {
				matrix.SetSym(c, e, matrix.At(c, e)-d*den[j][e]/whole)
			}
		}
	}
	// A delay of all channels is the blocks': it is taken for none. Nor has a silent channel one.
	all := floats.Sum(told)
	for c := range was {
		for e := range c + 1 {
			matrix.SetSym(c, e, matrix.At(c, e)+all/float64(len(was)))
		}
		matrix.SetSym(c, c, matrix.At(c, c)+1e-9*all)
	}
	var factors mat.Cholesky
	if !(all > 0) || !factors.Factorize(matrix) || factors.SolveVecTo(mat.NewVecDense(len(more), more), right) != nil {
		clear(more)
	}
	return more, told
}

// byChannel returns the sums of sweep for each block and channel, all delays known so far taken out.
func (t *tracker) byChannel(late []float64) (num, den [][]float64) {
	m, per := len(t.delay), 2*math.Pi/float64(t.g.n)
	num, den = pcm.Planes(m, len(late)), pcm.Planes(m, len(late))
	weight := make([]float64, len(t.noise)) // w·ω
	for k := t.g.lo; k < t.g.hi; k++ {
		if t.heard[k] >= leastHeard {
			weight[k] = t.heard[k] * per * float64(k) / t.noise[k] / t.gain
		}
	}
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			for j := w; j < m; j += workers {
				for ch, spec := range t.c.each[j] {
					turned := per * (t.delay[j] + late[ch])
					turn, by := cmplx.Rect(1, turned*float64(t.g.lo)), cmplx.Rect(1, turned)
					for k := t.g.lo; k < t.g.hi; k++ {
						z := spec[k] * turn
						turn *= by
						num[j][ch] -= weight[k] * imag(z)
						den[j][ch] += weight[k] * per * float64(k) * real(z)
					}
					den[j][ch] = max(0, den[j][ch])
				}
			}
		})
	}
	wait.Wait()
	return num, den
}

// centred adds more to late and frees the sum of its mean, each channel weighed by what it tells: that is the line's. It
// returns that mean, and the most that any has moved.
func centred(late, more, told []float64) (mean, moved float64) {
	all := 0.0
	for ch, w := range told {
		mean += w * (late[ch] + more[ch])
		all += w
	}
	mean /= all + 1e-300
	for ch := range late {
		late[ch] += more[ch] - mean
		moved = max(moved, math.Abs(more[ch]-mean))
	}
	return mean, moved
}
