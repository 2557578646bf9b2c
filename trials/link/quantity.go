package link

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// roundsToThousand is the least value that three digits round to 1000.
const roundsToThousand = 999.5

// Scaled returns values that are in picoseconds in the unit of time that suits the largest of them, and that unit: 290789 ps RMS are
// 290.789 ns RMS. Values in other units are returned unchanged.
func Scaled(unit string, values ...float64) ([]float64, string) {
	name, of, _ := strings.Cut(unit, " ")
	if name != "ps" {
		return values, unit
	}
	scaled, largest := slices.Clone(values), 0.0
	for _, v := range values {
		if m := math.Abs(v); m > largest && !math.IsInf(m, 0) {
			largest = m
		}
	}
	for _, larger := range []string{"ns", "µs", "ms"} {
		if largest < roundsToThousand {
			break
		}
		largest /= 1000
		name = larger
		for i := range scaled {
			scaled[i] /= 1000
		}
	}
	return scaled, strings.TrimSpace(name + " " + of)
}

// Digits writes a value with three digits, never as a power of ten.
func Digits(v float64) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 2, 64), 64)
	if err != nil || v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(rounded, 'f', max(0, 2-int(math.Floor(math.Log10(math.Abs(rounded))))), 64)
}

// inWords scales values of one unit and writes each with three digits.
func inWords(unit string, values ...float64) ([]string, string) {
	scaled, unit := Scaled(unit, values...)
	texts := make([]string, len(scaled))
	for i, v := range scaled {
		texts[i] = Digits(v)
	}
	return texts, unit
}

// leastShown is the least p that is written as a number, with three digits (common practice, no source).
const leastShown = 0.001

// Probability writes a p with three places, never as 0.000; a dash where it is not known.
func Probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "–"
	case p < leastShown:
		return "<0.001"
	}
	return fmt.Sprintf("%.3f", p)
}

// IntervalWords describes a 95 % interval, its ends formatted by write, followed by the unit unless that is "". An end that is NaN is open.
func IntervalWords(interval [2]float64, write func(float64) string, unit string) string {
	if unit != "" {
		unit = " " + unit
	}
	low, high := interval[0], interval[1]
	switch {
	case math.IsNaN(low) && math.IsNaN(high):
		return "95 % interval open at both ends"
	case math.IsNaN(low):
		return "95 % interval below " + write(high) + unit + " with no lower end"
	case math.IsNaN(high):
		return "95 % interval above " + write(low) + unit + " with no upper end"
	}
	return "95 % interval " + write(low) + " to " + write(high) + unit
}
