package impair

import (
	"math"
	"math/rand/v2"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// gaussian is a stationary Gaussian sequence of a given spectrum, made block by block: blocks of independent
// random spectra, half overlapping under sine windows, whose squares add up to one.
type gaussian struct {
	random *rand.Rand
	plan   *spectrum.Plan
	shape  []float64 // amplitude by bin, 0 outside the band
	window []float64
	tail   []float64 // second half of the block before
	ready  []float64 // what Next has not handed out yet
	scale  float64
	white  bool // no spectrum to shape: the blocks are plain random numbers
}

// newWhite returns a sequence that is flat from 0 to Nyquist.
func newWhite(seed, stream uint64) *gaussian {
	return &gaussian{random: rand.New(rand.NewPCG(seed, stream)), scale: 1, white: true}
}

// newGaussian returns a sequence whose amplitude at f Hz follows shape.
func newGaussian(rate pcm.Rate, seed, stream uint64, shape func(hz float64) float64) *gaussian {
	n := spectrum.PowerOfTwo(int(rate)) // a second: bins below 1 Hz wide
	g := &gaussian{
		random: rand.New(rand.NewPCG(seed, stream)), plan: spectrum.NewPlan(n), scale: 1,
		shape: make([]float64, n/2+1), window: make([]float64, n), tail: make([]float64, n/2),
	}
	for k := 1; k < n/2; k++ {
		g.shape[k] = shape(float64(k) * rate.Hz() / float64(n))
	}
	for i := range g.window {
		g.window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
	}
	g.block() // fills the tail, so that the first frames are as strong as the rest
	g.ready = nil
	return g
}

func (g *gaussian) block() {
	if g.white {
		g.ready = make([]float64, 4096)
		for i := range g.ready {
			g.ready[i] = g.random.NormFloat64()
		}
		return
	}
	bins := make([]complex128, len(g.shape))
	for k, a := range g.shape {
		if a > 0 {
			bins[k] = complex(a*g.random.NormFloat64(), a*g.random.NormFloat64())
		}
	}
	x := g.plan.Inverse(nil, bins)
	half := len(x) / 2
	out := make([]float64, half)
	for i := range out {
		out[i] = g.tail[i] + x[i]*g.window[i]
		g.tail[i] = x[half+i] * g.window[half+i]
	}
	g.ready = out
}

// next adds the following samples to dst.
func (g *gaussian) next(dst []float64) {
	for i := range dst {
		if len(g.ready) == 0 {
			g.block()
		}
		dst[i] += g.scale * g.ready[0]
		g.ready = g.ready[1:]
	}
}

// calibrate returns fresh() scaled so that the first frames of it have exactly the RMS value asked for.
func calibrate(frames int, rms float64, fresh func() *gaussian) *gaussian {
	g := fresh()
	sum, left := 0.0, frames
	for left > 0 {
		g.block()
		n := min(left, len(g.ready))
		for _, v := range g.ready[:n] {
			sum += v * v
		}
		left -= n
	}
	out := fresh()
	if sum > 0 {
		out.scale = rms / math.Sqrt(sum/float64(frames))
	}
	return out
}
