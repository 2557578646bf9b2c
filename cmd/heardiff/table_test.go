package main

import (
	"math"
	"testing"
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
		if got := probability(p); got != want {
			t.Errorf("p = %v: %q, want %q", p, got, want)
		}
	}
}
