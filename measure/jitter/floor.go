package jitter

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// otherCarrier is the difference, as a ratio, between carriers or bands that no clock explains. A judgement, no source: ten times the
// loosest clock of IEC 60958-3. TestCarriersApartAreTwoSignals holds it.
const otherCarrier = 0.01

// OtherCarrier reports whether the carrier of another result differs by more than clocks do: their jitter cannot be compared.
func (r Result) OtherCarrier(other Result) bool {
	return math.Abs(r.CarrierHz/other.CarrierHz-1) > otherCarrier
}

// AgainstFloor returns r read against the same measurement of the recording set-up alone. A random figure within
// 3 dB of the floor's (or of the bound of additive noise under it) becomes an upper bound; a line within 3 dB of the same
// line of the floor is marked and not counted. Above that the figures stay as measured: the floor's part is not taken
// off, since a clock that recorder and chain share would make that wrong. A channel is read against the floor's
// channel of its number, else its first. It is an error if the bands or carriers differ: jitter in seconds is then not comparable.
func (r Result) AgainstFloor(floor Result) (Result, error) {
	if r.OtherCarrier(floor) || differ(r.BandHz, floor.BandHz) {
		return Result{}, fmt.Errorf("jitter: the floor has a carrier of %.1f Hz and a band of %.0f to %.0f Hz, the capture %.1f Hz and %.0f to %.0f Hz",
			floor.CarrierHz, floor.BandHz[0], floor.BandHz[1], r.CarrierHz, r.BandHz[0], r.BandHz[1])
	}
	r.Channel = slices.Clone(r.Channel)
	r.Warnings = r.Warnings.Clone()
	for i := range r.Channel {
		f := floor.Channel[0]
		if i < len(floor.Channel) {
			f = floor.Channel[i]
		}
		if math.IsNaN(f.RawPs) || math.IsNaN(r.Channel[i].RawPs) {
			r.Warn(warning.Newf(measure.NoFloor, "channel %d has no floor: one of the two has no tone there", i+1).In(i + 1))
			continue
		}
		r.Warn(levelsApart(r.Channel[i], f)...)
		r.Channel[i].against(f, r.Seconds)
	}
	if r.Common != nil {
		c := r.Common.against(floor)
		if r.Channel[0].RandomAtFloor || r.Channel[1].RandomAtFloor {
			c.Correlation = math.NaN()
		}
		r.Common = &c
	}
	return r, nil
}

// levelsApart says what it means that the floor's tone has another level than the capture's, from 3 dB on: additive noise stays as it is in
// full scale, and as jitter it counts against the tone.
func levelsApart(c, floor Channel) []warning.Warning {
	apart := c.LevelDBFS - floor.LevelDBFS
	if math.Abs(apart) <= pcm.PowerDB(threeDB) {
		return nil
	}
	means := "is higher by that, and jitter that it hides makes the capture's figures bounds"
	if apart < 0 {
		means = "is lower by that, and the floor's figures are smaller than they would be at the capture's level"
	}
	return []warning.Warning{warning.Newf(measure.FloorLevel, "channel %d: the floor's tone is at %.1f dBFS, the capture's at %.1f: additive noise, read as jitter, %s; record the floor at the capture's level",
		c.Channel, floor.LevelDBFS, c.LevelDBFS, means).In(c.Channel).Of(-apart, "dB")}
}

// against reads what channels share against what the floor's do: the recorder's own clock is in both. Of a floor of one channel all
// its jitter may be.
func (c Common) against(floor Result) Common {
	ps, bound := floor.Channel[0].RandomPs, floor.Channel[0].RandomLimitPs
	if f := floor.Common; f != nil {
		ps, bound = f.RandomPs, f.LimitPs
	}
	c.RandomPs, c.SEPs, c.LimitPs, c.AtFloor = limit(c.RandomPs, c.SEPs, c.LimitPs, c.AtFloor, ps, bound)
	return c
}

func differ(a, b [2]float64) bool {
	return math.Abs(a[0]/b[0]-1) > otherCarrier || math.Abs(a[1]/b[1]-1) > otherCarrier
}

// sameLineDrift is by how much, as a ratio, a line of the mains or of a supply may wander between two captures. A judgement, no source;
// TestALineIsMatchedWithTheFloors holds it.
const sameLineDrift = 2e-4

func (c *Channel) against(f Channel, seconds float64) {
	c.RandomPs, c.RandomSEPs, c.RandomLimitPs, c.RandomAtFloor = limit(c.RandomPs, c.RandomSEPs, c.RandomLimitPs, c.RandomAtFloor, f.RandomPs, f.RandomLimitPs)
	c.RandomBands = slices.Clone(c.RandomBands)
	for i := range c.RandomBands {
		if i < len(f.RandomBands) {
			b, g := &c.RandomBands[i], f.RandomBands[i]
			b.Ps, b.SEPs, b.LimitPs, b.AtFloor = limit(b.Ps, b.SEPs, b.LimitPs, b.AtFloor, g.Ps, g.LimitPs)
		}
	}
	c.Spectrum = slices.Clone(c.Spectrum)
	for i := range min(len(c.Spectrum), len(f.Spectrum)) {
		if d := &c.Spectrum[i]; d.RandomPs*d.RandomPs <= threeDB*f.Spectrum[i].most() {
			d.RandomPs = math.NaN()
		}
	}
	c.Lines = slices.Clone(c.Lines)
	for i := range c.Lines {
		l := &c.Lines[i]
		for _, g := range f.Lines {
			near := math.Abs(g.OffsetHz-l.OffsetHz) < max(2/seconds, sameLineDrift*l.OffsetHz)
			l.AtFloor = l.AtFloor || near && l.PeakPs*l.PeakPs <= threeDB*g.PeakPs*g.PeakPs
		}
	}
	c.add()
}

// limit reads a random figure against the floor's figure, or its bound where that is itself at its floor.
func limit(ps, se, bound float64, atFloor bool, floorPs, floorBound float64) (newPs, newSE, newBound float64, newAtFloor bool) {
	floor := floorPs
	if math.IsNaN(floor) {
		floor = floorBound
	}
	if atFloor {
		return math.NaN(), math.NaN(), bound, true
	}
	if ps*ps <= threeDB*floor*floor {
		return math.NaN(), math.NaN(), ps + oneSided95*se, true
	}
	return ps, se, max(bound, floor), false
}

// clearOfNoise is how many of its own standard errors a band's random jitter must reach to be read as measured: of some hundred bands of
// noise alone chance passes none (3·10⁻⁵ each).
const clearOfNoise = 4

func (d DensityBand) clear() bool { return d.RandomPs*d.RandomPs >= clearOfNoise*d.SEPs2 }

// excess returns what phase has above amplitude, squared, and nothing below.
func (d DensityBand) excess() float64 { return max(0, d.PMPs*d.PMPs-d.AMPs*d.AMPs) }

// most returns the most that the random jitter of a band comes to, squared: what was found, or where that is not clear of the noise
// the bound of 95 %.
func (d DensityBand) most() float64 {
	if d.clear() {
		return d.RandomPs * d.RandomPs
	}
	return d.excess() + oneSided95*d.SEPs2
}
