package tone

import (
	"fmt"
	"math"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// NoiseResult is the noise of a chain that plays silence.
type NoiseResult struct {
	Schema  string         `json:"schema"` // heardiff.noise/1
	RateHz  int            `json:"rate_hz"`
	Seconds float64        `json:"seconds"`
	Channel []NoiseChannel `json:"channel"`
	warning.Warnings
}

// NoiseChannel is the part of a NoiseResult about one channel; 20 Hz to 20 kHz, without DC. Digital silence is −Inf.
type NoiseChannel struct {
	Channel        int         `json:"channel"`
	UnweightedDBFS float64     `json:"unweighted_dbfs"`
	AWeightedDBFS  float64     `json:"a_weighted_dbfs"`
	CCIRRMSDBFS    float64     `json:"ccir_rms_dbfs"` // ITU-R BS.468 curve, 0 dB at 2 kHz, RMS
	DC             float64     `json:"dc"`            // as a fraction of full scale
	Hum            []LevelLine `json:"hum"`
	Spurs          []LevelLine `json:"spurs"`
	// RelativeToReferenceDB is the unweighted noise less the level of the reference, NaN without one.
	RelativeToReferenceDB float64 `json:"relative_to_reference_db"`
	Limits                []Limit `json:"limits,omitempty"`

	Density []DensityPoint `json:"-"`
	// Spectrum is Density in at most 500 points, lines included.
	Spectrum []DensityPoint `json:"spectrum,omitempty"`
}

// LevelLine is a line with its AES17 level.
type LevelLine struct {
	Hz   float64 `json:"hz"`
	DBFS float64 `json:"dbfs"`
}

// Noise measures a recording of silence, less digital zeros and clicks at its ends, where the recorder ran and the chain
// did not. reference, if not nil, is a recording
// of a signal through the same chain with the same gain: the noise is also given relative to its level in the band.
// The error wraps ErrNoSignal for recordings below a quarter of a second or louder than −30 dBFS, and pcm.ErrMismatch where
// the rates or channel counts differ.
func Noise(r, reference pcm.Reader) (NoiseResult, error) {
	if least := int(r.Format().Rate) / 4; r.Frames() < least {
		return NoiseResult{}, fmt.Errorf("noise: %w: %.2f s, a quarter of a second is the least", ErrNoSignal, r.Format().Rate.Seconds(r.Frames()))
	}
	q, err := findQuiet(r)
	if err != nil {
		return NoiseResult{}, fmt.Errorf("noise: %w", err)
	}
	r = pcm.Section(r, q.from, q.to)
	spectra, dc, err := spectraOf(r)
	if err != nil {
		return NoiseResult{}, fmt.Errorf("noise: %w", err)
	}
	result := NoiseResult{
		Schema: "heardiff.noise/1", RateHz: int(r.Format().Rate), Seconds: r.Format().Rate.Seconds(r.Frames()),
	}
	result.Warn(q.warnings()...)
	for c, s := range spectra {
		ch := noiseOf(s)
		ch.Channel, ch.DC = c+1, dc[c]
		if ch.UnweightedDBFS > loudestNoise {
			return NoiseResult{}, fmt.Errorf("noise: %w: %.1f dBFS in channel %d is no recording of silence", ErrNoSignal, ch.UnweightedDBFS, c+1)
		}
		result.Channel = append(result.Channel, ch)
		result.Warn(noiseWarnings(ch, s)...)
	}
	return result, result.relate(reference)
}

func (n *NoiseResult) relate(reference pcm.Reader) error {
	if reference == nil {
		return nil
	}
	if f := reference.Format(); f.Channels != len(n.Channel) || int(f.Rate) != n.RateHz {
		return fmt.Errorf("noise: %w: reference of %d channels at %d Hz, recording of %d at %d Hz", pcm.ErrMismatch, f.Channels, f.Rate, len(n.Channel), n.RateHz)
	}
	a, err := findActive(reference)
	if err != nil {
		return fmt.Errorf("noise: reference: %w", err)
	}
	for c := range n.Channel {
		n.Channel[c].RelativeToReferenceDB = n.Channel[c].UnweightedDBFS - pcm.DBFS(a.loudest[c])
		if a.loudest[c] == 0 {
			n.Channel[c].RelativeToReferenceDB = math.NaN()
			n.Warn(warning.Newf(SilentReference, "channel %d: the reference is silent", c+1).In(c + 1))
		}
	}
	return nil
}

// spectraOf reads r twice: for the mean of each channel, and for the spectrum without it.
func spectraOf(r pcm.Reader) ([]spectrum.Spectrum, []float64, error) {
	f := r.Format()
	dc := make([]float64, f.Channels)
	averagers := make([]*spectrum.Averager, f.Channels)
	for c := range averagers {
		averagers[c] = newAverager(f.Rate, r.Frames())
	}
	const size = 1 << 14
	err := pcm.Blocks(r, size, func(block [][]float64, _ int) error {
		for c, x := range block {
			for _, v := range x {
				dc[c] += v / float64(r.Frames())
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	err = pcm.Blocks(r, size, func(block [][]float64, _ int) error {
		for c, x := range block {
			floats.AddConst(-dc[c], x)
			averagers[c].Write(x)
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	spectra := make([]spectrum.Spectrum, f.Channels)
	for c, avg := range averagers {
		spectra[c] = avg.Mean()
	}
	return spectra, dc, nil
}

func noiseOf(s spectrum.Spectrum) NoiseChannel {
	level := func(weight func(float64) float64) float64 {
		return pcm.DBFS(math.Sqrt(weightedPower(s, weight)))
	}
	c := NoiseChannel{
		UnweightedDBFS: level(nil), AWeightedDBFS: level(measure.AWeightDB), CCIRRMSDBFS: level(measure.CCIRWeightDB),
		RelativeToReferenceDB: math.NaN(),
	}
	if math.IsInf(c.UnweightedDBFS, -1) {
		return c
	}
	c.Density = densityOf(s)
	c.Spectrum = compact(c.Density)
	hum, spurs := findLines(s, func(float64) bool { return false })
	for _, l := range hum {
		c.Hum = append(c.Hum, LevelLine{Hz: l.FreqHz, DBFS: pcm.DB(l.Amplitude)})
	}
	for _, l := range spurs {
		c.Spurs = append(c.Spurs, LevelLine{Hz: l.FreqHz, DBFS: pcm.DB(l.Amplitude)})
	}
	return c
}

// loudestSilence is the level in dBFS from which on a recording is hardly one of silence. A judgement, no source; TestLoudNoiseIsNoSilence
// holds it.
const loudestSilence = -40

// noiseWarnings warns of what is unusual about the noise of a channel.
func noiseWarnings(c NoiseChannel, s spectrum.Spectrum) (list []warning.Warning) {
	warn := func(w warning.Warning) { list = append(list, w.In(c.Channel)) }
	switch {
	case math.IsInf(c.UnweightedDBFS, -1):
		warn(warning.Newf(measure.DigitalSilence, "channel %d: digital silence: nothing was recorded, or a gate muted it", c.Channel))
	case c.oneLine():
		warn(warning.Newf(NotSilence, "channel %d: one line holds nearly all of it: a tone was recorded, or the set-up oscillates", c.Channel).Of(c.Spurs[0].Hz, "Hz"))
	case c.UnweightedDBFS > loudestSilence:
		warn(warning.Newf(NotSilence, "channel %d: %.1f dBFS is no recording of silence: is this the right file?", c.Channel, c.UnweightedDBFS).Of(c.UnweightedDBFS, "dBFS"))
	}
	if s.RateHz < 2*bandHigh {
		warn(warning.Newf(BandLimited, "channel %d: the band ends at %.0f Hz, half the rate", c.Channel, s.RateHz/2).Of(s.RateHz/2, "Hz"))
	}
	return list
}
