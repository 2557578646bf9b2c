package match

import (
	"fmt"
	"math"
	"math/cmplx"

	"golang.org/x/sync/errgroup"

	"heardiff/measure/interpolate"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// remainder holds the sums over the whole overlap of A, and of R = A − sign·B/gain with a provisional gain,
// by channel and bin. Keeping R and not B keeps a deep null clear of rounding.
type remainder struct {
	rate   pcm.Rate
	n      int
	hop    int
	gain   float64 // provisional
	blocks int
	aa, rr [][]float64
	ar     [][]complex128 // conj(A)·R
	frames []frame
}

// frame is the energy of a 5 ms stretch.
type frame struct {
	at        int
	a, b, rem float64
}

const workers = 4 // fixed, so that sums are added in the same order on every machine

type job struct {
	at, bFrom int
	transform bool
	a, b      [][]float64
}

// residual reads both captures once over their overlap.
func residual(a, b pcm.Reader, l line, gain float64) (*remainder, error) {
	kernel, err := bandKernel(a.Format().Rate)
	if err != nil {
		return nil, err
	}
	rate := a.Format().Rate
	from, to := l.overlap(a, b, kernel.Half()+2)
	n := spectrum.PowerOfTwo(int(rate) / 6)
	for n > 1024 && 4*n > to-from {
		n /= 2
	}
	if to-from < n {
		return nil, fmt.Errorf("match: %w: the overlap is %.2f s", ErrUnrelated, rate.Seconds(max(0, to-from)))
	}
	total := newRemainder(rate, a.Format().Channels, n, gain)
	if to-from < 128*n {
		total.hop = n / 2 // short captures are worth the finer statistics
	}
	return total, total.run(source{a: a, b: b, line: l, kernel: kernel, from: from, to: to})
}

func newRemainder(rate pcm.Rate, channels, n int, gain float64) *remainder {
	r := &remainder{rate: rate, n: n, hop: n, gain: gain}
	for range channels {
		r.aa, r.rr = append(r.aa, make([]float64, n/2+1)), append(r.rr, make([]float64, n/2+1))
		r.ar = append(r.ar, make([]complex128, n/2+1))
	}
	return r
}

type source struct {
	a, b pcm.Reader
	line
	kernel   *interpolate.Kernel
	from, to int
}

// read loads the block of A at at and what of B belongs to it.
func (s source) read(at, n int) (job, error) {
	j := job{at: at, a: pcm.Planes(s.a.Format().Channels, n)}
	if err := interpolate.ReadAround(s.a, j.a, at); err != nil {
		return j, fmt.Errorf("match: %w", err)
	}
	lo := at + int(math.Floor(min(s.shift(float64(at)), s.shift(float64(at+n)))))
	j.bFrom = lo - s.kernel.Half() - 1
	j.b = pcm.Planes(len(j.a), n+2*s.kernel.Half()+4+int(math.Abs(s.drift)*float64(n)))
	if err := interpolate.ReadAround(s.b, j.b, j.bFrom); err != nil {
		return j, fmt.Errorf("match: %w", err)
	}
	if s.swapped {
		j.b[0], j.b[1] = j.b[1], j.b[0]
	}
	return j, nil
}

// run hands blocks to the workers in turn and adds up what they found.
func (r *remainder) run(s source) error {
	count := (s.to-s.from-r.n)/r.hop + 1
	// Beyond some minutes a part of the blocks, evenly spread, tells the spectra as well as all of them.
	stride := 1 + (count-1)/1200
	parts := make([]*remainder, workers)
	queues := make([]chan job, workers)
	var group errgroup.Group
	for w := range parts {
		parts[w] = newRemainder(r.rate, len(r.aa), r.n, r.gain)
		parts[w].hop = r.hop
		queues[w] = make(chan job, 2)
		group.Go(func() error {
			t := newTransformer(parts[w], s)
			for j := range queues[w] {
				t.add(j)
			}
			return nil
		})
	}
	var failed error
	for i := 0; i < count && failed == nil; i++ {
		var j job
		if j, failed = s.read(s.from+i*r.hop, r.n); failed == nil {
			j.transform = i%stride == 0
			queues[i%workers] <- j
		}
	}
	for _, q := range queues {
		close(q)
	}
	_ = group.Wait() // no worker returns an error
	for _, p := range parts {
		r.merge(p)
	}
	return failed
}

func (r *remainder) merge(p *remainder) {
	r.blocks += p.blocks
	r.frames = append(r.frames, p.frames...)
	for c := range r.aa {
		for k := range r.aa[c] {
			r.aa[c][k] += p.aa[c][k]
			r.rr[c][k] += p.rr[c][k]
			r.ar[c][k] += p.ar[c][k]
		}
	}
}

// transformer works off blocks into its own remainder.
type transformer struct {
	sum    *remainder
	src    source
	plan   *spectrum.Plan
	window []float64
	shift  []float64
	y      [][]float64
	fa, fr []complex128
}

func newTransformer(sum *remainder, s source) *transformer {
	bins := sum.n/2 + 1
	return &transformer{
		sum: sum, src: s, plan: spectrum.NewPlan(sum.n), window: spectrum.Hann().Samples(sum.n),
		shift: make([]float64, sum.n), y: pcm.Planes(len(sum.aa), sum.n),
		fa: make([]complex128, bins), fr: make([]complex128, bins),
	}
}

func (t *transformer) add(j job) {
	for k := range t.shift {
		t.shift[k] = t.src.shift(float64(j.at + k))
	}
	t.src.kernel.Shift(t.y, j.b, j.at-j.bFrom, t.shift)
	scale := t.src.sign / t.sum.gain
	for c := range t.y {
		for i, v := range t.y[c] {
			t.y[c][i] = j.a[c][i] - scale*v
		}
	}
	t.energies(j)
	if !j.transform {
		return
	}
	t.sum.blocks++
	for c := range t.y {
		t.spectrum(t.fa, j.a[c])
		t.spectrum(t.fr, t.y[c])
		for k, z := range t.fa {
			q := t.fr[k]
			t.sum.aa[c][k] += real(z)*real(z) + imag(z)*imag(z)
			t.sum.rr[c][k] += real(q)*real(q) + imag(q)*imag(q)
			t.sum.ar[c][k] += cmplx.Conj(z) * q
		}
	}
}

// spectrum transforms x, which it overwrites, windowed and without its mean.
func (t *transformer) spectrum(dst []complex128, x []float64) {
	mean := 0.0
	for i, v := range x {
		mean += v * t.window[i]
	}
	mean /= float64(len(x)) / 2
	for i := range x {
		x[i] = (x[i] - mean) * t.window[i]
	}
	t.plan.Forward(dst, x)
}

// energies notes the energies of 5 ms stretches of the part that no other block holds.
func (t *transformer) energies(j job) {
	step := max(1, int(t.sum.rate)/200)
	for from := 0; from+step <= t.sum.hop; from += step {
		f := frame{at: j.at + from}
		for c := range t.y {
			for i := from; i < from+step; i++ {
				a, r := j.a[c][i], t.y[c][i]
				f.a += a * a
				f.rem += r * r
				f.b += (a - r) * (a - r)
			}
		}
		t.sum.frames = append(t.sum.frames, f)
	}
}
