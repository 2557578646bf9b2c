package main

import (
	"math"
	"testing"
)

// ref: ten of fifteen, as printed in the example of a package for such tests (see testdata/statistics/published_checks.csv).
func TestResultsOfOtherProceduresAreScored(t *testing.T) {
	for design, want := range map[string]float64{"2-afc": 0.6091, "3-afc": 1.1159, "duo-trio": 1.5189, "triangle": 2.3214, "tetrad": 1.5878} {
		var s struct {
			Design string
			DPrime float64 `json:"d_prime"`
		}
		decode(t, &s, "score", "--design", design, "--correct", "10", "--trials", "15", "--json")
		if math.Abs(s.DPrime-want) > 5e-5 || s.Design != design {
			t.Errorf("%s: d′ %v, want %v", design, s.DPrime, want)
		}
		command(t, 0, "score", "--design", design, "--correct", "10", "--trials", "15")
	}
	command(t, exitUsage, "score", "--design", "triangle", "--correct", "1")
	command(t, exitRejected, "score", "--design", "triangle", "--correct", "4", "--trials", "3")
	command(t, exitUsage, "score", "--design", "taste", "--correct", "1", "--trials", "3")
}
