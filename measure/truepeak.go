package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// TruePeakReading is the largest value of the continuous signal that the samples represent.
type TruePeakReading struct {
	// DBTP is the largest of all channels in dB relative to full scale; −Inf if silent.
	DBTP float64 `json:"dbtp"`
	// Channel holds the same for each channel.
	Channel []float64 `json:"channel"`
}

// TruePeak reads all of r, in blocks, and returns its true peak after ITU-R BS.1770-5 annex 2. The signal is
// evaluated at 384 kHz or more (at least twice the rate), where the largest under-read of a tone at 20 kHz is
// 0.12 dB at 44.1 and 48 kHz.
func TruePeak(r pcm.Reader) (TruePeakReading, error) {
	return readAll(r, "true peak", NewTruePeakMeter(r.Format()))
}

// TruePeakMeter takes audio piece by piece. It evaluates only what may exceed the peak so far; the result is the same as if
// it evaluated all.
type TruePeakMeter struct {
	phases [][]float64
	// bend bounds what lies between two samples: no value exceeds the larger of the two by more than bend times the largest second
	// difference of the samples around, see bendOf.
	bend     float64
	channels []peakChannel
}

type peakChannel struct {
	past         []float64 // the last taps − 1 samples, then the block
	loud, curved []float64 // of each stretch of past: the largest magnitude and the largest second difference
	peak         float64
}

// Taps of each phase of the interpolator. 48 with this window pass 20 kHz at 44.1 kHz with an error below −60 dB
// (0.01 dB in the peak), and all frequencies below it with less.
const (
	peakTaps          = 48
	peakAttenuationDB = 80
	// The signal is evaluated at leastTimes to mostTimes the rate, and from leastEvaluatedHz on where that allows: eight times 44.1 kHz. ITU-R BS.1770
	// asks for 192 kHz.
	leastTimes, mostTimes, leastEvaluatedHz = 2, 8, 352_800
)

// NewTruePeakMeter returns a meter for audio of the given format.
func NewTruePeakMeter(f pcm.Format) *TruePeakMeter {
	times := leastTimes
	for times < mostTimes && times*int(f.Rate) < leastEvaluatedHz {
		times *= 2
	}
	m := &TruePeakMeter{channels: make([]peakChannel, f.Channels)}
	for p := 1; p < times; p++ {
		h := peakPhase(float64(p) / float64(times))
		m.phases = append(m.phases, h)
		m.bend = max(m.bend, bendOf(h))
	}
	for c := range m.channels {
		m.channels[c].past = make([]float64, peakTaps-1)
	}
	return m
}

// peakPhase returns the windowed sinc that evaluates a signal the fraction d of a sample after tap peakTaps/2 − 1.
func peakPhase(d float64) []float64 {
	beta := spectrum.KaiserBeta(peakAttenuationDB)
	h := make([]float64, peakTaps)
	sum := 0.0
	for k := range h {
		x := float64(k-peakTaps/2+1) - d
		u := 2 * x / peakTaps
		h[k] = math.Sin(math.Pi*x) / (math.Pi * x) * spectrum.BesselI0(beta*math.Sqrt(max(0, 1-u*u)))
		sum += h[k]
	}
	for k := range h {
		h[k] /= sum
	}
	return h
}

// bendOf returns by how much, in units of the largest second difference of the samples, a phase may pass the larger of the two
// samples that it lies between. The phase sums to 1. On every straight line it agrees with interpolation between the two; what
// it has beyond that vanishes on lines, and is therefore a filter q of second differences, whose gain is at most Σ|q|:
//
//	h[k] = (1 − c)·δ[k − m] + c·δ[k − m − 1] + q[k − 1] − 2·q[k] + q[k + 1],  m = taps/2 − 1,  c = Σ(k − m)·h[k]
//
// For music, whose spectrum falls, this is far less than the bound by Σ|h|.
func bendOf(h []float64) float64 {
	const m = peakTaps/2 - 1
	c := 0.0
	for k, v := range h {
		c += float64(k-m) * v
	}
	slope, q, bound := 0.0, 0.0, 0.0
	for k, v := range h {
		switch k {
		case m:
			v -= 1 - c
		case m + 1:
			v -= c
		}
		slope += v
		q += slope
		bound += math.Abs(q)
	}
	return bound * (1 + 1e-9) // more than any rounding
}

// Write adds frames, one equally long slice a channel.
func (m *TruePeakMeter) Write(block [][]float64) {
	for c := range m.channels {
		m.channels[c].write(block[c], m)
	}
}

// peakStretch is how many samples are skipped together, a third of the taps.
const peakStretch = peakTaps / 3

func (p *peakChannel) write(x []float64, m *TruePeakMeter) {
	p.past = append(p.past, x...)
	p.survey()
	for _, v := range p.loud {
		p.peak = max(p.peak, v)
	}
	for s := 0; s*peakStretch < len(x); s++ {
		// What lies between samples taps/2 − 1 and taps/2 of a window depends on all of it: on this stretch and three more.
		curved := slices.Max(p.curved[s:min(s+4, len(p.curved))])
		least := p.peak - m.bend*curved // a neighbour that is louder may have a value next to it that passes the peak
		if max(p.loud[s+1], p.loud[min(s+2, len(p.loud)-1)]) <= least {
			continue
		}
		for i := s * peakStretch; i < min((s+1)*peakStretch, len(x)); i++ {
			if near := p.past[i+peakTaps/2-1 : i+peakTaps/2+1]; math.Abs(near[0]) > least || math.Abs(near[1]) > least {
				for _, h := range m.phases {
					p.peak = max(p.peak, math.Abs(floats.Dot(h, p.past[i:i+peakTaps])))
				}
			}
		}
	}
	kept := copy(p.past, p.past[len(x):])
	p.past = p.past[:kept]
}

// survey fills loud and curved.
func (p *peakChannel) survey() {
	p.loud, p.curved = p.loud[:0], p.curved[:0]
	for from := 0; from < len(p.past); from += peakStretch {
		// One more sample to either side, where there is one: those at the ends are never in the middle of three.
		x := p.past[max(0, from-1):min(from+peakStretch+1, len(p.past))]
		loud, curved := math.Abs(x[0]), 0.0
		for k := 1; k < len(x)-1; k++ {
			if d := math.Abs(x[k-1] - 2*x[k] + x[k+1]); d > curved {
				curved = d
			}
			if v := math.Abs(x[k]); v > loud {
				loud = v
			}
		}
		p.loud, p.curved = append(p.loud, max(loud, math.Abs(x[len(x)-1]))), append(p.curved, curved)
	}
}

// Reading returns the true peak of what was written so far, as if silence followed.
func (m *TruePeakMeter) Reading() TruePeakReading {
	r := TruePeakReading{DBTP: math.Inf(-1)}
	tail := make([]float64, peakTaps)
	for _, ch := range m.channels {
		ch.past = append([]float64(nil), ch.past...) // the meter itself goes on where it was
		ch.write(tail, m)
		db := pcm.DB(ch.peak)
		r.Channel = append(r.Channel, db)
		r.DBTP = max(r.DBTP, db)
	}
	return r
}
