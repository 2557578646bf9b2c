package stats_test

import (
	"math"
	"strings"
	"testing"

	"heardiff/stats"
)

// loose are the published values that do not agree to half a unit of their last digit, because the publisher's root finder
// or maximiser stopped early. Each has its own tolerance in halves of that unit, slightly above its deviation.
var loose = map[string]struct {
	halves float64
	reason string
}{
	"duo-trio d at pc=0.75":                 {53, "root found to 1e-4; p at our root is 0.75 to 15 digits"},
	"duo-trio d at pc=0.8":                  {4, "root found to 1e-4"},
	"duo-trio d at pc=0.85":                 {19, "root found to 1e-4"},
	"duo-trio SE at 15/20":                  {96, "slope taken at such a root"},
	"duo-trio SE at pc .8 se(pc)=.1":        {12, "slope taken at such a root"},
	"LR upper pc 7/10":                      {185, "root found to 1e-4"},
	"LR upper d duo-trio 7/10":              {2614, "that limit, mapped"},
	"yes-no SE 10/20 vs 3/20":               {6, "differs in the seventh digit from the closed form"},
	"yes-no SE 8/25 vs 1/25":                {2, "differs in the seventh digit from the closed form"},
	"same-different profile CI delta upper": {35, "interpolated between points of a profile"},
	"same-different profile CI tau lower":   {39, "interpolated between points of a profile"},
	"same-different profile CI tau upper":   {3, "interpolated between points of a profile"},
	"beta-binomial se mu 18 assessors":      {1.2, "numerical second derivative"},
	"Hunter exp2 chance-corrected gamma":    {1.3, "a flat maximum, which we find to 2e-8"},
	"beetle logit se b0":                    {21.1, "iterations stopped at 2.5e-6"},
	"beetle logit se b1":                    {12.3, "iterations stopped at 2.5e-6"},
}

// Each of the published values against this package: to half a unit of its last printed digit, except for those named
// above; and against the same value computed with R 4.2.2 or scipy 1.10.1, to nine digits (to the printed ones where they
// are fewer).
func TestPublishedValues(t *testing.T) {
	got := publishedQuantities(t)
	rows := table(t, "published_checks")
	if len(rows) != 103 {
		t.Fatalf("%d rows, want 103", len(rows))
	}
	for _, r := range rows {
		name := r["quantity"]
		value, ok := got[name]
		if !ok {
			t.Errorf("nothing computes %q", name)
			continue
		}
		half := halfLastDigit(r["published"]) * (1 + 1e-6)
		if l, is := loose[name]; is {
			if off := math.Abs(value - r.float(t, "published")); off <= half {
				t.Errorf("%s: agrees, so it is not loose", name)
			} else if half *= l.halves; off > half {
				t.Errorf("%s: %.12g is off by more than %v halves of the last digit of %s (%s)", name, value, l.halves, r["published"], l.reason)
			}
		} else if math.Abs(value-r.float(t, "published")) > half {
			t.Errorf("%s: %.12g, published %s", name, value, r["published"])
		}
		if want := r.float(t, "computed"); math.Abs(value-want) > math.Max(1.1*halfLastDigit(r["computed"]), computedTo(name)*math.Abs(want)) {
			t.Errorf("%s: %.12g, computed elsewhere %s", name, value, r["computed"])
		}
	}
}

// halfLastDigit returns half a unit of the last digit printed.
func halfLastDigit(printed string) float64 {
	_, decimals, _ := strings.Cut(printed, ".")
	return 0.5 * math.Pow10(-len(decimals))
}

// computedTo is the accuracy of the value computed by the reference program: nine digits for exact formulas, less for
// results of a general optimiser at a flat maximum.
func computedTo(name string) float64 {
	for _, part := range []string{"beta-binomial", "chance-corrected", "profile", "same-different", "BCG", "beetle"} {
		if strings.Contains(name, part) {
			return 2e-6
		}
	}
	return 1e-9
}

// publishedQuantities computes all values, by their names in the table.
func publishedQuantities(t *testing.T) map[string]float64 {
	t.Helper()
	all := map[string]float64{}
	for _, add := range []func(*testing.T, map[string]float64){
		addProcedures, addBinomial, addPlans, addLikelihood, addYesNo, addPairs, addNewcombe, addAssessors, addChanceCorrected, addBeetles, addVaccines,
	} {
		add(t, all)
	}
	return all
}

func addProcedures(_ *testing.T, all map[string]float64) {
	for _, c := range []struct {
		d, se string // names in the table, "" where the table has no such row
		p     stats.Procedure
		k, n  int
	}{
		{"2AFC d-prime for 10/15", "2AFC SE(d-prime) for 10/15", stats.TwoChoices, 10, 15},
		{"3AFC d-prime for 10/15", "3AFC SE(d-prime) for 10/15", stats.ThreeChoices, 10, 15},
		{"duo-trio(=ABX differencing) d-prime for 10/15", "duo-trio(=ABX differencing) SE(d-prime) for 10/15", stats.DuoTrio, 10, 15},
		{"triangle d-prime for 10/15", "triangle SE(d-prime) for 10/15", stats.Triangle, 10, 15},
		{"tetrad d-prime for 10/15", "tetrad SE(d-prime) for 10/15", stats.Tetrad, 10, 15},
		{"triangle d for 10/19", "triangle SE 10/19", stats.Triangle, 10, 19},
		{"3AFC d for 10/12", "3AFC SE 10/12", stats.ThreeChoices, 10, 12},
		{"2AFC d for 10/18", "", stats.TwoChoices, 10, 18},
		{"duo-trio d 7/10", "duo-trio SE 7/10", stats.DuoTrio, 7, 10},
		{"", "duo-trio SE at 15/20", stats.DuoTrio, 15, 20},
	} {
		all[c.d] = c.p.DPrime(float64(c.k) / float64(c.n))
		all[c.se] = c.p.DPrimeError(c.k, c.n)
	}
	all["duo-trio d at pc=0.75"] = stats.DuoTrio.DPrime(0.75)
	all["duo-trio d at pc=0.8"] = stats.DuoTrio.DPrime(0.8)
	all["duo-trio d at pc=0.85"] = stats.DuoTrio.DPrime(0.85)
	all["duo-trio SE at pc .8 se(pc)=.1"] = 0.1 / stats.DuoTrio.Slope(stats.DuoTrio.DPrime(0.8))
	all["triangle pc at d=2"] = stats.Triangle.Correct(2)
	all["2AFC d at pc=.8"] = stats.TwoChoices.DPrime(0.8)
	all["duo-trio slope at d=2"] = stats.DuoTrio.Slope(2)
	all["AUC=Phi(d/sqrt2) at 1.553861"] = stats.TwoChoices.Correct(1.553861)
}

func addBinomial(t *testing.T, all map[string]float64) {
	p, err := stats.BinomialTest(10, 15, 0.5)
	must(t, err)
	all["exact p 10/15 p0=1/2"] = p.P
	for c, confidence := range map[string]float64{"95": 0.95, "90": 0.9} {
		v, err := stats.ProportionIntervals(10, 15, confidence)
		must(t, err)
		all["CP upper "+c+" 10/15"] = v.ClopperPearson[1]
		all["2AFC d upper "+c+" 10/15"] = stats.TwoChoices.DPrime(v.ClopperPearson[1])
		all["duo-trio d upper "+c+" 10/15"] = stats.DuoTrio.DPrime(v.ClopperPearson[1])
	}
	similar, err := stats.BinomialTest(20, 75, 1.0/3+2.0/3*0.2)
	must(t, err)
	all["similarity exact p triangle 20/75 pd0=.2"] = similar.Below
	v, err := stats.ProportionIntervals(20, 75, 0.95)
	must(t, err)
	all["triangle CP upper 95 20/75"] = v.ClopperPearson[1]
}

func addPlans(t *testing.T, all map[string]float64) {
	afc := stats.TwoChoices.Correct(1)
	plan, err := stats.PowerAt(30, 0.5, afc, 0.05)
	must(t, err)
	all["power 2AFC d=1 n=30 alpha .05"] = plan.Power
	all["similarity power pdA=.1 pd0=.2 n=100 p0=1/3"] = stats.RulingOutAt(100, 1.0/3, 0.2, 0.1, 0.05).Power
	// 'First-hit': the smallest n that reaches the power, although larger n may miss it.
	first := func(reached func(n int) bool) float64 {
		n := 1
		for !reached(n) {
			n++
		}
		return float64(n)
	}
	reaches := func(p, power float64) func(int) bool {
		return func(n int) bool {
			plan, err := stats.PowerAt(n, 0.5, p, 0.05)
			must(t, err)
			return plan.Power >= power
		}
	}
	all["smallest n pd=.5 power .8 alpha .05 p0=1/2 (first-hit)"] = first(reaches(0.75, 0.8))
	all["smallest n 2AFC d=1 power .9 (first-hit)"] = first(reaches(afc, 0.9))
	all["smallest n similarity pdA=.1 pd0=.2 power .8 p0=1/2 (first-hit)"] = first(func(n int) bool {
		return stats.RulingOutAt(n, 0.5, 0.2, 0.1, 0.05).Power >= 0.8
	})
	k, _, _ := stats.CriticalCount(25, 1.0/3, 0.05)
	all["critical number triangle n=25 .05"] = float64(k)
	k, _ = stats.LargestRulingOut(25, 1.0/3, 0.2, 0.05)
	all["similarity critical triangle n=25 pd0=.2"] = float64(k)
}

func addLikelihood(t *testing.T, all map[string]float64) {
	var err error
	all["likelihood root 10/15 vs 1/3"], _, err = stats.LikelihoodRoot(10, 15, 1.0/3)
	must(t, err)
	all["likelihood root 7/10 vs 1/2"], all["p of likelihood root 7/10 vs 1/2"], err = stats.LikelihoodRoot(7, 10, 0.5)
	must(t, err)
	v, err := stats.ProportionIntervals(7, 10, 0.95)
	must(t, err)
	all["LR upper pc 7/10"] = v.Likelihood[1]
	all["LR upper d duo-trio 7/10"] = stats.DuoTrio.DPrime(v.Likelihood[1])
}

// ref: Gourevitch & Galanter (1967) for the standard error of zH − zF.
func addYesNo(t *testing.T, all map[string]float64) {
	variance := func(k, n int) float64 {
		p := float64(k) / float64(n)
		z := stats.NormalQuantile(p)
		return p * (1 - p) / float64(n) * 2 * math.Pi * math.Exp(z*z)
	}
	for _, c := range []struct {
		d, se    string
		h, f, of int
	}{
		{"yes-no d' 10/20 vs 3/20", "yes-no SE 10/20 vs 3/20", 10, 3, 20},
		{"yes-no d' 8/25 vs 1/25", "yes-no SE 8/25 vs 1/25", 8, 1, 25},
	} {
		all[c.d] = zDifference(t, c.h, c.f, c.of)
		all[c.se] = math.Sqrt(variance(c.h, c.of) + variance(c.f, c.of))
	}
	// Six-point ratings of 375 old and 375 new odours (Macmillan & Creelman 2005, chapter 3). The source does not print the
	// counts; these are the only ones up to 420 that give all five d′ to twelve digits.
	for i, c := range [][2]int{{112, 7}, {224, 45}, {296, 95}, {349, 212}, {371, 313}} {
		all["odor rating d' criterion "+string(rune('1'+i))] = zDifference(t, c[0], c[1], 375)
	}
}

func zDifference(t *testing.T, hits, falseAlarms, n int) float64 {
	t.Helper()
	s, err := stats.ScorePairs(stats.Pairs{Hits: hits, Misses: n - hits, FalseAlarms: falseAlarms, CorrectRejections: n - falseAlarms}, stats.ScoreConfig{})
	must(t, err)
	return s.ZDifference
}

func addPairs(t *testing.T, all map[string]float64) {
	s, err := stats.ScorePairs(stats.Pairs{Hits: 9, Misses: 4, FalseAlarms: 5, CorrectRejections: 8}, stats.ScoreConfig{})
	must(t, err)
	all["same-different tau (8;5;4;9)"], all["same-different delta"] = s.Criterion, s.DPrimeDifferencing
	all["same-different logLik (no constants)"] = s.LogLikelihood
	all["same-different profile CI delta upper"] = s.DPrimeDifferencingInterval[1]
	all["same-different profile CI tau lower"], all["same-different profile CI tau upper"] = s.CriterionInterval[0], s.CriterionInterval[1]
	all["same-different one-sided LR p(delta>0) = 1-Phi(sqrt LR)"] = s.PLikelihood
	// Delta method: τ follows from F alone, δ from H and τ. Derivatives as central differences.
	const h = 1e-5
	slope := func(f func(float64) float64, x float64) float64 { return (f(x+h) - f(x-h)) / (2 * h) }
	varH, varF := s.HitRate*(1-s.HitRate)/13, s.FalseAlarmRate*(1-s.FalseAlarmRate)/13
	seTau := math.Abs(slope(stats.DifferencingCriterion, s.FalseAlarmRate)) * math.Sqrt(varF)
	byD := slope(func(d float64) float64 { return stats.DifferencingHit(d, s.Criterion) }, s.DPrimeDifferencing)
	byTau := slope(func(tau float64) float64 { return stats.DifferencingHit(s.DPrimeDifferencing, tau) }, s.Criterion)
	all["same-different SE tau"] = seTau
	all["same-different SE delta"] = math.Sqrt(varH+math.Pow(byTau*seTau, 2)) / byD
}

func addNewcombe(t *testing.T, all map[string]float64) {
	for name, c := range map[string][2]int{"81/263": {81, 263}, "15/148": {15, 148}, "0/20": {0, 20}, "1/29": {1, 29}} {
		v, err := stats.ProportionIntervals(c[0], c[1], 0.95)
		must(t, err)
		for i, end := range []string{"lower", "upper"} {
			all["Clopper-Pearson "+end+" "+name], all["Wilson "+end+" "+name] = v.ClopperPearson[i], v.Wilson[i]
		}
	}
}

// Eighteen assessors who differ.
func addAssessors(t *testing.T, all map[string]float64) {
	counts := assessors(t, "assessors18")
	b := stats.FitBetaBinomial(counts, 0.95)
	ln := func(mu, rho float64) float64 { return stats.BetaBinomialLikelihood(counts, mu, rho) }
	all["beta-binomial mu 18 assessors"], all["beta-binomial gamma 18 assessors"] = b.Mean, b.Rho
	all["beta-binomial logLik 18 assessors"], all["beta-binomial G2 overdispersion 18 assessors"] = b.Likelihood, b.LR
	all["beta-binomial G2 association df2 18 assessors"] = 2 * (b.Likelihood - ln(0.5, 0))
	// Standard errors from the curvature at the maximum.
	const h = 1e-4
	mm := (ln(b.Mean+h, b.Rho) - 2*ln(b.Mean, b.Rho) + ln(b.Mean-h, b.Rho)) / (h * h)
	rr := (ln(b.Mean, b.Rho+h) - 2*ln(b.Mean, b.Rho) + ln(b.Mean, b.Rho-h)) / (h * h)
	mr := (ln(b.Mean+h, b.Rho+h) - ln(b.Mean+h, b.Rho-h) - ln(b.Mean-h, b.Rho+h) + ln(b.Mean-h, b.Rho-h)) / (4 * h * h)
	det := mm*rr - mr*mr
	all["beta-binomial se mu 18 assessors"], all["beta-binomial se gamma 18 assessors"] = math.Sqrt(-rr/det), math.Sqrt(-mm/det)
}

// assessors returns the counts of one data set.
func assessors(t *testing.T, dataset string) []stats.Count {
	t.Helper()
	var counts []stats.Count
	for _, r := range table(t, "overdispersion_data") {
		if r["dataset"] == dataset {
			counts = append(counts, stats.Count{Correct: r.int(t, "x"), Trials: r.int(t, "n")})
		}
	}
	return counts
}

func addChanceCorrected(t *testing.T, all map[string]float64) {
	a, b := stats.FitDiscriminators(assessors(t, "assessors18"), 0.5, 0.95), stats.FitDiscriminators(assessors(t, "hunter_exp2"), 1.0/3, 0.95)
	all["chance-corrected mu 2-AFC/duo-trio"], all["chance-corrected gamma"] = a.Mean, a.Rho
	all["Hunter exp2 chance-corrected mu triangle"], all["Hunter exp2 chance-corrected gamma"] = b.Mean, b.Rho
}

// Beetles killed by a gas (Bliss 1935): a logistic curve in the dose itself, nothing killed without it.
func addBeetles(t *testing.T, all map[string]float64) {
	var points []stats.DosePoint
	for _, r := range table(t, "beetle_data") {
		points = append(points, stats.DosePoint{Dose: r.float(t, "dose"), Correct: r.int(t, "y"), Trials: r.int(t, "n")})
	}
	f, err := stats.FitCurve(points, stats.FitConfig{Shape: stats.Logistic, NoGuess: true, Linear: true})
	must(t, err)
	all["beetle logit b0"], all["beetle logit b1"], all["beetle logit deviance"] = -f.Slope*f.Threshold, f.Slope, f.Deviance
	var w, wx, wxx float64 // the expected information of b0 and b1
	for _, p := range points {
		q := f.At(p.Dose)
		v := float64(p.Trials) * q * (1 - q)
		w, wx, wxx = w+v, wx+v*p.Dose, wxx+v*p.Dose*p.Dose
	}
	det := w*wxx - wx*wx
	all["beetle logit se b0"], all["beetle logit se b1"] = math.Sqrt(wxx/det), math.Sqrt(w/det)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// Thirteen trials of a vaccine: log risk ratios under random effects, by restricted maximum likelihood.
func addVaccines(t *testing.T, all map[string]float64) {
	m, err := stats.CombineEffects(effectsOf(t, "bcg"), 0.95)
	must(t, err)
	r := m.RestrictedMaximum
	spread := stats.NormalQuantile(0.975) * math.Sqrt(r.Tau2+r.SE*r.SE) // published with the normal quantile
	all["BCG Q"], all["BCG REML tau2"], all["BCG I2"] = m.Q, r.Tau2, 100*r.I2
	all["BCG REML RR"], all["BCG RR lo"], all["BCG RR hi"] = math.Exp(r.Mean), math.Exp(r.Wald[0]), math.Exp(r.Wald[1])
	all["BCG PI lo"], all["BCG PI hi"] = math.Exp(r.Mean-spread), math.Exp(r.Mean+spread)
}
