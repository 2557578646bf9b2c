package impair

import (
	"context"
	"math"
	"math/rand/v2"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// gaussian is a stationary Gaussian sequence of a given spectrum, made block by block: blocks of independent random
// spectra that overlap by an eighth, under ramps whose squares add up to one. Every transform is of complex numbers: with
// independent values at positive and negative frequencies its real and its imaginary part are two blocks.
type gaussian struct {
	random *rand.Rand
	plan   *spectrum.ComplexPlan
	shape  []float64 // amplitude by bin from 0 to n/2, 0 outside the band
	ramp   []float64 // rising, the part in which blocks overlap
	tail   []float64 // falling end of the block before
	bins   []complex128
	second bool      // the imaginary part is yet to be handed out
	ready  []float64 // what next has not handed out yet
	out    []float64
	scale  float64
	white  bool // no spectrum to shape: the blocks are plain random numbers
}

// newWhite returns a sequence that is flat from 0 to Nyquist.
func newWhite(seed, stream uint64) *gaussian {
	return &gaussian{random: rand.New(rand.NewPCG(seed, stream)), scale: 1, white: true, out: make([]float64, 4096)}
}

// newGaussian returns a sequence whose amplitude at f Hz follows shape.
func newGaussian(rate pcm.Rate, seed, stream uint64, shape func(hz float64) float64) *gaussian {
	n := spectrum.PowerOfTwo(int(rate)) // a second: bins below 1 Hz wide
	g := &gaussian{
		random: rand.New(rand.NewPCG(seed, stream)), plan: spectrum.NewComplexPlan(n), scale: 1,
		shape: make([]float64, n/2+1), ramp: make([]float64, n/8), tail: make([]float64, n/8),
		bins: make([]complex128, n), out: make([]float64, n-n/8),
	}
	for k := 1; k < n/2; k++ {
		g.shape[k] = shape(float64(k) * rate.Hz() / float64(n))
	}
	for i := range g.ramp {
		g.ramp[i] = math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(len(g.ramp)))
	}
	g.block() // fills the tail, so that the first frames are as strong as the rest
	g.ready = nil
	return g
}

func (g *gaussian) block() {
	g.ready = g.out
	if g.white {
		for i := range g.out {
			g.out[i] = g.random.NormFloat64()
		}
		return
	}
	part := imagOf
	if !g.second {
		g.draw()
		part = realOf
	}
	g.second = !g.second
	n, m := len(g.bins), len(g.ramp)
	for i := range g.out {
		g.out[i] = part(g.bins[i])
	}
	for i, up := range g.ramp {
		down := g.ramp[m-1-i]
		g.out[i] = g.out[i]*up + g.tail[i]
		g.tail[i] = part(g.bins[n-m+i]) * down
	}
}

func realOf(z complex128) float64 { return real(z) }
func imagOf(z complex128) float64 { return imag(z) }

// draw transforms the next random spectrum. With independent random phases it makes no difference whether the transform is forward or
// backward.
func (g *gaussian) draw() {
	clear(g.bins)
	n := len(g.bins)
	for k, a := range g.shape {
		if a > 0 {
			g.bins[k] = complex(a*g.random.NormFloat64(), a*g.random.NormFloat64())
			g.bins[n-k] = complex(a*g.random.NormFloat64(), a*g.random.NormFloat64())
		}
	}
	g.plan.Forward(g.bins, g.bins)
}

// next adds the following samples to dst.
func (g *gaussian) next(dst []float64) {
	for len(dst) > 0 {
		if len(g.ready) == 0 {
			g.block()
		}
		n := min(len(dst), len(g.ready))
		for i, v := range g.ready[:n] {
			dst[i] += g.scale * v
		}
		dst, g.ready = dst[n:], g.ready[n:]
	}
}

// calibrate returns fresh() scaled so that the first frames of it have exactly the RMS value asked for, unless ctx is done before.
func calibrate(ctx context.Context, frames int, rms float64, fresh func() *gaussian) *gaussian {
	g := fresh()
	sum, remaining := 0.0, frames
	for remaining > 0 && ctx.Err() == nil {
		g.block()
		n := min(remaining, len(g.ready))
		for _, v := range g.ready[:n] {
			sum += v * v
		}
		remaining -= n
	}
	out := fresh()
	if sum > 0 {
		out.scale = rms / math.Sqrt(sum/float64(frames))
	}
	return out
}
