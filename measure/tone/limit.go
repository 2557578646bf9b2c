package tone

import (
	"cmp"
	"fmt"
	"math"
)

// How a figure compares with the recording set-up's own.
const (
	Measured   = "measured"    // more than 3 dB worse
	UpperBound = "upper bound" // within 3 dB
	AtFloor    = "at floor"    // no worse
	Unknown    = "unknown"     // either is not known at this level
)

// clearDB is by how much a figure is worse than the set-up's where it is the chain's: twice its power.
const clearDB = 3

// Products of the capture and of the set-up are the same within these: clocks differ, and a product of high order moves by several times as much.
// Judgement, no source; TestProductsOfAFloorAreMatchedByFrequency holds them.
const (
	sameProduct   = 1e-3 // of the frequency
	sameProductHz = 1.0  // and so many Hz
)

// Limit compares a figure with the same figure of the recording set-up alone.
type Limit struct {
	Figure string `json:"figure"` // the figure's JSON key
	// Limit is the greater of two: the set-up's own figure, at the level of the capture's tone, and what the capture's noise alone reaches
	// there once in twenty times, for lines within it. NaN where the set-up's is not known.
	Limit    float64 `json:"limit"`
	Standing string  `json:"standing"` // Measured, UpperBound, AtFloor or Unknown
}

// Bound reports whether a figure in dB is only an upper bound, because it is no more than clearDB above its own limit, and returns
// that bound.
func Bound(db, limitDB float64) (bound float64, is bool) {
	if db > limitDB+clearDB || math.IsNaN(db) || math.IsNaN(limitDB) {
		return math.NaN(), false
	}
	return math.Max(db, limitDB), true
}

// limitOf judges a figure in dB of which more is worse.
func limitOf(figure string, value, floor float64) Limit {
	l := Limit{Figure: figure, Limit: floor, Standing: Measured}
	switch {
	case math.IsNaN(value) || math.IsNaN(floor):
		l.Standing = Unknown
	case value <= floor:
		l.Standing = AtFloor
	case value <= floor+clearDB:
		l.Standing = UpperBound
	}
	return l
}

// atLeast is limitOf for a figure of which more is better.
func atLeast(figure string, value, floor float64) Limit {
	l := limitOf(figure, -value, -floor)
	l.Limit = floor
	return l
}

// HumLimit is the Figure under which the strongest line of the mains series has its limit.
const HumLimit = "hum"

// Strongest returns the level of the strongest line, NaN without one.
func Strongest(lines []Line) float64 {
	most := math.NaN()
	for _, l := range lines {
		if math.IsNaN(most) || l.DBC > most {
			most = l.DBC
		}
	}
	return most
}

// SetFloor gives every figure of r the limit that the recording set-up's own measurement sets, channel by channel, carried over to
// the level of r's tone. The error wraps pcm.ErrMismatch where the two are of different rates, numbers of channels or
// tones; r is then as it was.
func (r *Result) SetFloor(floor Result) error {
	check := func(c, f Channel) error { return sameTone(c.Channel, c.FrequencyHz, f.FrequencyHz) }
	return setFloor(r.Channel, floor.Channel, [2]int{r.RateHz, floor.RateHz}, check, func(c *Channel, f Channel) {
		s := shift(f.LevelDBFS - c.LevelDBFS)
		c.limit(f, s)
		r.Warn(s.warnings(c.Channel, c.LevelDBFS)...)
	})
}

func (c *Channel) limit(f Channel, s shift) {
	noise, thd, own := s.additive(f.NoiseDB), s.thd(f), noiseTHD(c.Harmonics)
	all := noise
	if !math.IsNaN(thd) {
		all = joined(noise, thd)
	}
	thdn := s.limit("thd_n_db", c.THDNDB, all, math.NaN())
	sinad := Limit{Figure: "sinad_db", Limit: -thdn.Limit, Standing: thdn.Standing}
	c.Limits = []Limit{s.limit("thd_db", c.THDDB, thd, own), thdn, sinad, limitOf("noise_db", c.NoiseDB, noise)}
	hum, spurs := s.carried(f.Hum), s.carried(f.Spurs)
	if len(c.Hum) > 0 && len(hum) > 0 {
		c.Limits = append(c.Limits, limitOf(HumLimit, Strongest(c.Hum), Strongest(hum)))
	}
	for k := range min(len(c.Harmonics), len(f.Harmonics)) {
		h, g := c.Harmonics[k], f.Harmonics[k]
		if !math.IsNaN(h.DBC) { // none beyond the band
			c.Limits = append(c.Limits, s.limit(fmt.Sprintf("harmonics[%d].dbc", k), h.DBC, s.distortion(h.Order, greater(g.DBC, g.LimitDBC)), h.LimitDBC))
		}
	}
	c.Limits = append(c.Limits, lineLimits("hum[%d].dbc", mainsSlack, c.Hum, hum)...)
	c.Limits = append(c.Limits, lineLimits("spurs[%d].dbc", clockSlack, c.Spurs, spurs)...)
}

// line is a line of either kind.
type line interface{ at() (hz, db float64) }

func (l Line) at() (hz, db float64)      { return l.Hz, l.DBC }
func (l LevelLine) at() (hz, db float64) { return l.Hz, l.DBFS }

// lineLimits gives each line that the set-up alone shows, too, the level of the set-up's line: the others are far from
// the floor, since they were distinguished from the noise.
//
// slack is how far, relative to its frequency, a line may have moved between the captures; format names the figure.
func lineLimits[L line](format string, slack float64, lines, floor []L) []Limit {
	const bin = 0.7 // Hz, of the spectra at all rates
	var out []Limit
	for i, l := range lines {
		hz, db := l.at()
		nearest, off := math.NaN(), math.Max(bin, slack*hz)
		for _, g := range floor {
			floorHz, floorDB := g.at()
			if d := math.Abs(floorHz - hz); d <= off {
				nearest, off = floorDB, d
			}
		}
		if !math.IsNaN(nearest) {
			out = append(out, limitOf(fmt.Sprintf(format, i), db, nearest))
		}
	}
	return out
}

// clockSlack is what two clocks may differ by, relative: spurs are fixed to one of them.
const clockSlack = 1e-4

// SetFloor is Result.SetFloor for dynamic range, which is in dBFS whatever the tone's level.
func (r *LowToneResult) SetFloor(floor LowToneResult) error {
	return setFloor(r.Channel, floor.Channel, [2]int{r.RateHz, floor.RateHz}, nil, func(c *LowToneChannel, f LowToneChannel) {
		c.Limits = []Limit{atLeast("dynamic_range_db", c.DynamicRangeDB, f.DynamicRangeDB),
			atLeast("dynamic_range_a_db", c.DynamicRangeADB, f.DynamicRangeADB),
			atLeast("dynamic_range_ccir_db", c.DynamicRangeCCIRDB, f.DynamicRangeCCIRDB),
			atLeast("below_tone_plus_60_a_db", c.BelowTonePlus60ADB, f.DynamicRangeADB+c.LevelDBFS+60)}
	})
}

// SetFloor is Result.SetFloor for noise.
func (r *NoiseResult) SetFloor(floor NoiseResult) error {
	return setFloor(r.Channel, floor.Channel, [2]int{r.RateHz, floor.RateHz}, nil, func(c *NoiseChannel, f NoiseChannel) {
		c.Limits = []Limit{limitOf("unweighted_dbfs", c.UnweightedDBFS, f.UnweightedDBFS),
			limitOf("a_weighted_dbfs", c.AWeightedDBFS, f.AWeightedDBFS), limitOf("ccir_rms_dbfs", c.CCIRRMSDBFS, f.CCIRRMSDBFS)}
		if !math.IsNaN(c.RelativeToReferenceDB) {
			c.Limits = append(c.Limits, limitOf("relative_to_reference_db", c.RelativeToReferenceDB, f.UnweightedDBFS-c.UnweightedDBFS+c.RelativeToReferenceDB))
		}
		c.Limits = append(c.Limits, lineLimits("hum[%d].dbfs", mainsSlack, c.Hum, f.Hum)...)
		c.Limits = append(c.Limits, lineLimits("spurs[%d].dbfs", clockSlack, c.Spurs, f.Spurs)...)
	})
}

// SetFloor is Result.SetFloor for intermodulation: all of it is distortion.
func (r *TwoToneResult) SetFloor(floor TwoToneResult) error {
	check := func(c, f TwoToneChannel) error {
		return cmp.Or(sameTone(c.Channel, c.LowHz, f.LowHz), sameTone(c.Channel, c.HighHz, f.HighHz))
	}
	return setFloor(r.Channel, floor.Channel, [2]int{r.RateHz, floor.RateHz}, check, func(c *TwoToneChannel, f TwoToneChannel) {
		s := shift(f.HighDBFS - c.HighDBFS)
		c.limit(f, s)
		r.Warn(s.warnings(c.Channel, c.HighDBFS)...)
	})
}

func (c *TwoToneChannel) limit(f TwoToneChannel, s shift) {
	own, floor := c.noise(), f.noise()
	second := s.distortion(2, greater(f.SecondOrderDB, floor.second))
	third := s.distortion(3, greater(f.ThirdOrderDB, floor.third))
	c.Limits = []Limit{s.limit("imd_db", c.IMDDB, joined(second, third), own.both), s.limit("second_order_db", c.SecondOrderDB, second, own.second),
		s.limit("third_order_db", c.ThirdOrderDB, third, own.third)}
	for k, p := range c.Products {
		for _, g := range f.Products {
			if g.Order == p.Order && math.Abs(g.Hz-p.Hz) <= sameProduct*p.Hz+sameProductHz {
				c.Limits = append(c.Limits, s.limit(fmt.Sprintf("products[%d].dbc", k), p.DBC, s.distortion(p.Order, greater(g.DBC, g.LimitDBC)), p.LimitDBC))
				break
			}
		}
	}
}
