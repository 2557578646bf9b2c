package match

import (
	"fmt"
	"math"
	"math/cmplx"
	"runtime"

	"golang.org/x/sync/errgroup"

	"heardiff/measure/interpolate"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// fine is what the refinement knows besides the line.
type fine struct {
	gain                 float64 // B/A, ratio
	seOffset, seDrift    float64
	track                []point // the delay left in each block
	trackSD              float64 // its scatter
	wandering            bool
	wanderRMS, wanderMax float64
}

// point is a local delay: delay frames left at frame t of A, with weight 1/variance up to a common scale.
type point struct{ t, delay, weight float64 }

// lowHz and highHz bound the audible band, in which captures are compared.
const lowHz, highHz = 20.0, 20000.0

// bandKernel interpolates exactly up to 20 kHz, or 0.92 of Nyquist where that is less.
func bandKernel(rate pcm.Rate) (*interpolate.Kernel, error) {
	return interpolate.New(interpolate.Config{Pass: bandEdge(rate) / (rate.Hz() / 2), ErrorDB: -145})
}

func bandEdge(rate pcm.Rate) float64 { return math.Min(highHz, 0.92*rate.Hz()/2) }

// blocks of both captures, held in memory while the line is refined.
type blocks struct {
	rate   pcm.Rate
	n      int
	kernel *interpolate.Kernel
	window []float64
	at     []int // first frame in A
	bFrom  []int // first frame held of B
	a, b   [][][]float64
	spectA [][][]complex128 // [block][channel][bin]
}

const (
	maxBlocks = 192
	slack     = 48 // frames by which the line may still move
)

func gather(a, b pcm.Reader, l line) (*blocks, error) {
	rate := a.Format().Rate
	kernel, err := bandKernel(rate)
	if err != nil {
		return nil, err
	}
	g := &blocks{rate: rate, kernel: kernel, n: spectrum.PowerOfTwo(int(rate) / 8)}
	from, to := l.overlap(a, b, kernel.Half()+slack)
	for g.n > 512 && 6*g.n > to-from {
		g.n /= 2
	}
	if to-from < g.n {
		return nil, fmt.Errorf("match: %w: the overlap is %.2f s", ErrUnrelated, rate.Seconds(max(0, to-from)))
	}
	count := min(maxBlocks, 1+2*(to-from-g.n)/g.n)
	g.window = spectrum.Hann().Samples(g.n)
	for i := range count {
		at := from
		if count > 1 {
			at += int(float64(i) * float64(to-from-g.n) / float64(count-1))
		}
		if err := g.load(a, b, l, at); err != nil {
			return nil, fmt.Errorf("match: %w", err)
		}
	}
	return g, nil
}

func (g *blocks) load(a, b pcm.Reader, l line, at int) error {
	channels := a.Format().Channels
	x := pcm.Planes(channels, g.n)
	if err := interpolate.ReadAround(a, x, at); err != nil {
		return err
	}
	margin := g.kernel.Half() + slack
	bFrom := at + int(math.Floor(l.shift(float64(at)))) - margin
	y := pcm.Planes(channels, g.n+2*margin+int(math.Abs(l.drift)*float64(g.n))+2)
	if err := interpolate.ReadAround(b, y, bFrom); err != nil {
		return err
	}
	if l.swapped {
		y[0], y[1] = y[1], y[0]
	}
	g.at, g.bFrom = append(g.at, at), append(g.bFrom, bFrom)
	g.a, g.b = append(g.a, x), append(g.b, y)
	return nil
}

// cross holds the spectra of one pass over all blocks for one line.
type cross struct {
	power [][]float64    // [block][bin], |A|² over channels
	joint [][]complex128 // conj(A)·B·sign over channels
	other [][]float64    // |B|²
}

// pass evaluates B at the line and transforms both, the blocks shared out between the processors.
func (g *blocks) pass(l line) cross {
	m, bins := len(g.at), g.n/2+1
	c := cross{make([][]float64, m), make([][]complex128, m), make([][]float64, m)}
	if g.spectA == nil {
		g.spectA = make([][][]complex128, m)
	}
	var group errgroup.Group
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		group.Go(func() error {
			plan := spectrum.NewPlan(g.n)
			shift, y := make([]float64, g.n), pcm.Planes(len(g.a[0]), g.n)
			spec := make([]complex128, bins)
			for i := w; i < m; i += workers {
				if g.spectA[i] == nil {
					g.spectA[i] = g.transformA(plan, i)
				}
				g.evaluate(y, shift, l, i)
				c.power[i], c.joint[i], c.other[i] = make([]float64, bins), make([]complex128, bins), make([]float64, bins)
				for ch := range y {
					g.windowed(y[ch])
					plan.Forward(spec, y[ch])
					c.collect(i, g.spectA[i][ch], spec, l.sign)
				}
			}
			return nil
		})
	}
	_ = group.Wait() // no worker returns an error
	return c
}

func (g *blocks) transformA(plan *spectrum.Plan, i int) [][]complex128 {
	out := make([][]complex128, len(g.a[i]))
	x := make([]float64, g.n)
	for ch := range out {
		copy(x, g.a[i][ch])
		g.windowed(x)
		out[ch] = plan.Forward(nil, x)
	}
	return out
}

// evaluate fills y with block i of B at the line.
func (g *blocks) evaluate(y [][]float64, shift []float64, l line, i int) {
	for k := range shift {
		shift[k] = l.shift(float64(g.at[i] + k))
	}
	// Only the part of the shift beyond whole frames goes through float64 sums with the frame number.
	g.kernel.Shift(y, g.b[i], g.at[i]-g.bFrom[i], shift)
}

// windowed frees x of its mean and applies the window.
func (g *blocks) windowed(x []float64) {
	mean := 0.0
	for i, v := range x {
		mean += v * g.window[i]
	}
	mean /= float64(g.n) / 2 // the window's sum
	for i := range x {
		x[i] = (x[i] - mean) * g.window[i]
	}
}

func (c cross) collect(i int, a, b []complex128, sign float64) {
	for k, z := range a {
		c.power[i][k] += real(z)*real(z) + imag(z)*imag(z)
		c.other[i][k] += real(b[k])*real(b[k]) + imag(b[k])*imag(b[k])
		c.joint[i][k] += complex(sign, 0) * cmplx.Conj(z) * b[k]
	}
}

// refine moves the line until the delay left in the blocks is nil on average.
func refine(a, b pcm.Reader, l line) (line, fine, error) {
	g, err := gather(a, b, l)
	if err != nil {
		return l, fine{}, err
	}
	var f fine
	lo := max(1, int(lowHz*float64(g.n)/g.rate.Hz()))
	hi := int(bandEdge(g.rate) * float64(g.n) / g.rate.Hz())
	noise := []float64(nil)
	for round := range 8 {
		c := g.pass(l)
		top := hi
		if round == 0 {
			top = min(hi, g.n/16) // up to an eighth of the rate a delay of four frames is still unambiguous
		}
		f.gain = c.gainOver(lo, hi)
		if math.Abs(f.gain-1) < 1e-12 { // rounding only
			f.gain = 1
		}
		if noise == nil {
			noise = c.average(func(i, k int) float64 { return c.power[i][k] })
		}
		f.track = g.delays(c, f.gain, noise, [2]int{lo, top}, round < 2)
		offset, drift := f.settle()
		noise = c.average(func(i, k int) float64 {
			p := c.power[i][k] - 2*real(c.joint[i][k])/f.gain + c.other[i][k]/(f.gain*f.gain)
			return max(p, 1e-15*c.power[i][k])
		})
		end := math.Abs(offset + drift*float64(g.at[len(g.at)-1]))
		l.offset += offset
		l.drift += drift
		if round >= 2 && max(math.Abs(offset+drift*float64(g.at[0])), end) < 1e-7 {
			break
		}
	}
	f.look()
	return g.snap(l), f, nil
}

// snap takes a line that is whole to within rounding for whole, so that copies are found identical.
func (g *blocks) snap(l line) line {
	last := float64(g.at[len(g.at)-1])
	if whole := math.Round(l.offset); math.Abs(l.offset-whole)+math.Abs(l.drift)*last < 1e-8 {
		l.offset, l.drift = whole, 0
	}
	return l
}

func (c cross) average(value func(i, k int) float64) []float64 {
	out := make([]float64, len(c.power[0]))
	for i := range c.power {
		for k := range out {
			out[k] += value(i, k) / float64(len(c.power))
		}
	}
	return out
}

func (c cross) gainOver(lo, hi int) float64 {
	var joint, power float64
	for i := range c.power {
		for k := lo; k < hi; k++ {
			joint += real(c.joint[i][k])
			power += c.power[i][k]
		}
	}
	return joint / power
}

// delays returns the delay left in each block by weighted least squares on the phase:
//
//	δ = −Σ w·ω·φ / Σ w·ω², w = |A|²/N
//
// with N the power of the residual. The phase is the angle of the joint spectrum while delays may be large, and
// Im(joint)/(g·|A|²), which noise does not bias, once they are small.
func (g *blocks) delays(c cross, gain float64, noise []float64, bins [2]int, large bool) []point {
	track := make([]point, 0, len(g.at))
	for i := range g.at {
		var num, den float64
		for k := bins[0]; k < bins[1]; k++ {
			if noise[k] <= 0 || c.power[i][k] == 0 {
				continue
			}
			omega := 2 * math.Pi * float64(k) / float64(g.n)
			if large {
				w := c.power[i][k] / noise[k]
				num -= w * omega * cmplx.Phase(c.joint[i][k])
				den += w * omega * omega
				continue
			}
			num -= omega * imag(c.joint[i][k]) / gain / noise[k]
			den += omega * omega * c.power[i][k] / noise[k]
		}
		if den > 0 {
			track = append(track, point{t: float64(g.at[i]) + float64(g.n)/2, delay: num / den, weight: den})
		}
	}
	return track
}

// settle fits a line to the track, giving little weight to blocks that stand out (Tukey's biweight), and
// leaves in the track what the line does not explain.
func (f *fine) settle() (offset, drift float64) {
	robust := make([]float64, len(f.track))
	for i := range robust {
		robust[i] = 1
	}
	for range 5 {
		line, scale, used := newFit(), 0.0, 0.0
		for i, p := range f.track {
			line.add(p.t, p.delay, p.weight*robust[i])
		}
		offset, drift = line.solve()
		size := make([]float64, len(f.track))
		for i, p := range f.track {
			r := (p.delay - offset - drift*p.t) * math.Sqrt(p.weight)
			size[i] = math.Abs(r)
			scale += robust[i] * r * r
			used += robust[i]
		}
		f.trackSD = scale / max(1, used-2)
		f.seOffset, f.seDrift = line.errors(f.trackSD)
		cut := 6 * median(size) / 0.6745
		for i := range robust {
			u := size[i] / (cut + 1e-300)
			robust[i] = math.Pow(max(0, 1-u*u), 2)
		}
	}
	for i, p := range f.track {
		f.track[i].delay = p.delay - offset - drift*p.t
	}
	return offset, drift
}

// look tells a wandering clock from noise: neighbours' delays then resemble each other. Half-overlapping
// blocks resemble each other by 0.09 in any case. Standard errors grow accordingly.
func (f *fine) look() {
	n := len(f.track)
	if n < 8 {
		return
	}
	var lag, power, w, wander float64
	for i, p := range f.track {
		r := p.delay * math.Sqrt(p.weight)
		power += r * r
		if i >= 2 { // two apart do not overlap
			lag += r * f.track[i-2].delay * math.Sqrt(f.track[i-2].weight)
		}
		lo, hi := max(0, i-2), min(n, i+3)
		smooth := newFit()
		for _, q := range f.track[lo:hi] {
			smooth.add(0, q.delay, q.weight)
		}
		s, _ := smooth.solve()
		wander += p.weight * s * s
		w += p.weight
		f.wanderMax = max(f.wanderMax, math.Abs(s))
	}
	f.wanderRMS = math.Sqrt(wander / w)
	r := lag / (power + 1e-300)
	f.wandering = r > 4/math.Sqrt(float64(n)) && f.wanderRMS > 1e-3
	r = min(max(r, 0.09), 0.95)
	grow := math.Sqrt((1 + r) / (1 - r))
	f.seOffset *= grow
	f.seDrift *= grow
}
