package match_test

import (
	"math"
	"slices"

	"heardiff/stats/warning"
)

// warned is a warning that is wanted: its code, and its channel, value and place where those are not 0.
type warned struct {
	code    warning.Code
	channel int
	value   float64
	within  float64 // of value
	atS     float64 // seconds of A, to a tenth
}

func (w warned) is(got warning.Warning) bool {
	return got.Code == w.code && (w.channel == 0 || got.Channel == w.channel) &&
		(w.value == 0 || math.Abs(got.Value-w.value) <= w.within) && (w.atS == 0 || math.Abs(got.FromS-w.atS) <= 0.1)
}

// in reports whether a warning like it is in the list; the zero value wants none at all.
func (w warned) in(list []warning.Warning) bool {
	if w.code == "" {
		return len(list) == 0
	}
	return slices.ContainsFunc(list, w.is)
}

// of returns the warnings of these codes.
func of(list []warning.Warning, codes ...warning.Code) []warning.Warning {
	return slices.DeleteFunc(slices.Clone(list), func(w warning.Warning) bool { return !slices.Contains(codes, w.Code) })
}
