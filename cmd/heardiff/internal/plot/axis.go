package plot

import (
	"math"
	"slices"
	"strconv"
)

// axis maps values to pixels. A logarithmic axis needs lo > 0.
type axis struct {
	lo, hi float64
	log    bool
	title  string
	label  func(v float64) string
	step   float64 // linear: distance of ticks where the caller knows a natural one (octaves of dB), else 0
}

type tick struct {
	value float64
	label string // "" for a minor tick
}

// at returns the position of v between the pixels from and to, limited to them.
func (a axis) at(v, from, to float64) float64 {
	lo, hi := a.lo, a.hi
	if a.log {
		v, lo, hi = math.Log(math.Max(v, lo*1e-9)), math.Log(lo), math.Log(hi)
	}
	share := math.Min(1, math.Max(0, (v-lo)/(hi-lo)))
	return from + share*(to-from)
}

func (a axis) holds(v float64) bool { return v >= a.lo && v <= a.hi }

// ticks returns the ticks for an axis of some pixels, labels no closer than apart pixels.
func (a axis) ticks(pixels, apart float64) []tick {
	if a.log {
		return a.decades(pixels, apart)
	}
	step := a.step
	if step == 0 {
		step = niceStep((a.hi - a.lo) * apart / pixels)
	}
	for step*pixels/(a.hi-a.lo) < apart {
		step *= 2
	}
	for leastLabels*step > a.hi-a.lo && step/2*pixels/(a.hi-a.lo) >= apart { // a natural distance that would leave a curve between two labels
		step /= 2
	}
	var ticks []tick
	for v := math.Ceil(a.lo/step-rounding) * step; v <= a.hi+step*rounding; v += step {
		ticks = append(ticks, tick{v, a.text(v)})
	}
	return ticks
}

// roomForFives is how many labels a decade must have room for, so that 2 and 5 are labelled: the closest two, 5 and 10, are 0.3 of it apart.
const roomForFives = 3.4

// leastLabels is how many steps an axis has at the least (judgement, no source; TestAFlatCurveHasLabelsBesideIt holds
// it), rounding the part of a step by which sums of steps may miss.
const (
	leastLabels = 3
	rounding    = 1e-9
)

// decade is the ratio of powers of ten.
const decade = 10

// decades labels powers of ten, and 2 and 5 where there is room, with unlabelled ticks between.
func (a axis) decades(pixels, apart float64) []tick {
	perDecade := pixels / math.Log10(a.hi/a.lo)
	every := int(math.Max(1, math.Ceil(apart/perDecade)))
	var ticks []tick
	for e := int(math.Floor(math.Log10(a.lo))); e <= int(math.Ceil(math.Log10(a.hi))); e++ {
		for m := 1; m < decade; m++ {
			v := float64(m) * math.Pow10(e)
			if v < a.lo*(1-rounding) || v > a.hi*(1+rounding) {
				continue
			}
			named := m == 1 && e%every == 0 || slices.Contains([]int{2, 5}, m) && perDecade > roomForFives*apart
			label := ""
			if named {
				label = a.text(v)
			}
			ticks = append(ticks, tick{v, label})
		}
	}
	return ticks
}

func (a axis) text(v float64) string {
	if a.label != nil {
		return a.label(v)
	}
	return plainNumber(v)
}

// niceStep returns the least of 1, 2, 5 times a power of ten that is not below v.
func niceStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-rounding) {
			return m * p
		}
	}
	return 10 * p
}

// zeroBelow is the size below which a number is what rounding left of zero.
const zeroBelow = 1e-12

// plainNumber writes v with as many digits as it needs, at most four significant, and a true minus sign.
func plainNumber(v float64) string {
	if math.Abs(v) < zeroBelow {
		return "0"
	}
	digits := 4
	f, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	if err != nil {
		return ""
	}
	s := strconv.FormatFloat(math.Abs(f), 'f', -1, 64)
	if v < 0 {
		return "−" + s
	}
	return s
}

// From these on short numbers take a letter.
const thousand, million = 1000, 1e6

// shortNumber writes thousands as k and millions as M: 20, 500, 1k, 10k, 1M.
func shortNumber(v float64) string {
	switch size := math.Abs(v); {
	case size >= million:
		return plainNumber(v/million) + "M"
	case size >= thousand:
		return plainNumber(v/thousand) + "k"
	}
	return plainNumber(v)
}

// percent writes a fraction as a whole percentage.
func percent(v float64) string { return plainNumber(math.Round(v*1000)/10) + " %" }

// logRange returns decade-fraction limits (1, 2 or 5 times a power of ten) around the positive values.
func logRange(values []float64, fallbackLo, fallbackHi float64) (lo, hi float64) {
	lo, hi = math.Inf(1), 0
	for _, v := range values {
		if v > 0 && !math.IsInf(v, 0) && !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if hi == 0 {
		return fallbackLo, fallbackHi
	}
	lo, hi = niceBelow(lo), niceStep(hi*1.05)
	for hi/lo < decade {
		lo, hi = niceBelow(lo*0.99), niceStep(hi*1.01)
	}
	return lo, hi
}

func niceBelow(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)+rounding))
	for _, m := range []float64{5, 2} {
		if m*p <= v*(1+rounding) {
			return m * p
		}
	}
	return p
}

// linearRange returns limits on multiples of step around the finite values, with a little room.
func linearRange(values []float64, step, fallbackLo, fallbackHi float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsInf(v, 0) && !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if lo > hi {
		return fallbackLo, fallbackHi
	}
	lo, hi = math.Floor(lo/step-0.15)*step, math.Ceil(hi/step+0.15)*step
	return lo, hi
}
