package link_test

import (
	"math"
	"testing"

	"heardiff/trials/link"
)

func TestFiguresHaveThreeDigitsAndAUnitThatSuits(t *testing.T) {
	for _, c := range []struct {
		v          float64
		unit       string
		want, with string
	}{
		{290788.7, "ps RMS", "291", "ns RMS"},
		{-1285.9, "ps RMS", "-1.29", "ns RMS"},
		{29.36, "ps RMS", "29.4", "ps RMS"},
		{999.4, "ps", "999", "ps"},
		{999.6, "ps", "1.00", "ns"},
		{0.08991, "ps peak", "0.0899", "ps peak"},
		{2.096e6, "ps RMS", "2.10", "µs RMS"},
		{4e13, "ps RMS", "40000", "ms RMS"},
		{290788.7, "ppb", "291000", "ppb"},
		{0, "ps RMS", "0", "ps RMS"},
	} {
		scaled, unit := link.Scaled(c.unit, c.v)
		if got := link.Digits(scaled[0]); got != c.want || unit != c.with {
			t.Errorf("%v %s: %s %s, want %s %s", c.v, c.unit, got, unit, c.want, c.with)
		}
	}
	if scaled, unit := link.Scaled("ps RMS", 991500, math.NaN(), 3.62e6); scaled[0] != 0.9915 || scaled[2] != 3.62 || unit != "µs RMS" {
		t.Errorf("several values: %v %s, want one unit for all", scaled, unit)
	}
}
