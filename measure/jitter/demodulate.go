package jitter

import (
	"fmt"
	"io"
	"math"
	"sync"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// mixer describes how a real signal becomes a complex baseband: mixed down by bin·rate/size, filtered by a
// Kaiser low-pass of linear phase (−150 dB), and decimated; all by overlap-save.
type mixer struct {
	size, decimation int
	bin              int          // carrier bin of a block
	quarter          int          // half the filter's length, in output samples
	response         []complex128 // of the low-pass, bins −reach … reach
	reach            int
	rateHz           float64 // of the input
}

const (
	// leastOutRate is the least rate of the baseband, as a ratio to the highest jitter frequency: twice that, and room for the filter's edge.
	leastOutRate = 2.2
	// stopBand is where the filter's stop band begins, as a ratio to the highest jitter frequency. A sharp edge: a tone let half through would, by
	// the logarithm, leave a product at twice its offset.
	stopBand      = 1.12
	attenuationDB = 150
)

// newMixer plans for a band of ±highHz around a carrier.
func newMixer(rateHz, carrierHz, highHz float64) *mixer {
	m := &mixer{rateHz: rateHz, decimation: 1}
	for rateHz/float64(2*m.decimation) >= leastOutRate*highHz {
		m.decimation *= 2
	}
	out := rateHz / float64(m.decimation)
	stop := min(carrierHz, rateHz/2-carrierHz, out-highHz, stopBand*highHz)
	taps := spectrum.KaiserLength(attenuationDB, (stop-highHz)/rateHz)
	m.quarter = int(math.Ceil(float64(taps-1) / float64(2*m.decimation)))
	length := 2*m.decimation*m.quarter + 1
	m.size = max(1<<14, spectrum.PowerOfTwo(8*length))
	m.bin = int(math.Round(carrierHz / rateHz * float64(m.size)))
	m.transform(spectrum.LowPass(length, (stop+highHz)/2/rateHz, attenuationDB), stop)
	return m
}

// transform keeps the filter's response up to its stop band, which begins at 0 Hz or half the rate at the latest.
func (m *mixer) transform(taps []float64, stop float64) {
	bins := spectrum.NewPlan(m.size).Forward(nil, taps)
	m.reach = min(m.bin, m.size/2-m.bin, int(stop/m.rateHz*float64(m.size))+1)
	m.response = make([]complex128, 2*m.reach+1)
	for k := 0; k <= m.reach; k++ {
		m.response[m.reach+k] = bins[k]
		m.response[m.reach-k] = complex(real(bins[k]), -imag(bins[k]))
	}
}

// outRate returns the rate of the baseband, carrier the frequency mixed to zero, lead the frames that the filter
// needs before and after, hop the frames that one block brings forward.
func (m *mixer) outRate() float64 { return m.rateHz / float64(m.decimation) }

func (m *mixer) carrierHz() float64 { return float64(m.bin) * m.rateHz / float64(m.size) }

func (m *mixer) lead() int { return m.quarter * m.decimation }

func (m *mixer) perBlock() int { return m.size/m.decimation - 2*m.quarter }

func (m *mixer) hop() int { return m.perBlock() * m.decimation }

// workspace is what one channel is analysed in, one record after the other.
type workspace struct {
	samples []complex128 // log z of the baseband, and its transform
	noise   [2][]float64 // around each bin of phase and of amplitude
	demods  [2]*demodulator
}

// noiseOf returns memory for the noise of so many bins of one side.
func (w *workspace) noiseOf(side, bins int) []float64 {
	if len(w.noise[side]) != bins {
		w.noise[side] = make([]float64, bins)
	}
	return w.noise[side]
}

func newWorkspace(m *mixer, samples int) *workspace {
	w := &workspace{samples: make([]complex128, max(paddedSize(samples), samples+m.perBlock()))}
	for i := range w.demods {
		w.demods[i] = m.demodulator()
	}
	return w
}

// blocksAtOnce is how many blocks are read at once.
const blocksAtOnce = 8

// demodulate fills the workspaces with the channels of a group; sample 0 is at frame from.
func demodulate(r pcm.Reader, group []int, spaces []*workspace, m *mixer, from, samples int) error {
	blocks := (samples + m.perBlock() - 1) / m.perBlock()
	buffer := pcm.Planes(r.Format().Channels, blocksAtOnce*m.hop()+m.size-m.hop())
	for first := 0; first < blocks; first += blocksAtOnce {
		at := from - m.lead() + first*m.hop()
		n, err := r.ReadFrames(buffer, at)
		if err != nil && err != io.EOF {
			return fmt.Errorf("jitter: read at frame %d: %w", at, err)
		}
		forEach(group, spaces, func(w *workspace, c int) {
			clear(buffer[c][n:])
			w.demodulate(buffer[c], first, min(blocks, first+blocksAtOnce))
		})
	}
	return nil
}

// forEach calls f for every channel of a group with a workspace of its own, at the same time.
func forEach(group []int, spaces []*workspace, f func(w *workspace, channel int)) {
	var wait sync.WaitGroup
	for i, c := range group {
		wait.Go(func() { f(spaces[i], c) })
	}
	wait.Wait()
}

// demodulate processes the blocks from first to last − 1, which begin at x, on as many processors as it has demodulators.
func (w *workspace) demodulate(x []float64, first, last int) {
	var wait sync.WaitGroup
	for i, d := range w.demods {
		wait.Go(func() {
			for b := first + i; b < last; b += len(w.demods) {
				d.block(w.samples[b*d.perBlock():], b, x[(b-first)*d.hop():][:d.size])
			}
		})
	}
	wait.Wait()
}

// demodulator runs a mixer over blocks of one channel.
type demodulator struct {
	*mixer
	plan    *spectrum.Plan
	inverse *spectrum.ComplexPlan
	bins    []complex128
	folded  []complex128
}

func (m *mixer) demodulator() *demodulator {
	return &demodulator{mixer: m, plan: spectrum.NewPlan(m.size), inverse: spectrum.NewComplexPlan(m.size / m.decimation),
		bins: make([]complex128, m.size/2+1), folded: make([]complex128, m.size/m.decimation)}
}

// block writes the logarithm of the baseband of a block, perBlock samples, to dst; the phase is not unwrapped. in holds size
// samples, and begins hop after the block before did.
// A tone a·cos(2πft + p) gives log a + j(2π(f − carrier)t + p), t from the first block's sample lead().
func (d *demodulator) block(dst []complex128, index int, in []float64) {
	d.plan.Forward(d.bins, in)
	clear(d.folded)
	n, mask := d.size, len(d.folded)-1
	for i, h := range d.response {
		d.folded[(i-d.reach)&mask] += d.bins[d.bin+i-d.reach] * h
	}
	d.inverse.Inverse(d.folded, d.folded)
	// Mixing is continuous over blocks: this one begins index·hop later.
	turn := -2 * math.Pi * float64(d.bin*(index*d.hop()%n)%n) / float64(n)
	scale := complex(2*math.Cos(turn)/float64(d.decimation), 2*math.Sin(turn)/float64(d.decimation))
	for i, z := range d.folded[2*d.quarter:] {
		z *= scale
		dst[i] = complex(math.Log(math.Hypot(real(z), imag(z))), math.Atan2(imag(z), real(z)))
	}
}
