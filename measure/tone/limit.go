package tone

import "math"

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

// SetFloor gives every figure of r the limit that the recording set-up's own measurement sets, channel by channel.
func (r *Result) SetFloor(floor Result) {
	for i := range r.Channel {
		if i >= len(floor.Channel) {
			return
		}
		c, f := &r.Channel[i], floor.Channel[i]
		c.Limits = []Limit{limitOf("thd_db", c.THDDB, f.THDDB), limitOf("thd_n_db", c.THDNDB, f.THDNDB),
			atLeast("sinad_db", c.SINADDB, f.SINADDB), limitOf("noise_db", c.NoiseDB, f.NoiseDB)}
		if len(c.Hum) > 0 && len(f.Hum) > 0 {
			c.Limits = append(c.Limits, limitOf(HumLimit, Strongest(c.Hum), Strongest(f.Hum)))
		}
	}
}

// SetFloor is Result.SetFloor for dynamic range.
func (r *LowToneResult) SetFloor(floor LowToneResult) {
	for i := range r.Channel {
		if i >= len(floor.Channel) {
			return
		}
		c, f := &r.Channel[i], floor.Channel[i]
		c.Limits = []Limit{atLeast("dynamic_range_db", c.DynamicRangeDB, f.DynamicRangeDB),
			atLeast("dynamic_range_a_db", c.DynamicRangeADB, f.DynamicRangeADB),
			atLeast("dynamic_range_ccir_db", c.DynamicRangeCCIRDB, f.DynamicRangeCCIRDB)}
	}
}

// SetFloor is Result.SetFloor for noise.
func (r *NoiseResult) SetFloor(floor NoiseResult) {
	for i := range r.Channel {
		if i >= len(floor.Channel) {
			return
		}
		c, f := &r.Channel[i], floor.Channel[i]
		c.Limits = []Limit{limitOf("unweighted_dbfs", c.UnweightedDBFS, f.UnweightedDBFS),
			limitOf("a_weighted_dbfs", c.AWeightedDBFS, f.AWeightedDBFS), limitOf("ccir_rms_dbfs", c.CCIRRMSDBFS, f.CCIRRMSDBFS)}
	}
}

// SetFloor is Result.SetFloor for intermodulation.
func (r *TwoToneResult) SetFloor(floor TwoToneResult) {
	for i := range r.Channel {
		if i >= len(floor.Channel) {
			return
		}
		c, f := &r.Channel[i], floor.Channel[i]
		c.Limits = []Limit{limitOf("imd_db", c.IMDDB, f.IMDDB), limitOf("second_order_db", c.SecondOrderDB, f.SecondOrderDB),
			limitOf("third_order_db", c.ThirdOrderDB, f.ThirdOrderDB)}
	}
}
