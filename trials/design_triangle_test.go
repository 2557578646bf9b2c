package trials

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"heardiff/stats"
)

// publishedCounts compares the critical counts of a design with a published table: columns n, alpha and the printed count.
func publishedCounts(t *testing.T, d Design, path string, column int) {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for _, row := range rows[1:] {
		n, err1 := strconv.Atoi(row[0])
		alpha, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		want, err := strconv.Atoi(row[column])
		if err != nil {
			t.Fatal(row)
		}
		s, err := d.Score(max(want, 0), n, stats.ScoreConfig{Alpha: alpha})
		if err != nil {
			t.Fatal(err)
		}
		got := -1 // a dash in the table: no count reaches the level
		if s.Critical != nil {
			got = *s.Critical
		}
		if got != want || s.Reached != (want > 0) {
			t.Errorf("%d trials at %v: critical count %d, %d in the table", n, alpha, got, want)
		}
		compared++
	}
	if compared < 100 {
		t.Errorf("%d rows compared", compared)
	}
}

// ref: the critical numbers of ISO 4120 as printed in FAO document V7180E, appendix A.
func TestTriangleDecidesByThePublishedTable(t *testing.T) {
	publishedCounts(t, Triangle, "../testdata/statistics/triangle_table.csv", 2)
}

// sense simulates a session. A evokes a normal variable of mean 0 and B one of mean d′, both of variance 1 and independent
// for each presentation; pick chooses the answer from the two or three sensations. It returns the tally.
func sense(t *testing.T, d Design, n int, dPrime float64, pick func(x []float64) Answer) Tally {
	t.Helper()
	r := rand.New(rand.NewPCG(14, 15))
	s, m := begin(t, testPlan(d, n), randomSeed(r))
	for s.View().Phase != Done {
		var x []float64
		for _, l := range d.Labels() {
			cue, err := s.Route(l)
			if err != nil {
				t.Fatal(err)
			}
			x = append(x, r.NormFloat64()+dPrime*float64(cue.Source()))
		}
		answer(t, s, pick(x))
	}
	result, err := s.Result(m.entries)
	if err != nil {
		t.Fatal(err)
	}
	return result.Tallies[0]
}

// recovers demands that the d′ of a simulated listener is recovered from the answers, within 4.4 standard errors.
func recovers(t *testing.T, d Design, dPrime float64, pick func(x []float64) Answer) {
	t.Helper()
	const n = 4000
	tally := sense(t, d, n, dPrime, pick)
	s, err := d.Score(tally.Correct, tally.Trials, stats.ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	if se := d.Procedure().DPrimeError(tally.Correct, n); tally.Trials != n || math.Abs(s.DPrime-dPrime) > 4.4*se {
		t.Errorf("d′ %v ± %v from %d answers, simulated with %v", s.DPrime, se, tally.Trials, dPrime)
	}
}

// The listener of the model calls odd the one that is farthest from the two nearest to each other.
func TestTriangleRecoversASimulatedListener(t *testing.T) {
	recovers(t, Triangle, 1.5, func(x []float64) Answer {
		near := []float64{math.Abs(x[1] - x[2]), math.Abs(x[0] - x[2]), math.Abs(x[0] - x[1])}
		odd := 0
		for i := range near {
			if near[i] < near[odd] {
				odd = i
			}
		}
		return Triangle.Answers()[odd]
	})
}

// The six orders are equally frequent: χ² with 5 degrees of freedom stays below 20.5 (p 0.001).
func TestTriangleDealsSixOrders(t *testing.T) {
	const n = 6000
	counts := map[*assignment]float64{}
	for _, one := range deal(testPlan(Triangle, n), Seed{31}) {
		counts[one.hidden]++
	}
	chi2 := 0.0
	for _, c := range counts {
		chi2 += (c - n/6) * (c - n/6) / (n / 6)
	}
	if len(counts) != 6 || chi2 > 20.5 {
		t.Errorf("%d orders, χ² %v", len(counts), chi2)
	}
}

// Power and 'ruled out' use chance one third: 25 of 75 is exactly chance, and the critical count of 30 trials is 15 (ISO 4120).
func TestTriangleBoundsDiscriminatorsAgainstOneThird(t *testing.T) {
	s, err := Triangle.Score(25, 75, stats.ScoreConfig{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Discriminators != 0 || !(s.DiscriminatorsUpper > 0 && s.DiscriminatorsUpper < 0.2) {
		t.Errorf("25 of 75, exactly chance: p_d %v, up to %v", s.Discriminators, s.DiscriminatorsUpper)
	}
	at, err := testPlan(Triangle, 30).PowerAt(30, stats.FromDiscriminators(0.5, Triangle.Chance()))
	if err != nil || at.Critical == nil || *at.Critical != 15 {
		t.Fatalf("30 trials at 0.05: %v, %v; ISO 4120 prints 15", at.Critical, err)
	}
}
