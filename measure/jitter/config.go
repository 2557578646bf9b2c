package jitter

import (
	"fmt"
	"math"

	"heardiff/measure"
)

// ErrNoTone is wrapped where a capture is not one steady tone; ErrShort where it is too short for the band.
var ErrNoTone, ErrShort = measure.ErrNoTone, measure.ErrShort

// Config says what to measure. The zero value takes the documented defaults.
type Config struct {
	// LowHz and HighHz bound the jitter frequencies; 0, 0 is 10 Hz to min(10 kHz, 0.8·min(f₀, rate/2 − f₀)).
	LowHz, HighHz float64
	// Bits is the word length of the signal played, 16 or 24; 0 is 24. It sets the residue called inherent.
	Bits int
	// SignalRateHz is the rate of the signal played; 0 is the nearest common rate of which the carrier is a quarter.
	SignalRateHz float64
	// Spectrum asks for the density against jitter frequency.
	Spectrum bool
}

// Validate returns an error that names the field that is out of range.
func (c Config) Validate() error {
	switch {
	case c.LowHz < 0 || c.HighHz < 0 || math.IsNaN(c.LowHz+c.HighHz) || math.IsInf(c.HighHz, 0):
		return fmt.Errorf("jitter: band %v to %v Hz, want positive numbers", c.LowHz, c.HighHz)
	case (c.LowHz != 0 || c.HighHz != 0) && !(c.LowHz > 0 && c.HighHz > c.LowHz):
		return fmt.Errorf("jitter: band %v to %v Hz, want 0 < low < high", c.LowHz, c.HighHz)
	case c.Bits != 0 && c.Bits != 16 && c.Bits != 24:
		return fmt.Errorf("jitter: Bits %d, want 16 or 24", c.Bits)
	case c.SignalRateHz < 0 || math.IsNaN(c.SignalRateHz) || math.IsInf(c.SignalRateHz, 0):
		return fmt.Errorf("jitter: a signal rate of %v Hz: want a positive number", c.SignalRateHz)
	}
	return nil
}

// The band that is measured unless another is asked for, in Hz and as a part of the distance to 0 Hz or half the rate; and the most of that
// distance that any band may take, for the filter needs the rest.
const defaultLowHz, defaultHighHz, defaultRoom, mostRoom = 10, 10000, 0.8, 0.9

func (c Config) band(carrierHz, rateHz float64) ([2]float64, error) {
	room := min(carrierHz, rateHz/2-carrierHz)
	if c.HighHz == 0 {
		high := min(defaultHighHz, defaultRoom*room)
		if high < 2*defaultLowHz {
			return [2]float64{}, fmt.Errorf("jitter: %w: carrier at %.2f Hz leaves no room for a band from 10 Hz", ErrNoTone, carrierHz)
		}
		return [2]float64{defaultLowHz, high}, nil
	}
	if c.HighHz > mostRoom*room {
		return [2]float64{}, fmt.Errorf("jitter: band up to %.0f Hz, but a carrier at %.1f Hz leaves %.0f Hz", c.HighHz, carrierHz, mostRoom*room)
	}
	return [2]float64{c.LowHz, c.HighHz}, nil
}
