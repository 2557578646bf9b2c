package stats_test

import (
	"math"
	"testing"

	"heardiff/stats"
)

// R's complementary log-log curve is the Weibull in log10 of the dose, with its slope per unit of the natural logarithm:
// 1 − exp(−exp(η)) = 1 − 2^(−(x/t)^s) with s = b/ln 10 and η = ln ln 2 at the threshold.
func TestCurveValuesAgreeWithR(t *testing.T) {
	const guess, lapse, alpha = 0.5, 0.02, 0.3
	weibull := func(beta float64) func(float64) float64 {
		c := stats.Curve{Shape: stats.Weibull, Guess: guess, Lapse: lapse, Threshold: math.Pow(10, alpha) * math.Pow(math.Ln2, 1/beta), Slope: beta}
		return func(x float64) float64 { return c.At(math.Pow(10, x)) }
	}
	curves := map[string]func(float64) float64{
		"logistic":      stats.Curve{Shape: stats.Logistic, Guess: guess, Lapse: lapse, Threshold: alpha, Slope: 2, Linear: true}.At,
		"cumnorm":       stats.Curve{Shape: stats.Normal, Guess: guess, Lapse: lapse, Threshold: alpha, Slope: 1.2, Linear: true}.At,
		"weibull_log10": weibull(1.5),
		"gumbel":        weibull(1.5 / math.Ln10),
	}
	for _, r := range table(t, "psychometric_values") {
		for column, at := range curves {
			if got := at(r.float(t, "x")); !near(got, r.float(t, column), 1e-11) {
				t.Errorf("%s at %s: %v, want %s", column, r["x"], got, r[column])
			}
		}
	}
}

// linkShape returns the shape of a link of R's glm, and its slope and middle on the linear predictor b0 + b1·u.
func linkShape(link string, b0, b1 float64) (shape stats.Shape, slope, middle float64) {
	switch link {
	case "logit":
		return stats.Logistic, b1, -b0 / b1
	case "probit":
		return stats.Normal, b1, -b0 / b1
	}
	return stats.Weibull, b1 / math.Ln10, (math.Log(math.Ln2) - b0) / b1
}

// ref: Bliss (1935), beetles killed by a gas, as in Dobson; R 4.2.2 glm for the three links.
func TestBeetlesUnderThreeLinksAgreeWithR(t *testing.T) {
	rows := table(t, "beetle_fits")
	for _, r := range rows {
		shape, slope, middle := linkShape(r["link"], r.float(t, "b0"), r.float(t, "b1"))
		var points []stats.DosePoint
		for _, d := range table(t, "beetle_data") {
			p := stats.DosePoint{Dose: d.float(t, "dose"), Correct: d.int(t, "y"), Trials: d.int(t, "n")}
			if shape == stats.Weibull {
				p.Dose = math.Pow(10, p.Dose) // its abscissa is log10
			}
			points = append(points, p)
		}
		f, err := stats.FitCurve(points, stats.FitConfig{Shape: shape, NoGuess: true, Linear: shape != stats.Weibull})
		must(t, err)
		threshold := f.Threshold
		if shape == stats.Weibull {
			threshold = math.Log10(threshold)
		}
		if !near(f.Slope, slope, 1e-6) || !near(threshold, middle, 1e-6) || !near(threshold, r.float(t, "LD50"), 1e-6) ||
			!near(f.Deviance, r.float(t, "deviance"), 1e-7) || !near(f.Pearson, r.float(t, "pearson"), 1e-6) || f.DF != r.int(t, "df") {
			t.Errorf("%s: %+v, want %v", r["link"], f, r)
		}
	}
}

// ref: Hecht, Shlaer & Pirenne (1942), table V: flashes seen of those shown, by mean number of quanta; R 4.2.2 glm.
func TestFlashesSeenAgreeWithR(t *testing.T) {
	data := map[string][]stats.DosePoint{}
	for _, d := range table(t, "hsp_data") {
		run := d["Obs"] + d["Run"]
		data[run] = append(data[run], stats.DosePoint{Dose: d.float(t, "Q"), Correct: d.int(t, "k"), Trials: d.int(t, "N")})
	}
	for _, r := range table(t, "hsp_fits") {
		shape, slope, middle := linkShape(r["link"], r.float(t, "intercept"), r.float(t, "slope_per_log10Q"))
		f, err := stats.FitCurve(data[r["obs"]+r["run"]], stats.FitConfig{Shape: shape, NoGuess: true})
		must(t, err)
		if !near(f.Slope, slope, 2e-6) || !near(math.Log10(f.Threshold), middle, 2e-6) || !near(f.Threshold, r.float(t, "Q50"), 2e-6) ||
			!near(f.Deviance, r.float(t, "deviance"), 1e-6) || !near(f.Pearson, r.float(t, "pearson"), 5e-6) ||
			!near(f.P, r.float(t, "p_dev"), 1e-5) {
			t.Errorf("%s %s %s: %+v, want %v", r["obs"], r["run"], r["link"], f, r)
		}
	}
}

// Every fit of the invented data, with the lapse rate fixed at 0 and free. R bounds the lapse rate at 0.06, this package at
// 0.1: none of the fits comes near either.
func TestEveryFitAgreesWithR(t *testing.T) {
	shapes := map[string]stats.Shape{"logistic": stats.Logistic, "cumnorm": stats.Normal, "weibull_log10": stats.Weibull}
	data := map[string][]stats.DosePoint{}
	for _, r := range table(t, "2afc_data") {
		data[r["dataset"]] = append(data[r["dataset"]], stats.DosePoint{Dose: r.float(t, "x"), Correct: r.int(t, "k"), Trials: r.int(t, "n")})
	}
	for _, r := range table(t, "2afc_fits") {
		shape, alpha, beta := shapes[r["F"]], r.float(t, "alpha"), r.float(t, "beta")
		points := append([]stats.DosePoint(nil), data[r["dataset"]]...)
		if shape == stats.Weibull { // R's location is where F is 1 − 1/e, ours where it is 1/2
			alpha += math.Log10(math.Ln2) / beta
			for i := range points {
				points[i].Dose = math.Pow(10, points[i].Dose)
			}
		}
		f, err := stats.FitCurve(points, stats.FitConfig{Shape: shape, Linear: shape != stats.Weibull, FreeLapse: r["lapse_free"] == "TRUE"})
		must(t, err)
		threshold := f.Threshold
		if shape == stats.Weibull {
			threshold = math.Log10(threshold)
		}
		// A likelihood is flat at its maximum: parameters may still differ where it hardly does.
		if math.Abs(threshold-alpha) > 2e-4 || !near(f.Slope, beta, 5e-4) || math.Abs(f.Lapse-r.float(t, "lapse")) > 1e-4 ||
			math.Abs(f.Deviance-r.float(t, "deviance")) > 1e-6 || f.DF != r.int(t, "df") || !near(f.Pearson, r.float(t, "pearson"), 2e-3) {
			t.Errorf("%s %s %s: threshold %v slope %v lapse %v deviance %v; want %v", r["dataset"], r["F"], r["lapse_free"], threshold, f.Slope, f.Lapse, f.Deviance, r)
		}
		for column, got := range map[string]float64{"beta_lo95": f.SlopeInterval[0], "beta_hi95": f.SlopeInterval[1]} {
			if r[column] != "" && !near(got, r.float(t, column), 1e-3) {
				t.Errorf("%s %s: %s = %v, want %s", r["dataset"], r["F"], column, got, r[column])
			}
		}
	}
}

// ref: an amplifier test of 1989 with duplicate pairs, in which most pairs differed and most answers were 'different'.
// The corrections for continuity are not offered: Fisher's test is exact.
func TestBiasedListenersEndToEnd(t *testing.T) {
	want := map[string]float64{}
	for _, r := range table(t, "same_different_bias") {
		want[r["quantity"]] = r.float(t, "value")
	}
	c := stats.Pairs{Hits: int(want["hits (D|D)"]), Misses: int(want["misses"]), FalseAlarms: int(want["false alarms (D|S)"]), CorrectRejections: int(want["correct rejections"])}
	s, err := stats.ScorePairs(c, stats.ScoreConfig{})
	must(t, err)
	nd, ns := float64(c.Hits+c.Misses), float64(c.FalseAlarms+c.CorrectRejections)
	said := float64(c.Hits+c.FalseAlarms) / (nd + ns)
	expected := said*nd + (1-said)*ns // correct answers of a listener who says 'different' as often, regardless of the pair
	half, err := stats.BinomialTest(s.Correct, s.Trials, 0.5)
	must(t, err)
	biased, err := stats.BinomialTest(s.Correct, s.Trials, expected/(nd+ns))
	must(t, err)
	chi2 := stats.TestHeterogeneity([]stats.Count{{Correct: c.Hits, Trials: c.Hits + c.Misses}, {Correct: c.FalseAlarms, Trials: c.FalseAlarms + c.CorrectRejections}})
	for name, got := range map[string]float64{
		"H": s.HitRate, "F": s.FalseAlarmRate, "zH-zF": s.ZDifference, "tau": s.Criterion, "dprime_differencing": s.DPrimeDifferencing,
		"chi2_nocc": chi2.Chi2, "p_nocc": chi2.P, "fisher_one_sided_p": s.P, "expected_correct_given_margins": expected,
		"expected_pct": 100 * expected / (nd + ns), "binomial_p_upper_vs_half": half.P, "binomial_p_upper_vs_0.50936": biased.P,
	} {
		if !near(got, want[name], 1e-8) {
			t.Errorf("%s: %v, want %v", name, got, want[name])
		}
	}
}
