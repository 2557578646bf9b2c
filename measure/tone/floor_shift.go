package tone

import (
	"fmt"
	"math"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// sameLevelDB is by how much two tones may differ and still show the same distortion: a third harmonic moves by two
// decibels with one of the tone, less than what a Standing allows for. Common practice, no source.
const sameLevelDB = 1

// shift is the level of the tone of the recording set-up alone over the capture's, in dB. The set-up's figures are
// carried over by it: noise and hum stay where the tone moves, and distortion moves with it.
type shift float64

// apart reports whether distortion at the one level says little of that at the other.
func (s shift) apart() bool { return math.Abs(float64(s)) > sameLevelDB }

// additive carries over a figure, in dB to the tone, of what does not depend on the tone.
func (s shift) additive(db float64) float64 { return db + float64(s) }

// distortion returns the most that a product of an order, in dB to the tone, comes to with the capture's tone: under a lower tone
// no more than it was, in dBFS; under a higher one that times the growth through a smooth curve, order dB per dB.
func (s shift) distortion(order int, db float64) float64 {
	switch {
	case !s.apart():
		return db
	case s > 0:
		return db + float64(s)
	}
	return db - float64(order-1)*float64(s)
}

// limit is limitOf for distortion, where the set-up's is no more than most, and the capture's noise comes to own (NaN: not known): where
// the levels are apart, only what is clear of the set-up's, or within the capture's own noise, is known.
func (s shift) limit(figure string, value, most, own float64) Limit {
	l := limitOf(figure, value, most)
	if s.apart() && l.Standing != Measured {
		l.Limit, l.Standing = math.NaN(), Unknown
	}
	if within := limitOf(figure, value, own); within.Standing == AtFloor || within.Standing == UpperBound {
		return limitOf(figure, value, greater(own, l.Limit))
	}
	if !math.IsNaN(l.Limit) {
		l.Limit = greater(l.Limit, own)
	}
	return l
}

// greater returns the greater of two, the other where one is NaN.
func greater(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

// warnings says what the levels of both tones, in dBFS, mean for the limits.
func (s shift) warnings(channel int, capture float64) []warning.Warning {
	if !s.apart() {
		return nil
	}
	return []warning.Warning{warning.Newf(measure.FloorLevel, "channel %d: the floor's tone is at %.1f dBFS, the capture's at %.1f: noise and hum are compared with the floor's in dBFS; distortion depends on level, and is known only where far above the floor's: record the floor at the capture's level",
		channel, capture+float64(s), capture).In(channel).Of(float64(s), "dB")}
}

// thd returns the most that harmonics of the set-up, c, come to in all.
func (s shift) thd(c Channel) float64 {
	if !s.apart() {
		return greater(c.THDDB, noiseTHD(c.Harmonics))
	}
	var most []float64
	for _, h := range c.Harmonics {
		if !math.IsNaN(h.DBC) { // none beyond the band
			most = append(most, s.distortion(h.Order, greater(h.DBC, h.LimitDBC)))
		}
	}
	return joined(most...)
}

// joined returns the sum of powers in dB; NaN of none.
func joined(db ...float64) float64 {
	if len(db) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range db {
		sum += pcm.Ratio(2 * v)
	}
	return pcm.PowerDB(sum)
}

// carried returns lines relative to the capture's tone.
func (s shift) carried(lines []Line) []Line {
	list := make([]Line, len(lines))
	for i, l := range lines {
		list[i] = Line{Hz: l.Hz, DBC: s.additive(l.DBC)}
	}
	return list
}

// setFloor limits each channel by the floor's of the same number. Where the two were recorded at different rates, or with different channels, or
// check, which may be nil, refuses one, all stay as they were.
func setFloor[C any](of, floor []C, ratesHz [2]int, check func(c, f C) error, limit func(c *C, f C)) error {
	if ratesHz[0] != ratesHz[1] || len(of) != len(floor) { // the limits of one input, or of one rate, say nothing of another's
		return fmt.Errorf("tone: %w: floor of %d channels at %d Hz, capture of %d at %d Hz", pcm.ErrMismatch, len(floor), ratesHz[1], len(of), ratesHz[0])
	}
	if check != nil {
		for i, f := range floor {
			if err := check(of[i], f); err != nil {
				return err
			}
		}
	}
	for i, f := range floor {
		limit(&of[i], f)
	}
	return nil
}

// anotherTone is by how much, as a ratio, the frequencies of two tones differ that no clock explains. A judgement, no source: ten times the
// loosest clock of IEC 60958-3. TestAFloorOfAnotherFrequencyIsRefused holds it.
const anotherTone = 0.01

// sameTone returns an error that wraps pcm.ErrMismatch where a tone of the floor is at another frequency than the capture's, by
// more than clocks differ. NaN, of a channel without a tone, is let pass.
func sameTone(channel int, hz, floorHz float64) error {
	if math.Abs(floorHz/hz-1) > anotherTone {
		return fmt.Errorf("tone: %w: channel %d: the floor's tone is at %.1f Hz, the capture's at %.1f Hz", pcm.ErrMismatch, channel, floorHz, hz)
	}
	return nil
}
