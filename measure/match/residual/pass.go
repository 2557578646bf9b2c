package residual

import (
	"fmt"
	"slices"
	"sync"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure"
	"heardiff/measure/interpolate"
	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// enoughBlocks, evenly spread over the overlap, are transformed: beyond some minutes they determine the spectra as well as all.
const enoughBlocks = 500

// run hands blocks to the workers in turn and adds up what they found.
func (r *Record) run(s source) error {
	count := (s.end-s.first-r.N)/r.hop + 1
	stride := 1 + (count-1)/enoughBlocks
	parts := make([]*Record, audible.Workers)
	queues := make([]chan blockPair, audible.Workers)
	var working, metering sync.WaitGroup
	meters := r.meter(s.a.Format(), &metering)
	for w := range parts {
		parts[w] = newRecord(r.Rate, len(r.sums), r.N, r.Gain)
		parts[w].hop = r.hop
		queues[w] = make(chan blockPair, 2)
		working.Go(func() {
			t := newTransformer(parts[w], s)
			for j := range queues[w] {
				t.add(j)
			}
		})
	}
	var failed error
	for i := 0; i < count && failed == nil; i++ {
		var j blockPair
		if j, failed = s.read(s.first+i*r.hop, r.N); failed == nil {
			j.transform, j.fresh = i%stride == 0, [2]int{0, r.hop}
			first := s.kernel.Half() + 1 // of B; copies, since workers overwrite their blocks
			meters[0] <- pcm.Copy(pcm.Part(j.a, 0, r.hop))
			meters[1] <- pcm.Copy(pcm.Part(j.b, first, first+r.hop))
			queues[i%audible.Workers] <- j
		}
	}
	if failed == nil { // the end, too short for a block of its own
		var j blockPair
		if j, failed = s.read(s.end-r.N, r.N); failed == nil {
			j.fresh = [2]int{s.first + count*r.hop - j.at, r.N}
			queues[count%audible.Workers] <- j
		}
	}
	for _, q := range queues {
		close(q)
	}
	for _, m := range meters {
		close(m)
	}
	working.Wait()
	metering.Wait()
	for _, p := range parts {
		r.merge(p)
	}
	slices.SortFunc(r.BlockGains, func(x, y BlockGain) int { return x.At - y.At })
	for _, h := range r.Stretches {
		slices.SortFunc(h, func(x, y Stretch) int { return x.At - y.At })
	}
	return failed
}

// meter returns where blocks of A and of B go to have their loudness measured.
func (r *Record) meter(f pcm.Format, metering *sync.WaitGroup) [2]chan [][]float64 {
	meters := [2]chan [][]float64{make(chan [][]float64, 4), make(chan [][]float64, 4)}
	for i, blocks := range meters {
		metering.Go(func() {
			meter := measure.NewLoudnessMeter(f)
			for block := range blocks {
				meter.Write(block)
			}
			r.Loudness[i] = meter.Reading()
		})
	}
	return meters
}

// transformer adds blocks to a Record of its own.
type transformer struct {
	sum          *Record
	src          source
	planA, planR *audible.Transform
	inverse      *spectrum.Plan
	window       []float64
	shift        []float64
	y            [][]float64
	low, padded  [][]float64 // the audible part of each every-th frame of y, and work space for it
	every        int
	back         [2][]float64
}

func newTransformer(sum *Record, s source) *transformer {
	_, top := sum.Bins(audible.LowHz, audible.HighHz)
	size, every := spectrum.PowerOfTwo(2*top), max(1, int(sum.Rate)/30000)
	return &transformer{
		sum: sum, src: s, planA: audible.NewTransform(sum.N), planR: audible.NewTransform(sum.N), window: spectrum.Hann().Samples(sum.N),
		inverse: spectrum.NewPlan(size), shift: make([]float64, sum.N), y: pcm.Planes(len(sum.sums), sum.N),
		low: pcm.Planes(len(sum.sums), sum.N/every), every: every, padded: s.padding(len(sum.sums), sum.N),
		back: [2][]float64{make([]float64, size), make([]float64, size)},
	}
}

func (t *transformer) add(j blockPair) {
	t.src.residualOf(t.y, j, t.shift, t.sum.Gain)
	t.sum.Differs = t.sum.Differs || !empty(t.y)
	t.noteStretches(j)
	if !j.transform {
		return
	}
	t.sum.blocks++
	for _, x := range [][][]float64{j.a, t.y} {
		for _, ch := range x {
			audible.Window(ch, t.window)
		}
	}
	// Two plans, since the spectra of one are overwritten.
	fa, fr := t.planA.Forward(j.a), t.planR.Forward(t.y)
	for c := range fa {
		t.sum.collect(c, fa[c], fr[c])
	}
	t.sum.noteLevels(fa, fr)
	t.sum.noteFollowing(fa, fr)
	t.sum.noteGains(j.at, fa, fr)
	t.noteTiming(j.at, fa, fr)
}

const (
	// Blocks of a sixth of a second are halved until blocksInOverlap of them fit into the overlap, or down to leastBlock frames. An overlap of fewer
	// than fewBlocks of them is worth blocks that overlap by half. A judgement, no source;
	// TestBlocksFitIntoTheOverlap holds them.
	blocksInOverlap, leastBlock, fewBlocks = 4, 1024, 128
	// inBandPass is the end of the pass band of the filter that stops at the band's edge, relative to that edge: it is short.
	inBandPass = 0.45
)

// Measure reads both captures once over their overlap.
func Measure(a, b pcm.Reader, l align.Line, gain, peak float64, kernel *interpolate.Kernel) (*Record, error) {
	rate := a.Format().Rate
	from, to := l.Overlap(a, b, kernel.Half()+2)
	n := spectrum.Halved(spectrum.PowerOfTwo(int(rate)/6), leastBlock, (to-from)/blocksInOverlap)
	if to-from < n {
		return nil, fmt.Errorf("%w: the overlap is %.2f s", align.ErrUnrelated, rate.Seconds(max(0, to-from)))
	}
	inBand, err := interpolate.New(interpolate.Config{Pass: inBandPass * audible.Edge(rate) / (rate.Hz() / 2), Stop: audible.Edge(rate) / (rate.Hz() / 2), ErrorDB: -60})
	if err != nil {
		return nil, err
	}
	total := newRecord(rate, a.Format().Channels, n, gain)
	if to-from < fewBlocks*n {
		total.hop = n / 2
	}
	total.source = source{a: a, b: b, Line: l, kernel: kernel, audible: inBand, first: from, end: to, peak: peak}
	return total, total.run(total.source)
}

// noteStretches notes the energies of the part of a block that no other block holds, and how the residual depends on the
// height of the wave.
func (t *transformer) noteStretches(j blockPair) {
	from, to := j.fresh[0], j.fresh[1]
	count := max(1, (to-from)*200/int(t.sum.Rate))
	direct, directB := make([]float64, len(t.y)), make([]float64, len(t.y))
	for c, rem := range t.y {
		direct[c], directB[c] = directVoltages(j.a[c], rem, count)
	}
	t.src.audibleOf(t.low, t.padded, t.y, direct, t.every)
	for c := range t.y {
		a, rem, low := j.a[c], t.y[c], t.low[c]
		t.sum.Curves[c].Add(a[from:to], rem[from:to], t.src.peak)
		for i := range count {
			lo, hi := from+i*(to-from)/count, from+(i+1)*(to-from)/count
			h := Stretch{At: j.at + lo}
			h.add(a[lo:hi], rem[lo:hi], directB[c]+direct[c], directB[c])
			for _, r := range low[lo/t.every : min(len(low), hi/t.every)] {
				h.Rem += float32(r * r * float64(t.every))
			}
			t.sum.Stretches[c] = append(t.sum.Stretches[c], h)
		}
	}
}

// directVoltages returns the direct voltages of rem and of a − rem, the medians of the means of so many parts: an event in a few of them does
// not change them.
func directVoltages(a, rem []float64, parts int) (ofRem, ofB float64) {
	means, rest := make([]float64, parts), make([]float64, parts)
	for i := range means {
		lo, hi := i*len(a)/parts, (i+1)*len(a)/parts
		means[i] = floats.Sum(rem[lo:hi]) / float64(hi-lo)
		rest[i] = floats.Sum(a[lo:hi])/float64(hi-lo) - means[i]
	}
	return spectrum.Median(means), spectrum.Median(rest)
}

// noteTiming notes the sums of the middle half of a block from its spectra, of which it takes the audible band: beyond the
// band edge the interpolator is not exact, and the residual there is not the captures'. The block is transformed back at no higher a rate than
// that band needs, and divided by the window. It mutates the spectra.
func (t *transformer) noteTiming(at int, fa, fr [][]complex128) {
	m := t.inverse.Len()
	every := t.sum.N / m
	step := max(1, int(t.sum.Rate)/(200*every))
	first, last := len(t.sum.timing), 3*m/4-step
	for c := range fa {
		a, r := t.audibleBlock(t.back[0], fa[c]), t.audibleBlock(t.back[1], fr[c])
		for k, from := 0, m/4; from <= last; k, from = k+1, from+step {
			if c == 0 {
				t.sum.timing = append(t.sum.timing, timingSums{at: at + from*every})
			}
			t.sum.timing[first+k].add(a[from-1:from+step+1], r[from-1:from+step+1])
		}
	}
}

// audibleBlock writes the middle half of the block whose spectrum is bins, and a sample more at either end, to dst.
func (t *transformer) audibleBlock(dst []float64, bins []complex128) []float64 {
	m, every := t.inverse.Len(), t.sum.N/t.inverse.Len()
	lo, hi := t.sum.Bins(audible.LowHz, audible.HighHz)
	clear(bins[:lo])
	clear(bins[hi:])
	t.inverse.Inverse(dst, bins[:m/2+1])
	for i, last := m/4-1, 3*m/4; i <= last; i++ {
		dst[i] /= t.window[i*every]
	}
	return dst
}
