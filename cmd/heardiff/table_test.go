package main

import (
	"math"
	"testing"

	"heardiff/trials/link"
)

func TestFiguresForPeople(t *testing.T) {
	for _, c := range []struct {
		v            float64
		format, want string
	}{
		{math.NaN(), "%.2f", "–"},
		{math.Inf(-1), "%.1f dB", "–"},
		{-12.34, "%.1f dB", "−12.3 dB"},
		{-0.00004, "%.4f", "0.0000"}, // what rounds to nothing has no sign
		{-0.00005001, "%.4f", "−0.0001"},
		{0.04, "%+.1f", "0.0"},
		{0.05001, "%+.1f", "+0.1"},
	} {
		if got := figure(c.v, c.format); got != c.want {
			t.Errorf("%v as %q: %q, want %q", c.v, c.format, got, c.want)
		}
	}
	for p, want := range map[float64]string{0.0384: "0.038", 0.0004: "<0.001", 1: "1.000"} {
		if got := link.Probability(p); got != want {
			t.Errorf("p = %v: %q, want %q", p, got, want)
		}
	}
}

func TestAFigureHasThePlacesOfItsError(t *testing.T) {
	for _, c := range []struct {
		v, se      float64
		sign, want string
	}{
		{3.00123, 0.0023, "+", "+3.0012 ± 0.0023"},
		{-12.34567, 0.25, "", "−12.35 ± 0.25"},
		{1234.5, 120, "", "1234 ± 120"},
		{0.00001, 0.002, "+", "0.0000 ± 0.0020"},
		{2.5, 0, "+", "+2.5000"},
		{2.5, math.NaN(), "", "2.5000"},
		{1e-12, 1e-12, "", "0.000000000 ± 0.000000000"},
	} {
		if got := give(c.v, c.se, c.sign); got != c.want {
			t.Errorf("%v ± %v: %q, want %q", c.v, c.se, got, c.want)
		}
	}
}
