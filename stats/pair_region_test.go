package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// pairTables calls f for every table of up to most pairs of each kind.
func pairTables(most int, f func(Pairs)) {
	for different := 1; different <= most; different++ {
		for hits := range different + 1 {
			for same := 1; same <= most; same++ {
				for alarms := range same + 1 {
					f(Pairs{hits, different - hits, alarms, same - alarms})
				}
			}
		}
	}
}

// scannedProfile returns the largest log-likelihood at d′, from a dense scan over the criterion and a search around the
// best few points. Rates come from the error function, not from the routines under test.
func scannedProfile(c Pairs, d float64, rates func(d, at float64) (h, f float64), from, to float64) float64 {
	ln := func(at float64) float64 {
		h, f := rates(d, at)
		sum := 0.0
		for _, term := range []struct {
			n int
			p float64
		}{{c.Hits, h}, {c.Misses, 1 - h}, {c.FalseAlarms, f}, {c.CorrectRejections, 1 - f}} {
			if term.n > 0 {
				sum += float64(term.n) * math.Log(term.p)
			}
		}
		return sum
	}
	const step = 0.02
	best, at := math.Inf(-1), from
	for x := from; x <= to; x += step {
		if v := ln(x); v > best {
			best, at = v, x
		}
	}
	lo, hi := math.Max(from, at-step), at+step
	for range 60 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if ln(a) < ln(b) {
			lo = a
		} else {
			hi = b
		}
	}
	return math.Max(best, ln((lo+hi)/2))
}

func upperArea(x float64) float64 { return math.Erfc(x/math.Sqrt2) / 2 }

// differencingRates and independentRates spell out the two models: the differencing model by the criterion, the
// independent model by zH − zF and the mean of zH and zF.
func differencingRates(d, tau float64) (h, f float64) {
	return upperArea((tau-d)/math.Sqrt2) + upperArea((tau+d)/math.Sqrt2), 2 * upperArea(tau/math.Sqrt2)
}

func independentRates(z, middle float64) (h, f float64) {
	return upperArea(-middle - z/2), upperArea(-middle + z/2)
}

// zOf returns zH − zF for a d′ of the independent model.
func zOf(d float64) float64 {
	root := 2*upperArea(-d/2) - 1
	return 2 * normalQuantile((1+root*root)/2)
}

// At every end twice the log-likelihood has fallen by the 95 % quantile of χ²₁, 3.8415, from its largest value over d′ ≥ 0;
// a lower end of 0 is within that; where there is no upper end, a d′ of 12 is still within. The range has no gaps (see
// pairRegion), so the ends define it. All tables of up to 6 pairs of each kind (with -full up to 12), and larger random ones.
func TestEndsOfDPrimeAgreeWithADenseScan(t *testing.T) {
	most, drawn := 5, 60
	if *full {
		most, drawn = 12, 2000
	}
	tables := 0
	pairTables(most, func(c Pairs) { checkPairEnds(t, c); tables++ })
	random := rand.New(rand.NewPCG(7, 16))
	for range drawn {
		different, same := 1+random.IntN(100), 1+random.IntN(100)
		hits, alarms := random.IntN(different+1), random.IntN(same+1)
		checkPairEnds(t, Pairs{hits, different - hits, alarms, same - alarms})
	}
	checkPairEnds(t, Pairs{9, 1, 30, 50})
	t.Logf("%d tables of up to %d pairs a kind, and %d larger ones", tables, most, drawn)
}

func checkPairEnds(t *testing.T, c Pairs) {
	t.Helper()
	s, err := ScorePairs(c, ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	const fall = 3.841458820694124 // R 4.2: qchisq(0.95, 1)
	h, f := rate(c.Hits, c.Misses), rate(c.FalseAlarms, c.CorrectRejections)
	largest := c.lnPairs(h, f)
	if h < f {
		both := rate(c.Hits+c.FalseAlarms, c.Misses+c.CorrectRejections)
		largest = c.lnPairs(both, both)
	}
	for name, iv := range map[string][2]float64{"differencing": s.DPrimeDifferencingInterval, "independent": s.DPrimeInterval} {
		fallen := func(d float64) float64 {
			if name == "independent" {
				return 2 * (largest - scannedProfile(c, zOf(d), independentRates, -8, 8))
			}
			return 2 * (largest - scannedProfile(c, d, differencingRates, 0, d+8))
		}
		if low := fallen(iv[0]); iv[0] > 0 && math.Abs(low-fall) > 1e-5 || iv[0] == 0 && low > fall+1e-9 {
			t.Errorf("%+v: %s d' from %v, where the likelihood has fallen by %v", c, name, iv[0], low)
		}
		switch {
		case !math.IsNaN(iv[1]):
			if high := fallen(iv[1]); math.Abs(high-fall) > 1e-5 {
				t.Errorf("%+v: %s d' to %v, where the likelihood has fallen by %v", c, name, iv[1], high)
			}
		case fallen(12) > fall:
			t.Errorf("%+v: %s d' has no upper end, yet 12 does not fit", c, name)
		}
	}
}

// Estimates are inside their intervals, at any confidence.
func TestEstimatesOfPairsAreInsideTheirIntervals(t *testing.T) {
	for _, confidence := range []float64{0.3, 0.9, 0.95} {
		pairTables(5, func(c Pairs) {
			s, err := ScorePairs(c, ScoreConfig{Confidence: confidence})
			if err != nil {
				t.Fatal(err)
			}
			for name, v := range map[string]struct {
				x  float64
				iv [2]float64
			}{"criterion": {s.Criterion, s.CriterionInterval}, "differencing d'": {s.DPrimeDifferencing, s.DPrimeDifferencingInterval},
				"independent d'": {s.DPrimeIndependent, s.DPrimeInterval}} {
				if inside(v.iv, v.x) == 0 {
					t.Errorf("%+v at %v: %s %v is outside %v", c, confidence, name, v.x, v.iv)
				}
			}
		})
	}
}

// Criterion from false alarms alone: the ends for 3 of 10 against R 4.2.2 (the criterion is −√2·qnorm(F/2)):
//
//	f <- function(p) 2*(dbinom(3,10,.3,log=TRUE) - dbinom(3,10,p,log=TRUE)) - qchisq(.95,1)
//	-sqrt(2)*qnorm(uniroot(f, c(.3,.9), tol=1e-12)$root/2)  # lower
//	-sqrt(2)*qnorm(uniroot(f, c(.01,.3), tol=1e-12)$root/2)  # upper
func TestTheCriterionsIntervalAgreesWithR(t *testing.T) {
	s, err := ScorePairs(Pairs{6, 4, 3, 7}, ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range [2]float64{0.72834829592271, 2.4392737315034} {
		if math.Abs(s.CriterionInterval[i]-want) > 1e-8 {
			t.Errorf("end %d at %.10f, want %.10f", i, s.CriterionInterval[i], want)
		}
	}
}

// The bound of p_d has its nominal coverage for a listener who knows the answer on p_d of the trials and says 'different' with
// any bias on the others, summed over every table. Percent correct, which bias changes where the kinds are unequal, is not used.
func TestTheBoundOfDiscriminatorsCovers(t *testing.T) {
	for _, n := range [][2]int{{12, 12}, {5, 15}, {15, 5}} {
		for _, pd := range []float64{0.1, 0.4, 0.8} {
			for _, habit := range []float64{0.2, 0.5, 0.9} {
				h, f := pd+(1-pd)*habit, (1-pd)*habit
				held := 0.0
				for hits := range n[0] + 1 {
					for alarms := range n[1] + 1 {
						c := Pairs{hits, n[0] - hits, alarms, n[1] - alarms}
						if c.UpperDiscriminators(0.95) >= pd {
							held += math.Exp(lnBinomialPoint(hits, n[0], h) + lnBinomialPoint(alarms, n[1], f))
						}
					}
				}
				if held < 0.95 {
					t.Errorf("%v pairs, p_d %v, habit %v: covers %v", n, pd, habit, held)
				}
			}
		}
	}
}
