// Package impair puts a known dose of jitter, noise, hum, gain, delay or drift into clean audio.
//
// With x the input as a function of time, the output is
//
//	y(t) = g·x((t − D)/(1 + p) + τ(t)) + noise(t) + hum(t)
//
// with delay D, drift p, jitter τ and gain g. x is evaluated between its samples by band-limited interpolation,
// whose own error and images lie below −140 dB up to 0.9 of Nyquist. Where the shift is an integer number of frames
// the samples themselves are taken: a zero dose returns the input bit for bit. Levels in dBFS follow AES17.
package impair

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

// Kind of jitter.
type Kind string

// Kinds of jitter. Any other is refused.
const (
	Random   Kind = "random"   // Gaussian, flat in a band
	Periodic Kind = "periodic" // one sine
)

// Jitter is one component of the time error τ.
type Jitter struct {
	Kind Kind `json:"kind"`
	// RMSPS is the RMS value in picoseconds, over the length of the file. The peak of a sine is √2 of it.
	RMSPS float64 `json:"rms_ps"`
	// LowHz and HighHz bound random jitter. Zeros mean 10 Hz and the smaller of 20 kHz and 0.9 of Nyquist.
	LowHz  float64 `json:"low_hz,omitempty"`
	HighHz float64 `json:"high_hz,omitempty"`
	// FreqHz is the frequency of periodic jitter.
	FreqHz float64 `json:"frequency_hz,omitempty"`
}

// Colour of noise.
type Colour uint8

// Colours of noise. White is flat from 0 to Nyquist, Pink falls by 3 dB an octave from 10 Hz on.
const (
	White Colour = iota
	Pink
)

// String returns "white" or "pink".
func (c Colour) String() string {
	if c == Pink {
		return "pink"
	}
	return "white"
}

// MarshalText writes the name of the colour.
func (c Colour) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// ParseColour reads "white" or "pink".
func ParseColour(name string) (Colour, error) {
	for _, c := range []Colour{White, Pink} {
		if c.String() == name {
			return c, nil
		}
	}
	return White, fmt.Errorf("impair: noise %q: want white or pink", name)
}

// UnmarshalText reads the name of a colour.
func (c *Colour) UnmarshalText(text []byte) (err error) {
	*c, err = ParseColour(string(text))
	return err
}

// Noise is added noise, independent in every channel, of a total level from 0 to Nyquist.
type Noise struct {
	DBFS   float64 `json:"dbfs"`
	Colour Colour  `json:"colour"`
}

// Hum is an added series of sines at FreqHz, 2·FreqHz … Harmonics·FreqHz, alike in every channel; the first has
// the level DBFS and each next one 6 dB less. Harmonics 0 means 1.
type Hum struct {
	FreqHz    float64 `json:"frequency_hz"`
	DBFS      float64 `json:"dbfs"`
	Harmonics int     `json:"harmonics"`
}

// Dose is what Apply does. The zero value does nothing.
type Dose struct {
	Jitter []Jitter `json:"jitter"`
	Noise  []Noise  `json:"noise"`
	Hum    []Hum    `json:"hum"`
	// GainDB > 0 makes the output louder.
	GainDB float64 `json:"gain_db"`
	// DelaySamples > 0 makes the output later. Fractions are allowed.
	DelaySamples float64 `json:"delay_samples"`
	// DriftPPM > 0 stretches the output: an event at second t comes at t·(1 + DriftPPM·1e−6).
	DriftPPM float64 `json:"drift_ppm"`
	// Seed determines every random number.
	Seed uint64 `json:"seed"`
}

// KeepsSamples reports whether the output's samples are the input's own, at the most some frames later or earlier.
func (d Dose) KeepsSamples() bool {
	for _, j := range d.Jitter {
		if j.RMSPS != 0 {
			return false
		}
	}
	return len(d.Noise) == 0 && len(d.Hum) == 0 && d.GainDB == 0 && d.DriftPPM == 0 && d.DelaySamples == math.Trunc(d.DelaySamples)
}

// The largest doses. Judgement, no source: no chain is as bad. TestDoseOutOfRangeIsRefused holds them.
const (
	mostJitterPS = 1e9 // RMS: a millisecond
	mostGainDB   = 120
	mostDelay    = 1e9 // samples
	mostDriftPPM = 10000
)

// Validate returns an error that names what cannot be done at the rate.
func (d Dose) Validate(rate pcm.Rate) error {
	nyquist := rate.Hz() / 2
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	for _, j := range d.Jitter {
		j = j.filled(rate)
		switch {
		case !(j.RMSPS >= 0 && j.RMSPS <= mostJitterPS):
			return fmt.Errorf("impair: jitter of %v ps: want 0 to 1e9 ps RMS", j.RMSPS)
		case j.Kind == Random && !(j.LowHz > 0 && j.HighHz > j.LowHz && j.HighHz <= nyquist):
			return fmt.Errorf("impair: jitter band %v:%v Hz: want 0 < low < high ≤ %v Hz", j.LowHz, j.HighHz, nyquist)
		case j.Kind == Periodic && !(j.FreqHz > 0 && j.FreqHz < nyquist):
			return fmt.Errorf("impair: jitter at %v Hz: want above 0 and below %v Hz", j.FreqHz, nyquist)
		case j.Kind != Random && j.Kind != Periodic:
			return fmt.Errorf("impair: jitter of kind %q: want random or periodic", j.Kind)
		}
	}
	for _, n := range d.Noise {
		if !(finite(n.DBFS) && n.DBFS <= 0) {
			return fmt.Errorf("impair: noise of %v dBFS: want 0 or less", n.DBFS)
		}
	}
	for _, h := range d.Hum {
		if !(h.FreqHz > 0 && h.FreqHz*float64(max(1, h.Harmonics)) < nyquist && finite(h.DBFS) && h.DBFS <= 0 && h.Harmonics >= 0) {
			return fmt.Errorf("impair: hum of %v dBFS at %v Hz, %d harmonics: want 0 dBFS or less, all below %v Hz", h.DBFS, h.FreqHz, h.Harmonics, nyquist)
		}
	}
	switch {
	case !(math.Abs(d.GainDB) <= mostGainDB):
		return fmt.Errorf("impair: gain of %v dB: want −120 to 120", d.GainDB)
	case !(math.Abs(d.DelaySamples) <= mostDelay):
		return fmt.Errorf("impair: delay of %v samples", d.DelaySamples)
	case !(math.Abs(d.DriftPPM) <= mostDriftPPM):
		return fmt.Errorf("impair: drift of %v ppm: want −10000 to 10000", d.DriftPPM)
	}
	return nil
}

func (j Jitter) filled(rate pcm.Rate) Jitter {
	if j.Kind == Random && j.LowHz == 0 && j.HighHz == 0 {
		j.LowHz, j.HighHz = 10, math.Min(20000, 0.9*rate.Hz()/2)
	}
	return j
}
