package stats_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"heardiff/stats"
)

// ref: ISO 10399:2004, table A.1 (duo-trio), from a printed copy; ISO 4120's critical numbers (triangle) from FAO document
// V7180E, appendix A. Row 22 of the first repeats row 21 and exceeds its risk: it is listed as a misprint.
func TestCriticalNumbersOfTheStandards(t *testing.T) {
	for name, p0 := range map[string]float64{"iso10399_table_a1": 0.5, "triangle_table": 1.0 / 3} {
		wrong := 0
		for _, r := range table(t, name) {
			n, alpha := r.int(t, "n"), r.float(t, "alpha")
			k, _, ok := stats.CriticalCount(n, p0, alpha)
			if !ok {
				k = -1
			}
			if k != r.int(t, "computed_k") {
				t.Errorf("%s: n %d at %v: %d, computed elsewhere %s", name, n, alpha, k, r["computed_k"])
			}
			if k == r.int(t, "published_k") {
				continue
			}
			wrong++
			if tail, err := stats.BinomialTest(r.int(t, "published_k"), n, p0); n != 22 || err != nil || tail.P <= alpha {
				t.Errorf("%s: n %d at %v: %d, printed %s", name, n, alpha, k, r["published_k"])
			}
		}
		if want := map[string]int{"iso10399_table_a1": 3, "triangle_table": 0}[name]; wrong != want {
			t.Errorf("%s: %d cells are misprinted, want %d", name, wrong, want)
		}
	}
}

var procedureColumns = map[string]stats.Procedure{
	"abx_io": stats.ABXObservations, "abx_diff": stats.DuoTrio, "duotrio": stats.DuoTrio, "duotrio_abxdiff": stats.DuoTrio,
	"afc2": stats.TwoChoices, "afc3": stats.ThreeChoices, "triangle": stats.Triangle, "tetrad": stats.Tetrad,
}

func TestProceduresAgreeWithScipy(t *testing.T) {
	for _, r := range table(t, "pc_from_dprime") {
		for column, p := range procedureColumns {
			if got := p.Correct(r.float(t, "dprime")); r[column] != "" && !near(got, r.float(t, column), printed) {
				t.Errorf("%s at %s: %v, want %s", column, r["dprime"], got, r[column])
			}
		}
		d := r.float(t, "dprime")
		if got := 0.5 * math.Erfc(-d/2/math.Sqrt2); !near(got, r.float(t, "yes_no_unbiased"), printed) {
			t.Errorf("yes-no at %v: %v", d, got)
		}
		if got := mostCorrect(d, r.float(t, "tau_opt")); !near(got, r.float(t, "same_diff_diff_max"), printed) {
			t.Errorf("duplicate pairs by differencing at %v: %v, want %s", d, got, r["same_diff_diff_max"])
		}
	}
	for _, r := range table(t, "dprime_from_pc") {
		pc := r.float(t, "pc")
		for column, p := range procedureColumns {
			// Near d′ = 0 the curve is flat: both roots are accurate to about √ε.
			if r[column] != "" && math.Abs(p.DPrime(pc)-r.float(t, column)) > 1e-7 {
				t.Errorf("%s at %v: %v, want %s", column, pc, p.DPrime(pc), r[column])
			}
		}
		if r["same_diff_io_unbiased"] != "" {
			if got := stats.PairIndependent(2 * stats.NormalQuantile(pc)); math.Abs(got-r.float(t, "same_diff_io_unbiased")) > 1e-7 {
				t.Errorf("duplicate pair, independent, at %v: %v, want %s", pc, got, r["same_diff_io_unbiased"])
			}
		}
	}
}

// mostCorrect is the proportion correct with half same and half different pairs at criterion tau.
func mostCorrect(d, tau float64) float64 {
	return (stats.DifferencingHit(d, tau) + 1 - stats.DifferencingHit(0, tau)) / 2
}

// ref: B of Bi, Ennis & O'Mahony (1997): the variance of d′ is B/n.
func TestVarianceOfDPrimeAgreesWithScipy(t *testing.T) {
	for _, r := range table(t, "dprime_variance") {
		d := r.float(t, "dprime")
		for column, p := range procedureColumns {
			if r["B_"+column] == "" {
				continue
			}
			pc, slope := p.Correct(d), p.Slope(d)
			if b := pc * (1 - pc) / (slope * slope); !near(slope, r.float(t, "dpc_dd_"+column), 1e-10) || !near(b, r.float(t, "B_"+column), 1e-10) {
				t.Errorf("%s at %v: slope %v, B %v; want %s, %s", column, d, slope, b, r["dpc_dd_"+column], r["B_"+column])
			}
		}
	}
}

func TestDPrimeOfCountsOfEveryProcedureAgreesWithScipy(t *testing.T) {
	for _, r := range table(t, "dprime_from_counts") {
		p, k, n := procedureColumns[r["method"]], r.int(t, "k"), r.int(t, "n")
		v, err := stats.ProportionIntervals(k, n, 0.95)
		must(t, err)
		for column, got := range map[string]float64{
			"dprime": p.DPrime(float64(k) / float64(n)), "se": p.DPrimeError(k, n),
			"d_lo95": p.DPrime(v.ClopperPearson[0]), "d_hi95": p.DPrime(v.ClopperPearson[1]),
		} {
			if r[column] == "" || r[column] == "inf" {
				if !math.IsNaN(got) {
					t.Errorf("%s of %d, %s: %s = %v, want not measurable", r["k"], n, r["method"], column, got)
				}
			} else if !near(got, r.float(t, column), 1e-7) {
				t.Errorf("%d of %d, %s: %s = %v, want %s", k, n, r["method"], column, got, r[column])
			}
		}
	}
}

// Four million simulated listeners of each model; 4.4 standard errors.
func TestModelsAgreeWithSimulation(t *testing.T) {
	for _, r := range table(t, "montecarlo_check") {
		d := r.float(t, "dprime")
		pc := stats.PairUnbiased(d)
		if p, ok := procedureColumns[r["method"]]; ok {
			pc = p.Correct(d)
		} else if r["method"] == "same_diff_diff_max" {
			pc = mostCorrect(d, math.Acosh(math.Exp(d*d/4))*2/d)
		}
		if math.Abs(pc-r.float(t, "pc_mc")) > 4.4*r.float(t, "mc_se") {
			t.Errorf("%s at %v: %v, simulated %s", r["method"], d, pc, r["pc_mc"])
		}
	}
}

// ref: Hautus (1995), for rates of 0 and 1; other rates are not corrected.
func TestCorrectedRatesAgreeWithScipy(t *testing.T) {
	for _, r := range table(t, "loglinear_yesno") {
		h, nd, f, ns := r.int(t, "hits"), r.int(t, "n_signal"), r.int(t, "false_alarms"), r.int(t, "n_noise")
		s, err := stats.ScorePairs(stats.Pairs{Hits: h, Misses: nd - h, FalseAlarms: f, CorrectRejections: ns - f}, stats.ScoreConfig{})
		must(t, err)
		column := "dprime_raw"
		if r[column] == "" {
			column = "dprime_loglin"
		}
		if s.Corrected != (column == "dprime_loglin") || !near(s.ZDifference, r.float(t, column), 1e-10) {
			t.Errorf("%v: zH − zF %v, corrected %v", r, s.ZDifference, s.Corrected)
		}
	}
}

func TestSimilarityCountsAgreeWithR(t *testing.T) {
	for _, r := range table(t, "similarity_kmax") {
		n, p0, pd, beta := r.int(t, "n"), r.float(t, "p0"), r.float(t, "pd"), r.float(t, "beta")
		k, ok := stats.LargestRulingOut(n, p0, pd, beta)
		if !ok {
			k = -1
		}
		plan := stats.RulingOutAt(n, p0, pd, 0, beta)
		if k != r.int(t, "k_max_similar") || ok && (!near(plan.Risk, r.float(t, "tail_prob"), 1e-7) || !near(plan.Power, r.float(t, "prob_conclude_similar_if_pd0"), 1e-7)) {
			t.Errorf("n %d, p_d %v at %v: %d, %+v; want %v", n, pd, beta, k, plan, r)
		}
	}
}

func TestCorrectionsKeepTheOrderGiven(t *testing.T) {
	rows := table(t, "p_adjust_unsorted")
	var ln []float64
	for _, r := range rows {
		ln = append(ln, math.Log(r.float(t, "p")))
	}
	holm, bh := stats.Holm(ln), stats.BenjaminiHochberg(ln)
	for i, r := range rows {
		if !near(math.Exp(holm[i]), r.float(t, "holm"), 1e-9) || !near(math.Exp(bh[i]), r.float(t, "BH"), 1e-9) {
			t.Errorf("row %d: Holm %v, Benjamini–Hochberg %v; want %v", i+1, math.Exp(holm[i]), math.Exp(bh[i]), r)
		}
	}
}

func TestStoufferAgreesWithR(t *testing.T) {
	for _, r := range table(t, "combine_p") {
		var z, one, root []float64
		trials := strings.Fields(r["n"])
		for i, p := range strings.Fields(r["p"]) {
			z, one = append(z, -stats.NormalQuantile(record{"p": p}.float(t, "p"))), append(one, 1)
			if len(trials) > 0 {
				root = append(root, math.Sqrt(record{"n": trials[i]}.float(t, "n")))
			}
		}
		if got := math.Exp(stats.Stouffer(z, one)); !near(got, r.float(t, "stouffer_p"), 1e-8) {
			t.Errorf("%s: %v, want %s", r["example"], got, r["stouffer_p"])
		}
		if len(root) == 0 {
			continue
		}
		if got := math.Exp(stats.Stouffer(z, root)); !near(got, r.float(t, "stouffer_w_p"), 1e-8) {
			t.Errorf("%s, weighted: %v, want %s", r["example"], got, r["stouffer_w_p"])
		}
	}
}

// The cost of looking early, for every rule and every spacing of looks in the table.
func TestPeekingByEveryRuleAgreesWithScipy(t *testing.T) {
	for _, r := range table(t, "peeking_inflation") {
		n, alpha := r.int(t, "n_max"), r.float(t, "nominal_alpha")
		every, from := 1, 1
		if _, err := fmt.Sscanf(r["looks"], "every %d trials", &every); err == nil {
			from = every
		} else if _, err := fmt.Sscanf(r["looks"], "every trial from n=%d", &from); err != nil {
			t.Fatalf("looks %q", r["looks"])
		}
		var l stats.Looks
		for i := from; i <= n; i += every {
			heard := decidingCount(i, alpha, r["p_type"])
			l.Trials, l.Heard, l.RuledOut = append(l.Trials, i), append(l.Heard, heard), append(l.RuledOut, -1)
			if r["p_type"] == "exact_two_sided_doubled" {
				l.RuledOut[len(l.RuledOut)-1] = i - heard // so few that the opposite tail is significant
			}
		}
		c := l.Course(0.5)
		if got := c.Heard + c.RuledOut; !near(got, r.float(t, "prob_false_positive_by_n_max"), 1e-9) {
			t.Errorf("%v: %v", r, got)
		}
	}
}

// decidingCount returns the smallest count at or above n/2 that a rule calls significant, n + 1 if none.
func decidingCount(n int, alpha float64, rule string) int {
	z := -stats.NormalQuantile(alpha)
	for k := (n + 1) / 2; k <= n; k++ {
		b, err := stats.BinomialTest(k, n, 0.5)
		if err != nil {
			return n + 1
		}
		p := map[string]float64{"exact_p": b.P, "mid_p": b.MidP, "exact_two_sided_doubled": 2 * b.P}[rule]
		if rule == "normal_z_no_cc" && (float64(k)-float64(n)/2)/math.Sqrt(float64(n)/4) >= z || rule != "normal_z_no_cc" && p <= alpha*(1+1e-11) {
			return k
		}
	}
	return n + 1
}

// Intervals that this package does not offer: Wald's is meaningless near 0 and 1, Agresti and Coull's leaves [0, 1],
// Wilson's with continuity correction imitates the exact interval, and the unmodified Jeffreys interval misses 0 and 1.
// Their closed forms check the quantile that Wilson's interval uses; the package's own intervals never leave [0, 1].
func TestIntervalsNotOffered(t *testing.T) {
	left := 0
	for _, r := range table(t, "binom_ci") {
		k, n, z := r.float(t, "k"), r.float(t, "n"), stats.NormalQuantile((1+r.float(t, "conf"))/2)
		v, err := stats.ProportionIntervals(int(k), int(n), r.float(t, "conf"))
		must(t, err)
		p := k / n
		var centre, half float64
		switch r["method"] {
		case "wilson_cc":
			lo, hi := wilsonContinuity(k, n, z), 1-wilsonContinuity(n-k, n, z)
			centre, half = (lo+hi)/2, (hi-lo)/2
		case "wald":
			centre, half = p, z*math.Sqrt(p*(1-p)/n)
		case "agresti_coull":
			m := n + z*z
			centre = (k + z*z/2) / m
			half = z * math.Sqrt(centre*(1-centre)/m)
		case "jeffreys":
			if lo, hi := v.Jeffreys[0], v.Jeffreys[1]; k > 0 && !near(lo, r.float(t, "lower"), 1e-10) || k < n && !near(hi, r.float(t, "upper"), 1e-10) {
				t.Errorf("%v: %v", r, v.Jeffreys)
			}
			continue
		case "likelihood_ratio":
			if !near(v.Likelihood[0], r.float(t, "lower"), 1e-8) || !near(v.Likelihood[1], r.float(t, "upper"), 1e-8) {
				t.Errorf("%v: %v", r, v.Likelihood)
			}
			continue
		default:
			continue
		}
		if math.Abs(centre-half-r.float(t, "lower")) > 1e-10 || math.Abs(centre+half-r.float(t, "upper")) > 1e-10 {
			t.Errorf("%v: %v ± %v", r, centre, half)
		}
		if r["method"] != "wilson_cc" && (centre-half < 0 || centre+half > 1) {
			left++
		}
		for _, iv := range [][2]float64{v.ClopperPearson, v.Wilson, v.Jeffreys, v.MidP, v.Likelihood} {
			if !(iv[0] >= 0 && iv[0] <= p && p <= iv[1] && iv[1] <= 1) {
				t.Errorf("%s of %s: %v", r["k"], r["n"], iv)
			}
		}
	}
	if left == 0 {
		t.Error("no interval of those left [0, 1]: the table has lost its rows at the ends")
	}
}

// ref: Newcombe (1998), method 4.
func wilsonContinuity(k, n, z float64) float64 {
	if k == 0 {
		return 0
	}
	p := k / n
	return (2*k + z*z - 1 - z*math.Sqrt(z*z-2-1/n+4*p*(n*(1-p)+1))) / (2 * (n + z*z))
}
