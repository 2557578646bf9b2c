package measure

import (
	"fmt"
	"math"
	"slices"

	"heardiff/playback/pcm"
)

// LoudnessReading is the loudness of a recording by ITU-R BS.1770-5 and EBU Tech 3341 and 3342.
type LoudnessReading struct {
	// IntegratedLUFS is gated at −70 LUFS and 10 LU below the mean of what remains; NaN where nothing
	// remains, or the recording is shorter than 400 ms.
	IntegratedLUFS float64 `json:"integrated_lufs"`
	// MaxMomentaryLUFS is the largest over any 400 ms, MaxShortTermLUFS over any 3 s, sought every 10 ms: windows 100 ms apart
	// would read a burst of 400 ms up to 0.6 dB low. NaN where shorter, −Inf if silent.
	MaxMomentaryLUFS float64 `json:"max_momentary_lufs"`
	MaxShortTermLUFS float64 `json:"max_short_term_lufs"`
	// RangeLU is the loudness range; NaN below 3 s of ungated short-term loudness.
	RangeLU float64 `json:"range_lu"`
}

// Loudness reads all of r, in blocks, and returns its loudness. Channels are taken in the order of WAV files:
// L R C LFE and surrounds for six and more, without LFE for five; LFE does not count, side surrounds weigh 1.41.
func Loudness(r pcm.Reader) (LoudnessReading, error) {
	return readAll(r, "loudness", NewLoudnessMeter(r.Format()))
}

// blockFrames is how much is read at a time: small enough for the cache, large enough to hide the call.
const blockFrames = 1 << 14

// readAll returns what a meter reads of all of r. what begins the error.
func readAll[M interface {
	Write(block [][]float64)
	Reading() R
}, R any](r pcm.Reader, what string, meter M) (reading R, err error) {
	err = pcm.Blocks(r, blockFrames, func(block [][]float64, _ int) error {
		meter.Write(block)
		return nil
	})
	if err != nil {
		return reading, fmt.Errorf("%s: %w", what, err)
	}
	return meter.Reading(), nil
}

// LoudnessMeter takes audio piece by piece. It keeps 8 bytes a tenth of a second.
type LoudnessMeter struct {
	rate     pcm.Rate
	filters  []kFilter
	weights  []float64
	frames   int              // written so far
	energy   float64          // weighted energy of the hundredth of a second that is being filled
	boundary int              // frame at which it ends
	full     int              // hundredths filled so far
	recent   [inShort]float64 // energies of the last of them, in a ring
	tenths   []float64        // mean square of each full tenth of a second
	maxima   [2]float64       // largest mean square over inMomentary and inShort hundredths
}

// Lengths in hundredths of a second: of the steps of gating (ITU-R BS.1770), and of momentary and short-term loudness (EBU Tech 3341).
const inStep, inMomentary, inShort = 10, 40, 300

// NewLoudnessMeter returns a meter for audio of the given format.
func NewLoudnessMeter(f pcm.Format) *LoudnessMeter {
	m := &LoudnessMeter{rate: f.Rate, weights: channelWeights(f.Channels), maxima: [2]float64{math.NaN(), math.NaN()}}
	for range f.Channels {
		m.filters = append(m.filters, kFilter{kShelf(f.Rate.Hz()), kHighPass(f.Rate.Hz())})
	}
	m.boundary = m.hundredth(1)
	return m
}

// hundredth returns the frame at which the n-th hundredth of a second begins, also where the rate is no multiple of 100.
func (m *LoudnessMeter) hundredth(n int) int { return (n*int(m.rate) + 50) / 100 }

// channelWeights returns G of BS.1770 for channels in WAV order; the weight 1.41 belongs to azimuths of 60° to
// 120°, so the rear pair of a seven-channel bed counts 1.
func channelWeights(n int) []float64 {
	const side, none = 1.41, 0
	switch n {
	case 4: // L R Ls Rs
		return []float64{1, 1, side, side}
	case 5: // L R C Ls Rs
		return []float64{1, 1, 1, side, side}
	case 6: // L R C LFE Ls Rs
		return []float64{1, 1, 1, none, side, side}
	case 7: // L R C LFE back Ls Rs
		return []float64{1, 1, 1, none, 1, side, side}
	case 8: // L R C LFE back-L back-R Ls Rs
		return []float64{1, 1, 1, none, 1, 1, side, side}
	}
	return slices.Repeat([]float64{1}, n)
}

// Write adds frames, one equally long slice a channel.
func (m *LoudnessMeter) Write(block [][]float64) {
	for at := 0; at < len(block[0]); {
		n := min(len(block[0])-at, m.boundary-m.frames)
		for c := range m.filters {
			m.energy += m.weights[c] * m.filters[c].energy(block[c][at:at+n])
		}
		at += n
		m.frames += n
		if m.frames == m.boundary {
			m.close()
		}
	}
}

// close takes up a full hundredth of a second.
func (m *LoudnessMeter) close() {
	m.recent[m.full%inShort], m.energy = m.energy, 0
	m.full++
	m.boundary = m.hundredth(m.full + 1)
	if m.full%inStep == 0 {
		m.tenths = append(m.tenths, m.last(inStep))
	}
	for i, n := range [2]int{inMomentary, inShort} {
		if m.full >= n {
			if p := m.last(n); !(p <= m.maxima[i]) {
				m.maxima[i] = p
			}
		}
	}
}

// last returns the mean square of the last n hundredths, summed anew: a running sum would leave residue in silence.
func (m *LoudnessMeter) last(n int) float64 {
	sum := 0.0
	for i := m.full - n; i < m.full; i++ {
		sum += m.recent[i%inShort]
	}
	return sum / float64(m.hundredth(m.full)-m.hundredth(m.full-n))
}

// Reading returns the loudness of what was written so far; an incomplete last block does not count.
func (m *LoudnessMeter) Reading() LoudnessReading {
	momentary, short := m.windows(inMomentary/inStep), m.windows(inShort/inStep)
	return LoudnessReading{
		IntegratedLUFS:   lufs(gatedMean(momentary)),
		MaxMomentaryLUFS: lufs(m.maxima[0]),
		MaxShortTermLUFS: lufs(m.maxima[1]),
		RangeLU:          loudnessRange(short),
	}
}

// windows returns the mean square over every n successive tenths.
func (m *LoudnessMeter) windows(n int) []float64 {
	if len(m.tenths) < n {
		return nil
	}
	out := make([]float64, len(m.tenths)-n+1)
	for i := range out {
		for _, p := range m.tenths[i : i+n] { // summed anew: a running sum would leave residue in silence
			out[i] += p
		}
		out[i] /= float64(n)
	}
	return out
}

func lufs(power float64) float64 { return -0.691 + pcm.PowerDB(power) }

func powerOfLUFS(l float64) float64 { return math.Pow(10, (l+0.691)/10) }

// gatedMean returns the mean of the powers above both gates of BS.1770, NaN where none is.
func gatedMean(powers []float64) float64 {
	absolute := powerOfLUFS(-70)
	ungated := meanAbove(powers, absolute)
	return meanAbove(powers, max(absolute, ungated/10))
}

// meanAbove returns the mean of the powers above the gate, NaN where none is.
func meanAbove(powers []float64, gate float64) float64 {
	sum, n := 0.0, 0
	for _, p := range powers {
		if p > gate {
			sum += p
			n++
		}
	}
	return sum / float64(n)
}

// loudnessRange returns the distance in LU of the 10th and 95th percentile of short-term loudness, gated at
// −70 LUFS and 20 LU below the mean. ref: EBU Tech 3342.
func loudnessRange(short []float64) float64 {
	gate := max(powerOfLUFS(-70), meanAbove(short, powerOfLUFS(-70))/100)
	var kept []float64
	for _, p := range short {
		if p >= gate {
			kept = append(kept, p)
		}
	}
	if len(kept) == 0 {
		return math.NaN()
	}
	slices.Sort(kept)
	at := func(q float64) float64 { return kept[int(math.Round(q*float64(len(kept)-1)))] }
	return pcm.PowerDB(at(0.95) / at(0.10))
}
