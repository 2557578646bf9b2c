package link_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/trials/link"
)

// ranOn is ranThreshold on a ladder of its own name and band.
func ranOn(name, quantity string, lowHz, highHz float64, listener, group string, thresholdDB float64, each int, random *rand.Rand) link.Heard {
	h := ranThreshold(listener, group, quantity, thresholdDB, 2, each, random)
	t := &h.Plan.Threshold.Tracks[0]
	t.Name, t.BandHz, h.Session = name, []float64{lowHz, highHz}, h.Session+name
	return h
}

// differing is a study in which deterministic jitter needs 12 dB less than random, and spread random jitter 8 dB less than close-in.
func differing(t *testing.T, listeners, each int, sdDB float64, random *rand.Rand) []link.ThresholdDifference {
	t.Helper()
	var in link.Input
	for i := range listeners {
		who, base := fmt.Sprint("L", i), 60+6*random.NormFloat64()
		group := []string{"trained", "untrained"}[i%2]
		in.Results = append(in.Results,
			ranOn("random jitter, 10 to 20000 Hz", "random-jitter", 10, 20000, who, group, base, each, random),
			ranOn("periodic jitter at 1000 Hz", "periodic-jitter", 1000, 1000, who, group, base-12+sdDB*random.NormFloat64(), each, random),
			ranOn("random jitter, 10 to 200 Hz", "random-jitter", 10, 200, who, group, base+8, each, random))
	}
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	return r.ThresholdDifferences
}

func differenceOf(all []link.ThresholdDifference, of, b, kind, who string) link.ThresholdDifference {
	for _, d := range all {
		if d.Of == of && (b == "" || d.B == b) && d.Kind == kind && (kind == "listener" && d.Listener == who || kind != "listener" && d.Group == who) {
			return d
		}
	}
	return link.ThresholdDifference{DifferenceDB: math.NaN()}
}

// Random is compared with deterministic and close-in with spread jitter, by listener, by group and over all, whichever ladder came first.
func TestThresholdsAgainstOneAnother(t *testing.T) {
	all := differing(t, 4, 60, 0, rand.New(rand.NewPCG(3, 1)))
	for _, c := range []struct {
		of, b string
		want  float64
	}{
		{link.RandomAgainstDeterministic, "", -12},
		{link.CloseInAgainstSpread, "random jitter, 10 to 20000 Hz", -8},
	} {
		for _, who := range [][2]string{{"listener", "L0"}, {"listener", "L3"}, {"group", "trained"}, {"all", ""}} {
			d := differenceOf(all, c.of, c.b, who[0], who[1])
			// Sixty trials every 5 dB: a standard error of about 1.4 dB for a listener's difference.
			if math.Abs(d.DifferenceDB-c.want) > 5 || !(d.IntervalDB[0] < d.DifferenceDB && d.DifferenceDB < d.IntervalDB[1]) {
				t.Errorf("%s, %v: %+v, want %v dB", c.of, who, d, c.want)
			}
		}
		if d := differenceOf(all, c.of, c.b, "all", ""); d.Listeners != 4 || !strings.Contains(d.Says, "dB below that for") || !strings.Contains(d.Says, "mean of 4 listeners") {
			t.Errorf("%+v", d)
		}
	}
	if d := differenceOf(all, link.BetweenExcerpts, "", "all", ""); !math.IsNaN(d.DifferenceDB) {
		t.Errorf("excerpts that do not differ are compared: %+v", d)
	}
}

// A listener who has only one of the two thresholds is counted, and is in no mean.
func TestADifferenceThatLacksAThreshold(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 1))
	var in link.Input
	for i, second := range []float64{50, 54, 400} {
		who := fmt.Sprint("L", i)
		in.Results = append(in.Results, ranOn("random", "random-jitter", 10, 20000, who, "", 60, 60, random), ranOn("line", "periodic-jitter", 1000, 1000, who, "", second, 60, random))
	}
	r, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	deaf, all := differenceOf(r.ThresholdDifferences, link.RandomAgainstDeterministic, "", "listener", "L2"), differenceOf(r.ThresholdDifferences, link.RandomAgainstDeterministic, "", "all", "")
	if !math.IsNaN(deaf.DifferenceDB) || !strings.Contains(deaf.Says, "not known") || all.Listeners != 2 || all.WithoutOne != 1 || !strings.Contains(all.Says, "1 more lack") {
		t.Errorf("%+v\n%+v", deaf, all)
	}
}

// The intervals of the difference, of one listener and of the mean of listeners whose differences have a standard deviation of 5 dB,
// contain the truth as often as they should, within four standard errors of the simulation. With -full, 0.964 of 1800 and 0.960 of 300 did.
func TestThresholdDifferencesCover(t *testing.T) {
	runs := 3
	if *full {
		runs = 300
	}
	random := rand.New(rand.NewPCG(5, 1))
	own, mean, listeners := 0, 0, 0
	for range runs {
		all := differing(t, 6, 16, 5, random)
		if d := differenceOf(all, link.RandomAgainstDeterministic, "", "all", ""); d.IntervalDB[0] <= -12 && -12 <= d.IntervalDB[1] {
			mean++
		}
		for i := range 6 {
			listeners++
			if d := differenceOf(all, link.CloseInAgainstSpread, "", "listener", fmt.Sprint("L", i)); d.IntervalDB[0] <= -8 && -8 <= d.IntervalDB[1] {
				own++
			}
		}
	}
	for _, c := range []struct {
		whose  string
		k, of  int
		covers float64
	}{{"of a listener", own, listeners, 0.95}, {"of the mean", mean, runs, 0.95}} {
		rate := float64(c.k) / float64(c.of)
		t.Logf("%s: %.3f of %d intervals hold the truth", c.whose, rate, c.of)
		if rate < c.covers-4*math.Sqrt(0.95*0.05/float64(c.of)) {
			t.Errorf("%s: %.3f of %d intervals hold the truth", c.whose, rate, c.of)
		}
	}
}
