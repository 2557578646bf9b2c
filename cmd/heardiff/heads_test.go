package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every table that holds intervals says above it what their confidence is, at whatever confidence was asked for.
func TestTablesNameTheConfidenceOfTheirIntervals(t *testing.T) {
	file := filepath.Join(t.TempDir(), "dose.csv")
	if err := os.WriteFile(file, []byte("dose,correct,trials\n1,6,10\n2,7,10\n4,9,10\n8,10,10\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range []string{
		"score --design abx --correct 12 --trials 16", "score --design triangle --correct 9 --trials 16",
		"score --design same-different --hits 12 --misses 4 --false-alarms 5 --correct-rejections 11", "fit " + file,
	} {
		out, _ := command(t, 0, append(strings.Fields(args), "--confidence", "0.8")...)
		if !strings.HasPrefix(out, "intervals: two-sided, 80 %\n") {
			t.Errorf("%s:\n%s", args, out)
		}
	}
}
