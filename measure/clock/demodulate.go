package clock

import (
	"math"
	"math/cmplx"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

const (
	// bandwidthHz is what passes unchanged: the measurement bandwidth of wander, below 10 Hz (ITU-T G.810, 4.5.3; from memory).
	bandwidthHz = 10
	// samplesPerS is a divisor of every common rate; ITU-T G.810 asks for 30 at the least (from memory).
	samplesPerS = 50
	stopHz      = samplesPerS - bandwidthHz // aliases beyond this fall above bandwidthHz
	// attenuationDB keeps the residue of mains and of the test signal's square wave near the carrier below 10⁻⁵ of itself.
	attenuationDB = 100
)

// lowpass is a Kaiser low-pass of linear phase whose output is taken every hop frames.
type lowpass struct {
	taps []float64
	hop  int
}

func newLowpass(rateHz float64) lowpass {
	length := spectrum.KaiserLength(attenuationDB, (stopHz-bandwidthHz)/rateHz)
	return lowpass{spectrum.LowPass(length, (stopHz+bandwidthHz)/2/rateHz, attenuationDB), int(math.Round(rateHz / samplesPerS))}
}

// baseband is the logarithm of the carrier's complex amplitude at equal intervals: log of the level, and unwrapped phase in
// radians against the frequency mixed down by.
type baseband struct{ level, phase []float64 }

// demodulate returns the baseband of every channel, empty for one without a tone. The first value is taken half a filter after the
// tone begins.
func demodulate(r pcm.Reader, t measure.ToneStretch, carrierHz float64) ([]baseband, error) {
	f := r.Format()
	filter := newLowpass(f.Rate.Hz())
	// The mixer's phase is counted in 2⁻⁶⁴ turns, so that it stays exact however long the capture is.
	step := uint64(math.Round(math.Ldexp(carrierHz/f.Rate.Hz(), 53))) << 11
	channels := make([]channel, f.Channels)
	for c := range channels {
		channels[c] = channel{filter: filter, sums: map[int]complex128{}}
	}
	err := pcm.Blocks(pcm.Section(r, t.From, t.To), 1<<14, func(b [][]float64, from int) error {
		mixed := oscillation(step, from, len(b[0]))
		for c, ch := range b {
			if t.Sounds(c) {
				channels[c].add(ch, mixed, from)
			}
		}
		return nil
	})
	out := make([]baseband, f.Channels)
	for c := range out {
		out[c] = unwrap(channels[c].out)
	}
	return out, err
}

// mixedHz returns the frequency that demodulate mixes down by: carrierHz, rounded to a step of its counter.
func mixedHz(carrierHz, rateHz float64) float64 {
	return math.Ldexp(math.Round(math.Ldexp(carrierHz/rateHz, 53)), -53) * rateHz
}

// oscillation returns exp(−j·2π·step·i/2⁶⁴) for n frames from a frame on. The rotation is restarted now and then, so that rounding does not
// add up.
func oscillation(step uint64, from, n int) []complex128 {
	const fresh = 256
	out := make([]complex128, n)
	turn := -2 * math.Pi * math.Ldexp(float64(int64(step)), -64)
	rotation := cmplx.Rect(1, turn)
	for i := range out {
		if i%fresh == 0 {
			out[i] = cmplx.Rect(1, -2*math.Pi*math.Ldexp(float64(int64(step*uint64(from+i))), -64))
			continue
		}
		out[i] = out[i-1] * rotation
	}
	return out
}

// channel filters one channel as its blocks come. sums holds the outputs whose filter has begun and not ended.
type channel struct {
	filter lowpass
	sums   map[int]complex128
	out    []complex128
}

func (c *channel) add(samples []float64, mixed []complex128, from int) {
	hop, length := c.filter.hop, len(c.filter.taps)
	to := from + len(samples)
	for k := len(c.out); k*hop < to; k++ {
		start := k * hop
		low, high := max(from, start), min(to, start+length)
		sum := c.sums[k]
		for i := low; i < high; i++ {
			w := samples[i-from] * c.filter.taps[i-start]
			z := mixed[i-from]
			sum += complex(w*real(z), w*imag(z))
		}
		if start+length > to {
			c.sums[k] = sum
			continue
		}
		delete(c.sums, k)
		c.out = append(c.out, sum)
	}
}

func unwrap(z []complex128) baseband {
	b := baseband{make([]float64, len(z)), make([]float64, len(z))}
	for i, v := range z {
		b.level[i], b.phase[i] = math.Log(cmplx.Abs(v)), cmplx.Phase(v)
		if i > 0 {
			b.phase[i] += 2 * math.Pi * math.Round((b.phase[i-1]-b.phase[i])/(2*math.Pi))
		}
	}
	return b
}
