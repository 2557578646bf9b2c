package link_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// cameIn is an invented study of three planned listeners and up to two more, whose sessions became known in one order and
// ended in another; some of them hear it.
func cameIn(seed uint64) *bench {
	b := newBench(seed, link.NewBuilder())
	p := b.plan("1", []string{"0"}, 24, 0, nil)
	b.groups = make([]string, 3)
	for i := range 5 {
		b.known[fmt.Sprint("l", i)] = []float64{0, 0.3, 0.6}[b.r.IntN(3)]
	}
	for i := range 9 {
		b.sit(p, fmt.Sprint("l", b.r.IntN(5)), "", func(n, _ int) bool { return n == 12 && i%4 == 0 })
		b.results[i].Arrived, b.results[i].Ended = i+1, time.Unix(int64(b.r.IntN(1000)), 0)
	}
	return b
}

type rowKey struct{ kind, listener string }

func byRow(rows []link.Row) map[rowKey]link.Row {
	all := map[rowKey]link.Row{}
	for _, r := range rows {
		all[rowKey{r.Kind, r.Listener}] = r
	}
	return all
}

// A session that becomes known late, whenever it was run, does not displace earlier ones: no 'heard' is revoked, and no p
// grows.
func TestALateImportTakesNothingBack(t *testing.T) {
	for seed := range uint64(60) {
		whole := cameIn(seed).results
		before := map[rowKey]link.Row{}
		b := cameIn(seed)
		for n := 1; n <= len(whole); n++ {
			b.results = whole[:n]
			now := byRow(b.look())
			for k, was := range before {
				is := now[k]
				if is.PStudy > was.PStudy*(1+1e-9) || was.Verdict == link.HeardIt && is.Verdict != link.HeardIt {
					t.Fatalf("seed %d, %v: %s at p %g with %d sessions, %s at p %g with %d", seed, k, was.Verdict, was.PStudy, n-1, is.Verdict, is.PStudy, n)
				}
			}
			before = now
		}
	}
}

// The order in which results are read makes no difference, and for planned listeners neither does the order of arrival.
func TestTheOrderOfReadingAndOfPlannedListenersMakesNoDifference(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 7))
	for seed := range uint64(40) {
		b := cameIn(seed)
		want := byRow(b.look())
		random.Shuffle(len(b.results), func(i, k int) { b.results[i], b.results[k] = b.results[k], b.results[i] })
		for k, r := range byRow(b.look()) {
			if w := want[k]; r.Verdict != w.Verdict || r.PStudy != w.PStudy || r.UpperPD != w.UpperPD {
				t.Fatalf("seed %d, %v: %s at p %g, bound %g; read in another order %s, %g, %g", seed, k, w.Verdict, w.PStudy, w.UpperPD, r.Verdict, r.PStudy, r.UpperPD)
			}
		}
		samePlanned(t, seed, random)
	}
}

func samePlanned(t *testing.T, seed uint64, random *rand.Rand) {
	t.Helper()
	b := newBench(seed, link.NewBuilder())
	p := b.plan("1", []string{"0"}, 24, 0, nil)
	b.groups = make([]string, 4)
	for i := range 4 {
		b.known[fmt.Sprint("l", i)] = []float64{0, 0.5}[b.r.IntN(2)]
		b.sit(p, fmt.Sprint("l", i), "", nil)
		b.results[i].Arrived = i + 1
	}
	want := byRow(b.look())
	for i, place := range random.Perm(4) {
		b.results[i].Arrived = place + 1
	}
	for k, r := range byRow(b.look()) {
		if w := want[k]; r.Verdict != w.Verdict || k.kind == "listener" && (r.PStudy != w.PStudy || r.UpperPD != w.UpperPD) {
			t.Fatalf("seed %d, %v: %s at p %g; in another order of arrival %s, %g", seed, k, w.Verdict, w.PStudy, r.Verdict, r.PStudy)
		}
	}
}

// A missed positive control excludes the entire session from the ladder's curves: the listener's, and that of all, in which
// each may have their own threshold.
func TestAVoidSessionIsInNoCurve(t *testing.T) {
	doses := []float64{1e3, 4e3, 1.6e4, 6.4e4, 2.56e5, 1e6}
	random := rand.New(rand.NewPCG(3, 2))
	hears := func() func(float64) float64 {
		return stats.Curve{Guess: 0.5, Threshold: math.Pow(10, 4.5+0.7*random.NormFloat64()), Slope: 2}.At
	}
	asleep := func(float64) float64 { return 0.5 }
	session := func(listener, id string, at func(float64) float64, positive int) link.Heard {
		h := climbed(listener, doses, 20, at, random)
		h.Session = id
		h.Tallies = append(h.Tallies, trials.Tally{Comparison: trials.Comparison{Name: "positive", Kind: trials.PositiveControl, Trials: 12}, Trials: 12, Correct: positive})
		return h
	}
	in := link.Input{Chains: chains(), Pairings: rungs(doses, link.DoseRandomJitter)}
	for _, who := range []string{"one", "two", "three", "four"} {
		in.Results = append(in.Results, session(who, "of "+who, hears(), 12))
	}
	want, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Results = append(in.Results, session("one", "slept through", asleep, 5))
	got, err := link.Build(in)
	if err != nil {
		t.Fatal(err)
	}
	if why := link.VoidSessions(in.Results, link.Family{Alpha: 0.05}); len(why) != 1 || why["slept through"] == "" {
		t.Fatalf("void: %v", why)
	}
	for _, who := range []string{"one", ""} {
		a, b := trendOf(t, want, who), trendOf(t, got, who)
		if a.Threshold != b.Threshold || a.ThresholdInterval != b.ThresholdInterval || !slices.Equal(a.Points, b.Points) {
			t.Errorf("%q: threshold %g %v; with a void session more %g %v", who, a.Threshold, a.ThresholdInterval, b.Threshold, b.ThresholdInterval)
		}
	}
}

// Six listeners who hear nothing, each until a boundary ends their session: 'ruled out' is reached for all together, and for
// most by themselves. It could not be if the sums of sequential plans had only the evidence for 'heard'.
func TestSequentialPanelsReachRuledOut(t *testing.T) {
	builder, all, one, n := link.NewBuilder(), 0, 0, 40
	for seed := range n {
		b := newBench(uint64(seed)+1, builder)
		p := b.plan("1", []string{"0"}, 60, 0, func(p *trials.Plan) { p.Looks = afterFifteen() })
		b.groups = make([]string, 6)
		for i := range 6 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
		}
		rows := byRow(b.look())
		if rows[rowKey{"all", link.Everybody}].Verdict == link.RuledOut {
			all++
		}
		if rows[rowKey{"listener", "l0"}].Verdict == link.RuledOut {
			one++
		}
	}
	t.Logf("ruled out of %d studies: all together in %d, the first listener in %d", n, all, one)
	if all < n*9/10 || one < n/2 {
		t.Errorf("ruled out of %d studies: all together in %d, the first listener in %d", n, all, one)
	}
}
