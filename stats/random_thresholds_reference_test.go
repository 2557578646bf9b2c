package stats_test

import (
	"fmt"
	"math"
	"testing"

	"heardiff/stats"
)

// The scipy reference integrates by Gauss–Legendre, checked with an adaptive rule, and searches by simplex to about 1e-6.
func TestRandomThresholdsAgreeWithScipy(t *testing.T) {
	var points []stats.DosePoint
	for _, r := range table(t, "random_thresholds_data") {
		points = append(points, stats.DosePoint{Dose: r.float(t, "dose"), Correct: r.int(t, "correct"), Trials: r.int(t, "trials"), Listener: r["listener"]})
	}
	if len(points) != 40 {
		t.Fatalf("%d rows", len(points))
	}
	fits := map[string]map[string]float64{}
	for _, r := range table(t, "random_thresholds") {
		if fits[r["shape"]] == nil {
			fits[r["shape"]] = randomFit(t, points, r["shape"])
		}
		got, known := fits[r["shape"]][r["quantity"]]
		tol := 2e-5
		if r["quantity"] == "log_likelihood" {
			tol = 1e-9
		}
		if !known || !near(got, r.float(t, "value"), tol) {
			t.Errorf("%s: %s = %v, want %s", r["shape"], r["quantity"], got, r["value"])
		}
	}
}

func randomFit(t *testing.T, points []stats.DosePoint, name string) map[string]float64 {
	t.Helper()
	shape, err := stats.ParseShape(name)
	if err != nil {
		t.Fatal(err)
	}
	f, err := stats.FitRandomThresholds(points, stats.FitConfig{Shape: shape})
	if err != nil {
		t.Fatal(err)
	}
	mean, err := stats.FitRandomThresholds(points, stats.FitConfig{Shape: shape, Confidence: stats.ConfidenceOfMean(f.Listeners)})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]float64{
		"threshold": f.Threshold, "between_sd": f.BetweenSD, "slope": f.Slope, "log_likelihood": f.LogLikelihood,
		"threshold_lo": mean.ThresholdInterval[0], "threshold_hi": mean.ThresholdInterval[1], "between_sd_lo": f.BetweenSDInterval[0],
		"between_sd_hi": f.BetweenSDInterval[1], "slope_lo": f.SlopeInterval[0], "slope_hi": f.SlopeInterval[1],
	}
}

func TestRandomThresholdsThatCannotBeFitted(t *testing.T) {
	two := []stats.DosePoint{{Dose: 1, Correct: 5, Trials: 10, Listener: "a"}, {Dose: 2, Correct: 9, Trials: 10, Listener: "b"}}
	for name, c := range map[string]struct {
		points []stats.DosePoint
		cfg    stats.FitConfig
	}{
		"one listener":   {[]stats.DosePoint{{Dose: 1, Correct: 5, Trials: 10}, {Dose: 2, Correct: 9, Trials: 10}}, stats.FitConfig{}},
		"free lapse":     {two, stats.FitConfig{FreeLapse: true}},
		"counts at odds": {append(two, stats.DosePoint{Dose: 2, Correct: 9, Trials: 8, Listener: "b"}), stats.FitConfig{}},
	} {
		if _, err := stats.FitRandomThresholds(c.points, c.cfg); err == nil {
			t.Errorf("%s was fitted", name)
		}
	}
	var flat []stats.DosePoint
	for l := range 4 {
		for d := range 3 {
			flat = append(flat, stats.DosePoint{Dose: float64(d + 1), Correct: 5, Trials: 10, Listener: fmt.Sprint(l)})
		}
	}
	if f, err := stats.FitRandomThresholds(flat, stats.FitConfig{}); err != nil || !math.IsNaN(f.Threshold) || len(f.Details) != 1 || !f.Warned(stats.NoRise) {
		t.Errorf("flat data: %+v, %v", f, err)
	}
}
