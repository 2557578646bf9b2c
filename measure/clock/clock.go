package clock

import (
	"fmt"
	"math"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// Errors wrapped by Measure.
var (
	// ErrNoTone: the capture is silent, or holds no steady tone at a quarter of a common rate.
	ErrNoTone = measure.ErrNoTone
	// ErrShort: less than MinSeconds of tone.
	ErrShort = measure.ErrShort
)

// TimeJump is the code of a warning that time jumps by Value at an instant: samples were lost or repeated.
const TimeJump warning.Code = "time-jump"

// MinSeconds is the shortest tone that is measured: four of the shortest observation times, and room for the filter (judgement, no source;
// TestOffsetAndDriftComeBack holds it).
const MinSeconds = 2

// Result is what Measure found. NaN means 'not measurable'.
type Result struct {
	Schema    string  `json:"schema"`
	CarrierHz float64 `json:"carrier_hz"` // measured, of the loudest channel
	NominalHz float64 `json:"nominal_hz"` // a quarter of the rate of the signal played
	RateHz    float64 `json:"rate_hz"`
	Seconds   float64 `json:"seconds"` // of time errors
	// BandwidthHz is the highest frequency of time errors that passes, IntervalS the time between two of them.
	BandwidthHz float64   `json:"bandwidth_hz"`
	IntervalS   float64   `json:"interval_s"`
	Channel     []Channel `json:"channel"`
	warning.Warnings
}

// Channel is the clock as one channel shows it.
type Channel struct {
	Channel int `json:"channel"` // from 1
	// OffsetPPM is the mean frequency divided by a quarter of the signal's rate, less one: above zero the chain's clock is faster than the
	// recorder's. DriftPPMPerS is how fast that changes.
	OffsetPPM    float64     `json:"offset_ppm"`
	DriftPPMPerS float64     `json:"drift_ppm_per_s"`
	Allan        []Deviation `json:"allan"`
	TDEV         []Interval  `json:"tdev"`
	MTIE         []Interval  `json:"mtie"`
}

// Deviation is an Allan deviation, a ratio of frequencies, at an observation time.
type Deviation struct {
	TauS      float64 `json:"tau_s"`
	Deviation float64 `json:"deviation"`
	// SE is the standard error under white noise of frequency.
	SE float64 `json:"se"`
	// Limit is what additive noise, or the floor, alone shows.
	Limit   float64 `json:"limit"`
	AtFloor bool    `json:"at_floor"`
}

// PPB returns the deviation in parts per billion.
func (d Deviation) PPB() float64 { return 1e9 * d.Deviation }

// LimitPPB returns the limit in parts per billion.
func (d Deviation) LimitPPB() float64 { return 1e9 * d.Limit }

// Interval is a TDEV or an MTIE, in nanoseconds, at an observation time.
type Interval struct {
	TauS    float64 `json:"tau_s"`
	NS      float64 `json:"ns"`
	LimitNS float64 `json:"limit_ns"`
	AtFloor bool    `json:"at_floor"`
}

// Config says what to measure. The zero value takes the documented defaults.
type Config struct {
	// SignalRateHz is the rate of the signal played; 0 means the common rate for which the carrier is within 1000 ppm of a quarter.
	SignalRateHz float64
}

// Validate returns an error that names the field that is out of range.
func (c Config) Validate() error {
	if c.SignalRateHz < 0 || math.IsNaN(c.SignalRateHz) || math.IsInf(c.SignalRateHz, 0) {
		return fmt.Errorf("clock: a signal rate of %v Hz: want a positive number", c.SignalRateHz)
	}
	return nil
}

// Measure measures the clock of the jitter signal in r. Errors wrap ErrNoTone or ErrShort. It reads r in blocks, twice; of each
// second it keeps 50 numbers a channel.
func Measure(r pcm.Reader, cfg Config) (Result, error) {
	if err := cfg.Validate(); err != nil {
		return Result{}, err
	}
	s, err := measure.FindTone(r, nil)
	if err != nil {
		return Result{}, fmt.Errorf("clock: %w", err)
	}
	if seconds := s.Format.Rate.Seconds(max(0, s.To-s.From)); seconds < MinSeconds {
		return Result{}, fmt.Errorf("clock: %w: %.2f s of tone, %d s are needed", ErrShort, seconds, MinSeconds)
	}
	carrier, err := s.Carrier(r)
	if err != nil {
		return Result{}, fmt.Errorf("clock: %w", err)
	}
	nominal, err := cfg.nominal(carrier)
	if err != nil {
		return Result{}, err
	}
	bands, err := demodulate(r, s, carrier)
	if err != nil {
		return Result{}, err
	}
	return report(s, bands, nominal), nil
}

func (c Config) nominal(carrierHz float64) (float64, error) {
	if c.SignalRateHz != 0 {
		if !measure.IsQuarter(carrierHz, c.SignalRateHz) {
			return 0, fmt.Errorf("clock: %w: the carrier at %.2f Hz is not a quarter of %.0f Hz", ErrNoTone, carrierHz, c.SignalRateHz)
		}
		return c.SignalRateHz / 4, nil
	}
	rate := measure.PlayedRate(carrierHz)
	if rate == 0 {
		return 0, fmt.Errorf("clock: %w: the carrier is at %.2f Hz", ErrNoTone, carrierHz)
	}
	return rate / 4, nil
}
