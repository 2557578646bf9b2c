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

// baseband is the logarithm of the carrier's complex amplitude at equal intervals: log of the level, and unwrapped phase in
// radians against the frequency mixed down by.
type baseband struct{ level, phase []float64 }

// demodulated is a capture's basebands, empty for a channel without a tone.
type demodulated struct {
	channels []baseband
	interval float64 // in seconds
	mixedHz  float64 // the frequency mixed down by
}

// demodulate mixes each channel down, filters it with a Kaiser low-pass of linear phase, and takes the output at equal intervals. The first value
// is taken half a filter after the tone begins.
func demodulate(r pcm.Reader, t measure.ToneStretch, carrierHz float64) (demodulated, error) {
	f, rate := r.Format(), r.Format().Rate.Hz()
	taps := spectrum.LowPass(spectrum.KaiserLength(attenuationDB, (stopHz-bandwidthHz)/rate), (stopHz+bandwidthHz)/2/rate, attenuationDB)
	hop := int(math.Round(rate / samplesPerS))
	// The mixer's phase is counted in 2⁻⁶⁴ turns, so that it stays exact however long the capture is.
	turns := math.Round(math.Ldexp(carrierHz/rate, 53))
	step := uint64(turns) << 11
	channels := make([]channel, f.Channels)
	for c := range channels {
		channels[c] = channel{taps: taps, hop: hop, sums: map[int]complex128{}}
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
	out := demodulated{interval: float64(hop) / rate, mixedHz: math.Ldexp(turns, -53) * rate}
	for c := range channels {
		out.channels = append(out.channels, unwrap(channels[c].out))
	}
	return out, err
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
	taps []float64
	hop  int
	sums map[int]complex128
	out  []complex128
}

func (c *channel) add(samples []float64, mixed []complex128, from int) {
	length, to := len(c.taps), from+len(samples)
	for k := len(c.out); k*c.hop < to; k++ {
		start := k * c.hop
		low, high := max(from, start), min(to, start+length)
		sum := c.sums[k]
		for i := low; i < high; i++ {
			w := samples[i-from] * c.taps[i-start]
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
