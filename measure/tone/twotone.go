package tone

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// TwoToneResult is the intermodulation of two tones.
type TwoToneResult struct {
	Schema  string           `json:"schema"` // heardiff.two_tone/1
	RateHz  int              `json:"rate_hz"`
	Seconds float64          `json:"seconds"`
	Channel []TwoToneChannel `json:"channel"`
	warning.Warnings
}

// TwoToneChannel is the part of a TwoToneResult about one channel.
type TwoToneChannel struct {
	Channel  int     `json:"channel"`
	LowHz    float64 `json:"low_hz"`
	HighHz   float64 `json:"high_hz"`
	LowDBFS  float64 `json:"low_dbfs"`
	HighDBFS float64 `json:"high_dbfs"`
	// Method is "modulation" where the upper tone is more than four times as high as the lower, else
	// "difference-frequency".
	Method string `json:"method"`
	// SecondOrderDB and ThirdOrderDB are d2 and d3 of the method, amplitudes added arithmetically; IMDDB is the
	// root of the sum of their squares. NaN where a product they need lies above half the rate.
	//
	//	modulation:            d2 = (a(f2+f1) + a(f2−f1))/a(f2)     d3 = (a(f2+2f1) + a(f2−2f1))/a(f2)
	//	difference-frequency:  d2 = a(f2−f1)/(a(f1) + a(f2))        d3 = (a(2f2−f1) + a(2f1−f2))/(a(f1) + a(f2))
	//
	// ref: IEC 60268-3:2013, as open libraries that implement it report its definitions.
	IMDDB float64 `json:"imd_db"`
	// IMDLimitDB is what noise alone reaches once in twenty times, or a little more: near it and below IMDDB is an upper bound. NaN where
	// the recording is too short to tell.
	IMDLimitDB    float64   `json:"imd_limit_db"`
	SecondOrderDB float64   `json:"second_order_db"`
	ThirdOrderDB  float64   `json:"third_order_db"`
	Products      []Product `json:"products"`
	Limits        []Limit   `json:"limits,omitempty"`

	Density []DensityPoint `json:"-"` // of all but the tones and products
}

// Methods of TwoToneChannel, modulation from a ratio of leastModulation of the tones on: SMPTE's are 7 kHz and 60 Hz (common practice, no source).
const (
	modulation          = "modulation"
	differenceFrequency = "difference-frequency"
	leastModulation     = 4
)

// Product is one component at p·f1 + q·f2.
type Product struct {
	Hz    float64 `json:"hz"`
	Order int     `json:"order"` // |p| + |q|
	DBC   float64 `json:"dbc"`   // relative to the upper tone
	// LimitDBC is the level that noise alone reaches once in twenty times.
	LimitDBC float64 `json:"limit_dbc"`
}

// highestOrder is the highest order of the products looked for. A judgement, no source; TestIntermodulationOfAPolynomial holds it.
const highestOrder = 5

// twoToneOrders are p and q of the products looked for: orders 2 to highestOrder.
func twoToneOrders() [][]int {
	var list [][]int
	for order := 2; order <= highestOrder; order++ {
		for p := 1; p < order; p++ {
			list = append(list, []int{p, order - p}, []int{-p, order - p})
		}
	}
	return list
}

// TwoTone measures a recording of two tones: the two strongest lines of each channel. Errors are those of Measure.
func TwoTone(r pcm.Reader) (TwoToneResult, error) {
	rate := r.Format().Rate
	track, err := track(r, 2, func(hz []float64) [][]int { return audible(twoToneOrders(), hz, rate) })
	if err != nil {
		return TwoToneResult{}, fmt.Errorf("two tones: %w", err)
	}
	result := TwoToneResult{
		Schema: "heardiff.two_tone/1", RateHz: int(rate), Seconds: rate.Seconds(track.to - track.from),
	}
	result.Warn(track.warnings(rate, steadyDB)...)
	result.Warn(track.faults()...)
	for c, t := range track.channels {
		nan := math.NaN()
		ch := TwoToneChannel{LowHz: nan, HighHz: nan, LowDBFS: nan, HighDBFS: nan, IMDDB: nan, IMDLimitDB: nan, SecondOrderDB: nan, ThirdOrderDB: nan}
		if t != nil {
			ch = t.twoTone()
			// The upper tones of the usual pairs. ref: AES17 and IEC 60268-3 as commonly used.
			result.Warn(wrongRate(c+1, ch.HighHz, 20000, 7000, 7993, 8000, 11950)...)
			if math.IsNaN(ch.IMDDB) {
				result.Warn(warning.Newf(BandLimited, "channel %d: a product that the definition needs lies above half the rate (%d Hz)", c+1, rate/2).In(c+1).Of(rate.Hz()/2, "Hz"))
			}
		}
		ch.Channel = c + 1
		result.Channel = append(result.Channel, ch)
	}
	return result, nil
}

// Products nearer to DC, to half the rate or to a tone are not measured: they would be part of its line. Judgement, no source;
// TestIntermodulationOfAPolynomial holds the first.
const (
	clearOfDC   = 10.0  // Hz
	clearOfTone = 5.0   // Hz
	belowHalf   = 0.499 // of the rate
)

// audible keeps the products that lie clear of DC, of half the rate, and of the tones.
func audible(orders [][]int, hz []float64, rate pcm.Rate) [][]int {
	var kept [][]int
	for _, o := range orders {
		f := math.Abs(float64(o[0])*hz[0] + float64(o[1])*hz[1])
		if f >= clearOfDC && f < belowHalf*rate.Hz() && math.Abs(f-hz[0]) > clearOfTone && math.Abs(f-hz[1]) > clearOfTone {
			kept = append(kept, o)
		}
	}
	return kept
}

func (t *tracker) twoTone() TwoToneChannel {
	low, lowHz := t.tone(0)
	high, highHz := t.tone(1)
	c := TwoToneChannel{LowHz: lowHz, HighHz: highHz, LowDBFS: pcm.DB(low), HighDBFS: pcm.DB(high), Method: differenceFrequency, Density: densityOf(t.clean.Mean())}
	amplitude := map[[2]int]float64{}
	for _, p := range t.products {
		a, se := p.amplitude(t.n)
		amplitude[[2]int{p.order[0], p.order[1]}] = a
		c.Products = append(c.Products, Product{
			Hz:    math.Abs(float64(p.order[0])*lowHz + float64(p.order[1])*highHz),
			Order: max(p.order[0], -p.order[0]) + max(p.order[1], -p.order[1]), DBC: pcm.DB(a / high), LimitDBC: pcm.DB(chance95(t.n) * se / high),
		})
	}
	at := func(p, q int) float64 {
		if a, ok := amplitude[[2]int{p, q}]; ok {
			return a
		}
		return math.NaN()
	}
	d2, d3 := at(-1, 1)/(low+high), (at(-1, 2)+at(-2, 1))/(low+high)
	if highHz > leastModulation*lowHz {
		c.Method = modulation
		d2, d3 = (at(1, 1)+at(-1, 1))/high, (at(2, 1)+at(-2, 1))/high
	}
	c.SecondOrderDB, c.ThirdOrderDB, c.IMDDB = pcm.DB(d2), pcm.DB(d3), pcm.DB(math.Hypot(d2, d3))
	c.IMDLimitDB = c.noise().both
	return c
}
