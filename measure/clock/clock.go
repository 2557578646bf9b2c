package clock

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// Errors wrapped by Measure.
var (
	// ErrNoTone: the capture is silent, or holds no steady tone at a quarter of a common rate.
	ErrNoTone = errors.New("not a steady tone at a quarter of a common rate")
	// ErrShort: less than MinSeconds of tone.
	ErrShort = errors.New("capture too short")
)

// TimeJump is the code of a warning that time jumps by Value at an instant: samples were lost or repeated.
const TimeJump measure.Code = "time-jump"

// MinSeconds is the least tone that is measured: four of the shortest observation times, and room for the filter (judgement, no source).
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
	measure.Warnings
}

// Channel is the clock as one channel shows it.
type Channel struct {
	Channel int `json:"channel"` // from 1
	// OffsetPPM is the mean frequency over a quarter of the signal's rate, less one: above zero the chain's clock is faster than the
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
	// SignalRateHz is the rate of the signal played; 0 is the common rate of whose quarter the carrier is within 1000 ppm.
	SignalRateHz float64
}

// Validate returns an error that names the field that is out of range.
func (c Config) Validate() error {
	if c.SignalRateHz < 0 || math.IsNaN(c.SignalRateHz) || math.IsInf(c.SignalRateHz, 0) {
		return fmt.Errorf("clock: SignalRateHz %v, want a positive number", c.SignalRateHz)
	}
	return nil
}

// Measure measures the clock of the jitter signal in r. Errors wrap ErrNoTone or ErrShort. It reads r in blocks, twice; of each
// second it keeps 50 numbers a channel.
func Measure(r pcm.Reader, cfg Config) (Result, error) {
	if err := cfg.Validate(); err != nil {
		return Result{}, err
	}
	s, err := findTone(r)
	if err != nil {
		return Result{}, err
	}
	carrier, err := findCarrier(r, s)
	if err != nil {
		return Result{}, err
	}
	nominal, err := cfg.nominal(carrier)
	if err != nil {
		return Result{}, err
	}
	bands, err := demodulate(r, s, carrier)
	if err != nil {
		return Result{}, err
	}
	return report(r, s, bands, carrier, nominal), nil
}

// commonRates are the rates at which the jitter signal is usually played. Common practice, no source.
func commonRates() []float64 {
	return []float64{32000, 44100, 48000, 88200, 96000, 176400, 192000, 352800, 384000}
}

// loosestClock is how far, as a ratio, a carrier may be from a quarter of its rate: 1000 ppm, the loosest grade of clock of
// IEC 60958-3 (from memory).
const loosestClock = 1e-3

func (c Config) nominal(carrierHz float64) (float64, error) {
	near := func(rate float64) bool { return math.Abs(4*carrierHz/rate-1) < loosestClock }
	if c.SignalRateHz != 0 {
		if !near(c.SignalRateHz) {
			return 0, fmt.Errorf("clock: %w: the carrier at %.2f Hz is not a quarter of %.0f Hz", ErrNoTone, carrierHz, c.SignalRateHz)
		}
		return c.SignalRateHz / 4, nil
	}
	rates := commonRates()
	i := slices.IndexFunc(rates, near)
	if i < 0 {
		return 0, fmt.Errorf("clock: %w: the carrier is at %.2f Hz", ErrNoTone, carrierHz)
	}
	return rates[i] / 4, nil
}

// tone is where the tone is.
type tone struct {
	from, to int // frames
	loudest  int // channel
	has      []bool
	warnings []measure.Warning
}

const (
	blockS  = 0.05 // of one look at the level, seconds
	silence = 1e-7 // RMS below which there is no tone: −140 dB
	// absent is the level against the loudest channel's below which a channel has no tone (judgement, no source).
	absent = 1e-3
	// steady is how far, as a ratio, the level of a block may fall below the median of the loud blocks (judgement: 3 dB).
	steady = 0.7
)

// findTone finds the longest stretch in which the loudest channel holds its level.
func findTone(r pcm.Reader) (tone, error) {
	f := r.Format()
	block := max(1, int(blockS*f.Rate.Hz()))
	rms := make([][]float64, f.Channels)
	err := pcm.Blocks(r, block, func(b [][]float64, _ int) error {
		for c, ch := range b {
			sum := 0.0
			for _, v := range ch {
				sum += v * v
			}
			rms[c] = append(rms[c], math.Sqrt(sum/float64(len(ch))))
		}
		return nil
	})
	if err != nil {
		return tone{}, fmt.Errorf("clock: %w", err)
	}
	level := make([]float64, f.Channels)
	for c := range rms {
		level[c] = loudMedian(rms[c])
	}
	top := slices.Max(level)
	if !(top > silence) {
		return tone{}, fmt.Errorf("clock: %w: the capture is silent", ErrNoTone)
	}
	t := tone{loudest: slices.Index(level, top), has: make([]bool, f.Channels)}
	for c, l := range level {
		t.has[c] = l > absent*top
	}
	first, last := longestRun(rms[t.loudest], steady*top)
	t.from, t.to = first*block, min((last+1)*block, r.Frames())
	if out := len(rms[t.loudest]) - (last - first + 1); out > 0 && lostInside(rms[t.loudest], first, last, steady*top) {
		from, to := f.Rate.Seconds(t.from), f.Rate.Seconds(t.to)
		t.warnings = append(t.warnings, measure.Warningf(measure.Interrupted, "the tone is interrupted: the longest stretch without a break is measured, from %.2f s to %.2f s", from, to).Of(to-from, "s"))
	}
	return t, nil
}

// lostInside reports whether there is tone elsewhere than in a run.
func lostInside(rms []float64, first, last int, limit float64) bool {
	loud := func(v float64) bool { return v > limit }
	return slices.ContainsFunc(rms[:max(0, first-1)], loud) || slices.ContainsFunc(rms[min(len(rms), last+2):], loud)
}

// loudMedian returns the median of the values within 20 dB of the loudest but a few, which may be clicks.
func loudMedian(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(x))
	limit := sorted[len(sorted)-1-len(sorted)/10] / 10
	first, _ := slices.BinarySearch(sorted, limit)
	loud := sorted[first:]
	return loud[len(loud)/2]
}

// longestRun returns the first and the last place of the longest run of values above a limit.
func longestRun(x []float64, limit float64) (first, last int) {
	last, run := -1, 0
	for i, v := range x {
		if run++; v <= limit {
			run = 0
		}
		if run > last-first+1 {
			first, last = i-run+1, i
		}
	}
	return first, last
}

// findCarrier returns the frequency of the tone in the middle of its stretch, to a few millihertz.
func findCarrier(r pcm.Reader, t tone) (float64, error) {
	rate := r.Format().Rate.Hz()
	frames := t.to - t.from
	if float64(frames) < MinSeconds*rate {
		return 0, fmt.Errorf("clock: %w: %.2f s of tone, %d s are needed", ErrShort, float64(max(0, frames))/rate, MinSeconds)
	}
	size := 1 << 17
	for size > frames {
		size /= 2
	}
	at := (t.from + t.to - size) / 2
	clip, err := pcm.Load(r, at, at+size)
	if err != nil {
		return 0, fmt.Errorf("clock: %w", err)
	}
	sp, err := spectrum.Of(clip.Channels[t.loudest], spectrum.Config{RateHz: rate, Size: size, Window: spectrum.BlackmanHarris4()})
	if err != nil {
		return 0, fmt.Errorf("clock: %w", err)
	}
	k := 1
	for i := range sp.Density {
		if sp.Density[i] > sp.Density[k] {
			k = i
		}
	}
	line := sp.Peak(k)
	reach := max(5*sp.BinHz(), 5e-4*line.FreqHz) // a clock may drift within the block
	total, tonal := sp.BandPower(5*sp.BinHz(), rate/2), sp.BandPower(line.FreqHz-reach, line.FreqHz+reach)
	if tonal < 0.9*total {
		return 0, fmt.Errorf("clock: %w: %.0f %% of the power is at %.1f Hz, a tone holds nearly all", ErrNoTone, 100*tonal/total, line.FreqHz)
	}
	return line.FreqHz, nil
}
