package main

import (
	"math"
	"regexp"
	"strconv"
	"testing"
	"time"

	"heardiff/trials/study"
)

// A training is listed day by day, with the threshold of each day, and counts in no result: as text and as JSON.
func TestTrainingIsListedDayByDay(t *testing.T) {
	oneChain(t)
	prepareSteps(t, "random-jitter", "--from", "1000", "--to", "1000000", "--steps", "7", "--excerpt", "1:2", "--name", "e")
	command(t, 0, "listener", "add", "L1")
	command(t, 0, "plan", "new", "--id", "learn", "--threshold", "random-jitter", "--training", "--trials", "40")
	first := time.Now().Add(-7 * 24 * time.Hour)
	levels := []float64{108, 96, 84} // dB: 250, 63 and 16 ns
	var days []string
	for i, level := range levels {
		at := first.Add(time.Duration(i) * 48 * time.Hour)
		days = append(days, at.UTC().Format("2006-01-02"))
		sitWhen(t, func() time.Time { return at }, study.SitOptions{Plan: "learn", Listener: "L1", Again: i > 0}, -1, climbing(t, uint64(i), map[string]float64{"random-jitter": level}))
	}
	text, _ := command(t, 0, "results")
	listed := regexp.MustCompile(`(?m)^\S+ +L1 +(\d{4}-\d\d-\d\d) +random jitter, 10 to 20000 Hz +(\S+) .* (ps|ns|µs) RMS +40$`).FindAllStringSubmatch(text, -1)
	if len(listed) != len(days) {
		t.Fatalf("%d trainings are listed:\n%s", len(listed), text)
	}
	for i, l := range listed {
		threshold, err := strconv.ParseFloat(l[2], 64)
		if l[1] != days[i] || err != nil || math.Abs(20*math.Log10(threshold*map[string]float64{"ps": 1, "ns": 1e3, "µs": 1e6}[l[3]])-levels[i]) > 9 {
			t.Errorf("day %d: %v, want %s and %.0f dB", i+1, l[1:], days[i], levels[i])
		}
	}
	for _, args := range [][]string{{"results"}, {"link"}, {"report", "--out", t.TempDir() + "/page.html"}} {
		if out, _ := command(t, 0, args...); regexp.MustCompile(`Thresholds: the dose|id="thresholds"`).MatchString(out) {
			t.Errorf("%v: a training counts as a threshold:\n%s", args, out)
		}
	}
}
