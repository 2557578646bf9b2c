package tone

import (
	"fmt"
	"math"
)

// Limit sets a figure beside the same figure of the recording set-up alone.
type Limit struct {
	Figure string  `json:"figure"` // the figure's JSON key
	Limit  float64 `json:"limit"`  // the set-up's own
	// Standing is "measured" where the figure is more than 3 dB worse than the set-up's, "upper bound" within
	// 3 dB, and "at floor" where it is no worse.
	Standing string `json:"standing"`
}

// limitOf judges a figure in dB of which more is worse.
func limitOf(figure string, value, floor float64) Limit {
	l := Limit{Figure: figure, Limit: floor, Standing: "measured"}
	switch {
	case math.IsNaN(value) || math.IsNaN(floor):
		l.Standing = "unknown"
	case value <= floor:
		l.Standing = "at floor"
	case value <= floor+3:
		l.Standing = "upper bound"
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

// SetFloor gives every figure of r the limit that the recording set-up's own measurement sets, channel by channel; where
// the set-up was recorded in fewer channels, its last stands for the others.
func (r *Result) SetFloor(floor Result) {
	for i := range r.Channel {
		c, f := &r.Channel[i], floor.Channel[min(i, len(floor.Channel)-1)]
		c.Limits = []Limit{limitOf("thd_db", c.THDDB, f.THDDB), limitOf("thd_n_db", c.THDNDB, f.THDNDB),
			atLeast("sinad_db", c.SINADDB, f.SINADDB), limitOf("noise_db", c.NoiseDB, f.NoiseDB)}
		if len(c.Hum) > 0 && len(f.Hum) > 0 {
			c.Limits = append(c.Limits, limitOf(HumLimit, Strongest(c.Hum), Strongest(f.Hum)))
		}
		for k := range min(len(c.Harmonics), len(f.Harmonics)) {
			h, g := c.Harmonics[k], f.Harmonics[k]
			if !math.IsNaN(h.DBC) { // none beyond the band
				c.Limits = append(c.Limits, limitOf(fmt.Sprintf("harmonics[%d].dbc", k), h.DBC, math.Max(g.DBC, g.LimitDBC)))
			}
		}
		c.Limits = append(c.Limits, lineLimits("hum[%d].dbc", mainsSlack, toLines(c.Hum), toLines(f.Hum))...)
		c.Limits = append(c.Limits, lineLimits("spurs[%d].dbc", clockSlack, toLines(c.Spurs), toLines(f.Spurs))...)
	}
}

// line is a line of either kind.
type line struct{ hz, db float64 }

func toLines(list []Line) []line {
	var out []line
	for _, l := range list {
		out = append(out, line{l.Hz, l.DBC})
	}
	return out
}

func toLevels(list []LevelLine) []line {
	var out []line
	for _, l := range list {
		out = append(out, line{l.Hz, l.DBFS})
	}
	return out
}

// lineLimits gives each line that the set-up alone shows too that one's level: the others are far from the floor, since
// they were told from the noise.
//
// slack is how far, relative to its frequency, a line may have moved between the captures; format names the figure.
func lineLimits(format string, slack float64, lines, floor []line) []Limit {
	const bin = 0.7 // Hz, of the spectra at all rates
	var out []Limit
	for i, l := range lines {
		nearest, off := math.NaN(), math.Max(bin, slack*l.hz)
		for _, g := range floor {
			if d := math.Abs(g.hz - l.hz); d <= off {
				nearest, off = g.db, d
			}
		}
		if !math.IsNaN(nearest) {
			out = append(out, limitOf(fmt.Sprintf(format, i), l.db, nearest))
		}
	}
	return out
}

// clockSlack is what two clocks may differ by, relative: spurs stand still in one of them.
const clockSlack = 1e-4

// SetFloor is Result.SetFloor for dynamic range.
func (r *LowToneResult) SetFloor(floor LowToneResult) {
	for i := range r.Channel {
		c, f := &r.Channel[i], floor.Channel[min(i, len(floor.Channel)-1)]
		c.Limits = []Limit{atLeast("dynamic_range_db", c.DynamicRangeDB, f.DynamicRangeDB),
			atLeast("dynamic_range_a_db", c.DynamicRangeADB, f.DynamicRangeADB),
			atLeast("dynamic_range_ccir_db", c.DynamicRangeCCIRDB, f.DynamicRangeCCIRDB),
			atLeast("below_tone_plus_60_a_db", c.BelowTonePlus60ADB, f.DynamicRangeADB+c.LevelDBFS+60)}
	}
}

// SetFloor is Result.SetFloor for noise.
func (r *NoiseResult) SetFloor(floor NoiseResult) {
	for i := range r.Channel {
		c, f := &r.Channel[i], floor.Channel[min(i, len(floor.Channel)-1)]
		c.Limits = []Limit{limitOf("unweighted_dbfs", c.UnweightedDBFS, f.UnweightedDBFS),
			limitOf("a_weighted_dbfs", c.AWeightedDBFS, f.AWeightedDBFS), limitOf("ccir_rms_dbfs", c.CCIRRMSDBFS, f.CCIRRMSDBFS)}
		if !math.IsNaN(c.RelativeToReferenceDB) {
			c.Limits = append(c.Limits, limitOf("relative_to_reference_db", c.RelativeToReferenceDB, f.UnweightedDBFS-c.UnweightedDBFS+c.RelativeToReferenceDB))
		}
		c.Limits = append(c.Limits, lineLimits("hum[%d].dbfs", mainsSlack, toLevels(c.Hum), toLevels(f.Hum))...)
		c.Limits = append(c.Limits, lineLimits("spurs[%d].dbfs", clockSlack, toLevels(c.Spurs), toLevels(f.Spurs))...)
	}
}

// SetFloor is Result.SetFloor for intermodulation.
func (r *TwoToneResult) SetFloor(floor TwoToneResult) {
	for i := range r.Channel {
		c, f := &r.Channel[i], floor.Channel[min(i, len(floor.Channel)-1)]
		c.Limits = []Limit{limitOf("imd_db", c.IMDDB, f.IMDDB), limitOf("second_order_db", c.SecondOrderDB, f.SecondOrderDB),
			limitOf("third_order_db", c.ThirdOrderDB, f.ThirdOrderDB)}
		for k, p := range c.Products {
			for _, g := range f.Products {
				if g.Order == p.Order && math.Abs(g.Hz-p.Hz) <= 1e-3*p.Hz+1 {
					c.Limits = append(c.Limits, limitOf(fmt.Sprintf("products[%d].dbc", k), p.DBC, math.Max(g.DBC, g.LimitDBC)))
					break
				}
			}
		}
	}
}
