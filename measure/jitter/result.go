package jitter

import (
	"math"

	"heardiff/stats/warning"
)

// Result is what Measure found. NaN means 'not measurable'.
type Result struct {
	Schema      string     `json:"schema"`
	CarrierHz   float64    `json:"carrier_hz"`
	CarrierDBFS float64    `json:"carrier_dbfs"`
	RateHz      float64    `json:"rate_hz"`
	Seconds     float64    `json:"seconds"` // of tone, silence trimmed
	BandHz      [2]float64 `json:"band_hz"`
	// SignalRateHz is the rate of the signal played, NaN where the carrier is a quarter of no common rate.
	SignalRateHz float64 `json:"signal_rate_hz"`
	// FrequencyOffsetPPM is the carrier against a quarter of SignalRateHz.
	FrequencyOffsetPPM float64   `json:"frequency_offset_ppm"`
	Channel            []Channel `json:"channel"`
	// Common is what two channels share; nil unless there are two with a tone.
	Common *Common `json:"between_channels"`
	warning.Warnings
}

// Channel is the jitter of one channel. See the package comment for the method.
type Channel struct {
	Channel   int     `json:"channel"` // from 1
	LevelDBFS float64 `json:"level_dbfs"`
	// DriftPPM is the change of frequency from first to last instant; WanderPs the RMS of what lies below the band,
	// less offset.
	DriftPPM float64 `json:"drift_ppm"`
	WanderPs float64 `json:"wander_ps_rms"`

	RandomPs   float64 `json:"random_ps_rms"`
	RandomSEPs float64 `json:"random_se_ps"`
	// RandomLimitPs is the 95 % upper bound where RandomAtFloor, else the least random jitter that this capture
	// could have distinguished from its noise (two standard errors), or the floor's figure where that is larger.
	RandomLimitPs float64 `json:"random_limit_ps_rms"`
	RandomAtFloor bool    `json:"random_at_floor"`
	RandomBands   []Band  `json:"random_bands"`
	RawPs         float64 `json:"raw_phase_ps_rms"`
	RawSEPs       float64 `json:"raw_phase_se_ps"`
	// AdditivePs is what was taken off: the amplitude noise, where that does not exceed the phase noise.
	AdditivePs   float64 `json:"additive_noise_ps_rms"`
	AdditiveSEPs float64 `json:"additive_noise_se_ps"`

	// DeterministicPs is √(Σ peak²/2) of the lines that count. DeterministicLimitPs counts those at the floor too, to 95 %; where they
	// hold as much power as the others or more, the sum is at the floor: that is its upper bound, and the other three are NaN.
	DeterministicPs      float64 `json:"deterministic_ps_rms"`
	DeterministicSEPs    float64 `json:"deterministic_se_ps"`
	DeterministicPsPP    float64 `json:"deterministic_ps_pp"`
	DeterministicLimitPs float64 `json:"deterministic_limit_ps_rms"`
	DeterministicAtFloor bool    `json:"deterministic_at_floor"`
	// TotalPs joins random and deterministic. With one of them at the floor it is the other alone, and the true total lies between that and
	// TotalLimitPs. It is NaN with both at the floor, or with no lines and the random part at the floor.
	TotalPs      float64       `json:"total_ps_rms"`
	TotalSEPs    float64       `json:"total_se_ps"`
	TotalLimitPs float64       `json:"total_limit_ps_rms"`
	Lines        []Line        `json:"lines"`
	AMLines      []AMLine      `json:"am_lines"`
	Spectrum     []DensityBand `json:"spectrum,omitempty"`
}

// Band is the random jitter of part of the band.
type Band struct {
	LowHz   float64 `json:"low_hz"`
	HighHz  float64 `json:"high_hz"`
	Ps      float64 `json:"ps_rms"` // NaN at the floor
	SEPs    float64 `json:"se_ps"`
	LimitPs float64 `json:"limit_ps_rms"`
	AtFloor bool    `json:"at_floor"`
}

// Line is a line of phase modulation.
type Line struct {
	OffsetHz float64 `json:"offset_hz"`
	PeakPs   float64 `json:"peak_ps"` // where a residue is exceeded: the excess
	PeakSEPs float64 `json:"peak_se_ps"`
	// SidebandDBc is 20·log10(π·f₀·peak), one sideband.
	SidebandDBc float64 `json:"sideband_dbc"`
	Inherent    bool    `json:"inherent"` // the test signal's own; not counted
	AtFloor     bool    `json:"at_floor"` // within 3 dB of the same line of the floor; not counted
	// WanderHz is the RMS by which its frequency strays within a record, 0 where it is steady; the line's peak then follows from its power.
	WanderHz float64 `json:"wander_hz"`
}

// Counts reports whether the line is the chain's, as far as the capture shows: neither the test signal's own nor at the floor.
func (l Line) Counts() bool { return !l.Inherent && !l.AtFloor }

// WorstLine returns the largest peak in ps of the lines that count, with a bound of NaN; or, where one at the floor may be larger, NaN and
// the upper bound of 95 % of that. Both are NaN where there are no lines.
func (c Channel) WorstLine() (peakPs, boundPs float64) {
	peak, bound := 0.0, 0.0
	for _, l := range c.Lines {
		switch {
		case l.Counts():
			peak = max(peak, l.PeakPs)
		case l.AtFloor && !l.Inherent:
			bound = max(bound, l.PeakPs+oneSided95*l.PeakSEPs)
		}
	}
	switch {
	case bound > peak:
		return math.NaN(), bound
	case peak > 0:
		return peak, math.NaN()
	}
	return math.NaN(), math.NaN()
}

// AMLine is a line of amplitude modulation, or an additive tone on one side of the carrier.
type AMLine struct {
	OffsetHz float64 `json:"offset_hz"`
	// DepthDBc is the level of one of the two sidebands, or of the only one.
	DepthDBc  float64 `json:"depth_dbc"`
	DepthSEDB float64 `json:"depth_se_db"`
	// OneSided is −1 or +1 for an additive tone below or above the carrier, 0 for amplitude modulation.
	OneSided int `json:"one_sided"`
}

// DensityBand is the noise without lines in a narrow band.
type DensityBand struct {
	OffsetHz float64 `json:"offset_hz"`
	// PMPs and AMPs are the densities of phase and, as if it were phase, amplitude, in ps/√Hz.
	PMPs float64 `json:"pm_ps_per_rthz"`
	AMPs float64 `json:"am_ps_per_rthz"`
	// RandomPs is the square root of the difference of their squares, with less than AMPs where amplitude noise exceeds additive
	// noise. It is NaN where the difference is below two standard errors or, against a floor, within 3 dB of the floor's.
	RandomPs float64 `json:"random_ps_per_rthz"`
	SEPs2    float64 `json:"se_ps2_per_hz"` // standard error of RandomPs²
	LowHz    float64 `json:"low_hz"`
	HighHz   float64 `json:"high_hz"`
}

// Common is the random jitter that the first two channels share. Additive noise drops out: what they have of it in common shows in
// their amplitudes, too, and is subtracted.
type Common struct {
	RandomPs float64 `json:"common_random_ps_rms"` // NaN where not significant
	SEPs     float64 `json:"common_random_se_ps"`
	LimitPs  float64 `json:"common_limit_ps_rms"` // as a channel's
	AtFloor  bool    `json:"common_at_floor"`
	// Correlation of the channels' random jitter, about 1 where they share one clock; NaN where either is at the floor.
	Correlation float64 `json:"correlation"`
}

func silentChannel(number int) Channel {
	nan := math.NaN()
	return Channel{Channel: number, LevelDBFS: nan, DriftPPM: nan, WanderPs: nan, RandomPs: nan, RandomSEPs: nan,
		RandomLimitPs: nan, RawPs: nan, RawSEPs: nan, AdditivePs: nan, AdditiveSEPs: nan, DeterministicPs: nan, DeterministicSEPs: nan,
		DeterministicPsPP: nan, DeterministicLimitPs: nan, TotalPs: nan, TotalSEPs: nan, TotalLimitPs: nan}
}

// oneSided95 is how many standard errors above a figure its bound of 95 % is: the normal distribution's quantile.
const oneSided95 = 1.6449

// threeDB is the power ratio within which a figure cannot be distinguished from the floor's.
const threeDB = 1.9952623149688795 // 10^0.3

// add fills in the sums of lines and random jitter.
func (c *Channel) add() {
	var counted, all lineSum
	for _, l := range c.Lines {
		if l.Inherent {
			continue
		}
		all.add(l)
		if l.Counts() {
			counted.add(l)
		}
	}
	c.DeterministicPs, c.DeterministicSEPs = rms(counted.squares, counted.variance)
	c.DeterministicPsPP = 2 * counted.peaks
	c.DeterministicLimitPs = c.DeterministicPs
	if all.count > counted.count {
		ps, se := rms(all.squares, all.variance)
		c.DeterministicLimitPs = ps + oneSided95*se
	}
	// What is at the floor is as much as what is not, or more: the sum is no more than 3 dB above the floor's.
	if c.DeterministicAtFloor = all.squares > threeDB*counted.squares; c.DeterministicAtFloor {
		c.DeterministicPs, c.DeterministicSEPs, c.DeterministicPsPP = math.NaN(), math.NaN(), math.NaN()
	}
	c.addTotal(counted.count)
}

// addTotal joins random jitter and so many lines: what is at the floor counts in the limit alone.
func (c *Channel) addTotal(lines int) {
	random, deterministic := c.RandomPs, c.DeterministicPs
	if c.RandomAtFloor {
		random = c.RandomLimitPs
	}
	c.TotalLimitPs = math.Hypot(random, c.DeterministicLimitPs)
	switch {
	case c.RandomAtFloor && (lines == 0 || c.DeterministicAtFloor):
		c.TotalPs, c.TotalSEPs = math.NaN(), math.NaN()
	case c.RandomAtFloor:
		c.TotalPs, c.TotalSEPs = deterministic, c.DeterministicSEPs
	case lines == 0 || c.DeterministicAtFloor: // of no lines there is no error to state
		c.TotalPs, c.TotalSEPs = random, c.RandomSEPs
	default:
		c.TotalPs = math.Hypot(random, deterministic)
		c.TotalSEPs = math.Hypot(random*c.RandomSEPs, deterministic*c.DeterministicSEPs) / c.TotalPs
	}
}

// lineSum adds up lines.
type lineSum struct {
	squares, peaks, variance float64 // variance: of Σ peak²/2
	count                    int
}

func (s *lineSum) add(l Line) {
	s.squares += l.PeakPs * l.PeakPs / 2
	s.peaks += l.PeakPs
	s.variance += l.PeakPs * l.PeakPs * l.PeakSEPs * l.PeakSEPs
	s.count++
}

// rms returns the RMS value of a power and its standard error.
func rms(power, variance float64) (value, se float64) {
	value = math.Sqrt(power)
	return value, math.Sqrt(variance) / (2 * value)
}

// proven returns the most random jitter that a part of the band shows with 95 % confidence, which all of it has, too.
func proven(bands []Band) float64 {
	most := 0.0
	for _, b := range bands {
		if !b.AtFloor {
			most = max(most, b.Ps-oneSided95*b.SEPs)
		}
	}
	return most
}
