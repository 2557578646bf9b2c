package match

import (
	"fmt"
	"math"
	"slices"

	"golang.org/x/sync/errgroup"

	"heardiff/measure"
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
	// Sums of products weighed with |A|², from which scatter is told: |A|⁴, |A|²·|R|², |A|²·conj(A)·R.
	aaaa, aarr [][]float64
	aaar       [][]complex128
	bands      []Band         // whose levels are followed, see followed
	course     [][][2]float64 // [band][block], |A|² and |B|² over channels, B of the provisional gain
	heights    [][]height     // by channel, in the order of time
	levels     []blockLevels
	frames     []frame
	curves     []curve                    // by channel
	differs    bool                       // anything is left, be it in blocks whose spectra are not taken
	loudness   [2]measure.LoudnessReading // of A and of B as it is
	src        source                     // to look again at single places
	start      float64                    // of A, in seconds of the capture it was cut from
}

const workers = 4 // fixed, so that sums are added in the same order on every machine

type job struct {
	at, bFrom int
	transform bool
	fresh     [2]int // from and to: what no other block holds
	a, b      [][]float64
}

// residual reads both captures once over their overlap.
func residual(a, b pcm.Reader, l line, gain, peak float64, kernel *interpolate.Kernel) (*remainder, error) {
	rate := a.Format().Rate
	from, to := l.overlap(a, b, kernel.Half()+2)
	n := spectrum.PowerOfTwo(int(rate) / 6)
	for n > 1024 && 4*n > to-from {
		n /= 2
	}
	if to-from < n {
		return nil, fmt.Errorf("match: %w: the overlap is %.2f s", ErrUnrelated, rate.Seconds(max(0, to-from)))
	}
	audible, err := interpolate.New(interpolate.Config{Pass: 0.45 * bandEdge(rate) / (rate.Hz() / 2), Stop: bandEdge(rate) / (rate.Hz() / 2), ErrorDB: -60})
	if err != nil {
		return nil, err
	}
	total := newRemainder(rate, a.Format().Channels, n, gain)
	if to-from < 128*n {
		total.hop = n / 2 // short captures are worth the finer statistics
	}
	total.src = source{a: a, b: b, line: l, kernel: kernel, audible: audible, from: from, to: to, peak: peak}
	return total, total.run(total.src)
}

func newRemainder(rate pcm.Rate, channels, n int, gain float64) *remainder {
	r := &remainder{rate: rate, n: n, hop: n, gain: gain, bands: followed(rate), curves: make([]curve, channels), heights: make([][]height, channels)}
	r.course = make([][][2]float64, len(r.bands))
	bins := n/2 + 1
	r.aa, r.rr, r.aaaa, r.aarr = pcm.Planes(channels, bins), pcm.Planes(channels, bins), pcm.Planes(channels, bins), pcm.Planes(channels, bins)
	for range channels {
		r.ar, r.aaar = append(r.ar, make([]complex128, bins)), append(r.aaar, make([]complex128, bins))
	}
	return r
}

type source struct {
	a, b pcm.Reader
	line
	kernel   *interpolate.Kernel
	audible  *interpolate.Kernel // beyond the band edge kernel is not exact: this stops there
	from, to int
	peak     float64 // of A
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

// hear returns a copy of n frames of x from from on: workers write in what they were given.
func (j job) hear(x [][]float64, from, n int) [][]float64 {
	out := make([][]float64, len(x))
	for c := range x {
		out[c] = append([]float64(nil), x[c][from:from+n]...)
	}
	return out
}

// run hands blocks to the workers in turn and adds up what they found.
func (r *remainder) run(s source) error {
	count := (s.to-s.from-r.n)/r.hop + 1
	// Beyond some minutes a part of the blocks, evenly spread, tells the spectra as well as all of them.
	stride := 1 + (count-1)/500
	parts := make([]*remainder, workers)
	queues := make([]chan job, workers)
	var group, listening errgroup.Group
	ears := r.listen(s.a.Format(), &listening)
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
			j.transform, j.fresh = i%stride == 0, [2]int{0, r.hop}
			ears[0] <- j.hear(j.a, 0, r.hop)
			ears[1] <- j.hear(j.b, s.kernel.Half()+1, r.hop)
			queues[i%workers] <- j
		}
	}
	if failed == nil { // the end, too short for a block of its own
		var j job
		if j, failed = s.read(s.to-r.n, r.n); failed == nil {
			j.fresh = [2]int{s.from + count*r.hop - j.at, r.n}
			queues[count%workers] <- j
		}
	}
	for _, q := range queues {
		close(q)
	}
	for _, ear := range ears {
		close(ear)
	}
	_, _ = group.Wait(), listening.Wait() // none returns an error
	for _, p := range parts {
		r.merge(p)
	}
	slices.SortFunc(r.levels, func(x, y blockLevels) int { return x.at - y.at })
	for _, h := range r.heights {
		slices.SortFunc(h, func(x, y height) int { return x.at - y.at })
	}
	return failed
}

// listen returns where blocks of A and of B go to have their loudness read.
func (r *remainder) listen(f pcm.Format, listening *errgroup.Group) [2]chan [][]float64 {
	ears := [2]chan [][]float64{make(chan [][]float64, 4), make(chan [][]float64, 4)}
	for i, ear := range ears {
		listening.Go(func() error {
			meter := measure.NewLoudnessMeter(f)
			for block := range ear {
				meter.Write(block)
			}
			r.loudness[i] = meter.Reading()
			return nil
		})
	}
	return ears
}

func (r *remainder) merge(p *remainder) {
	r.blocks += p.blocks
	r.differs = r.differs || p.differs
	r.frames, r.levels = append(r.frames, p.frames...), append(r.levels, p.levels...)
	for i, c := range p.course {
		r.course[i] = append(r.course[i], c...)
	}
	for c := range r.aa {
		r.curves[c].merge(p.curves[c])
		r.heights[c] = append(r.heights[c], p.heights[c]...)
		for k := range r.aa[c] {
			r.aa[c][k] += p.aa[c][k]
			r.rr[c][k] += p.rr[c][k]
			r.ar[c][k] += p.ar[c][k]
			r.aaaa[c][k] += p.aaaa[c][k]
			r.aarr[c][k] += p.aarr[c][k]
			r.aaar[c][k] += p.aaar[c][k]
		}
	}
}

// transformer works off blocks into its own remainder.
type transformer struct {
	sum          *remainder
	src          source
	planA, planR *channels
	inverse      *spectrum.Plan
	window       []float64
	shift        []float64
	y            [][]float64
	low, padded  [][]float64 // the audible part of every every-th frame of y, and room for it
	every        int
	back         [2][]float64
}

func newTransformer(sum *remainder, s source) *transformer {
	_, top := sum.bins(lowHz, highHz)
	heard, every := spectrum.PowerOfTwo(2*top), max(1, int(sum.rate)/30000)
	return &transformer{
		sum: sum, src: s, planA: newChannels(sum.n), planR: newChannels(sum.n), window: spectrum.Hann().Samples(sum.n),
		inverse: spectrum.NewPlan(heard), shift: make([]float64, sum.n), y: pcm.Planes(len(sum.aa), sum.n),
		low: pcm.Planes(len(sum.aa), sum.n/every), every: every, padded: s.room(len(sum.aa), sum.n),
		back: [2][]float64{make([]float64, heard), make([]float64, heard)},
	}
}

// rest fills y with A − sign·B/gain over the block, by the shifts that shift is room for.
func (s source) rest(y [][]float64, j job, shift []float64, gain float64) {
	for k := range shift {
		shift[k] = s.shift(float64(j.at + k))
	}
	s.kernel.Shift(y, j.b, j.at-j.bFrom, shift)
	scale := s.sign / gain
	for c := range y {
		for i, v := range y[c] {
			y[c][i] = j.a[c][i] - scale*v
		}
	}
}

// empty reports whether nothing is left in a block.
func empty(y [][]float64) bool {
	for _, ch := range y {
		if slices.ContainsFunc(ch, func(v float64) bool { return v != 0 }) {
			return false
		}
	}
	return true
}

// room returns what heard needs for n frames.
func (s source) room(channels, n int) [][]float64 {
	return pcm.Planes(channels, n+2*s.audible.Half())
}

// heard fills dst[c][i] with the audible part of frame every·i of y[c], free of direct voltage, which would click at the
// ends; with zeros at the ends themselves, where the filter, cut short, lets through what it should stop. It overwrites padded, see room.
func (s source) heard(dst, padded, y [][]float64, direct []float64, every int) {
	half := s.audible.Half()
	for c := range y {
		for i, v := range y[c] {
			padded[c][half+i] = v - direct[c]
		}
	}
	shift := make([]float64, len(dst[0]))
	for i := range shift {
		shift[i] = float64(i * (every - 1))
	}
	s.audible.Shift(dst, padded, half, shift)
	for _, x := range dst {
		edge := min(len(x), half/every+1)
		clear(x[:edge])
		clear(x[len(x)-edge:])
	}
}

func (t *transformer) add(j job) {
	t.src.rest(t.y, j, t.shift, t.sum.gain)
	t.sum.differs = t.sum.differs || !empty(t.y)
	t.heights(j)
	if !j.transform {
		return
	}
	t.sum.blocks++
	for _, x := range [][][]float64{j.a, t.y} {
		for _, ch := range x {
			windowed(ch, t.window)
		}
	}
	// Two plans, since the spectra of one are overwritten.
	fa, fr := t.planA.forward(j.a), t.planR.forward(t.y)
	for c := range fa {
		t.sum.collect(c, fa[c], fr[c])
	}
	t.sum.follow(fa, fr)
	t.sum.note(j.at, fa, fr)
	t.frames(j.at, fa, fr)
}

func (r *remainder) collect(c int, a, rem []complex128) {
	aa, rr, ar, aaaa, aarr, aaar := r.aa[c], r.rr[c], r.ar[c], r.aaaa[c], r.aarr[c], r.aaar[c]
	for k, z := range a {
		q := rem[k]
		za, qa := real(z)*real(z)+imag(z)*imag(z), real(q)*real(q)+imag(q)*imag(q)
		joint := complex(real(z)*real(q)+imag(z)*imag(q), real(z)*imag(q)-imag(z)*real(q))
		aa[k] += za
		rr[k] += qa
		ar[k] += joint
		aaaa[k] += za * za
		aarr[k] += za * qa
		aaar[k] += complex(za*real(joint), za*imag(joint))
	}
}
