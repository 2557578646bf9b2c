package main

import (
	"html"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// climbing answers a threshold run of two intervals by a Weibull function of slope 2, whose threshold in dB depends on the ladder's
// quantity.
func climbing(t *testing.T, seed uint64, thresholdDB map[string]float64) func(*trials.Session, trials.Plan) trials.Answer {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 7))
	return func(session *trials.Session, p trials.Plan) trials.Answer {
		first, err := session.Route(session.View().Design.Labels()[0])
		must(t, err)
		right := random.Float64() < 0.5
		for _, track := range p.Threshold.Tracks {
			for _, r := range track.Rungs {
				if r.Comparison == p.Comparisons[first.Comparison()].Name {
					right = right || random.Float64() < 1-math.Pow(2, -math.Pow(10, 2*(r.LevelDB-thresholdDB[track.Quantity])/20))
				}
			}
		}
		at := 0
		if right != (first.Source() == trials.SourceB) {
			at = 1
		}
		return session.View().Design.Answers()[at]
	}
}

// twoLadders is a study in which two listeners worked through a ladder of random and one of periodic jitter.
func twoLadders(t *testing.T) {
	t.Helper()
	oneChain(t)
	prepareSteps(t, "random-jitter", "--from", "1000", "--to", "1000000", "--steps", "7", "--excerpt", "1:2", "--name", "e")
	prepareSteps(t, "periodic-jitter", "--jitter-hz", "1000", "--from", "1000", "--to", "1000000", "--steps", "7", "--of", "e")
	command(t, 0, "plan", "new", "--threshold", "random-jitter", "--threshold", "periodic-jitter", "--trials", "40", "--practice", "1", "--positive", "1")
	for i, who := range []string{"L1", "L2"} {
		command(t, 0, "listener", "add", who)
		sitThrough(t, "1", who, climbing(t, uint64(i), map[string]float64{"random-jitter": 90 + 4*float64(i), "periodic-jitter": 80}))
	}
}

// posterior returns the likeliest threshold and the ends of its 95 % interval under one of the two priors that the dictionary describes,
// by sums that share nothing with the program's.
func posterior(levels []float64, counts []stats.Count, cautious bool) (likeliest, low, high float64) {
	power := 0.0
	if cautious {
		power = 0.75
	}
	first := levels[0] - 10
	marginal := make([]float64, int(math.Round((levels[len(levels)-1]+10-first)/0.5))+1)
	profile := make([]float64, len(marginal))
	for i := range marginal {
		for lapse, weight := range map[float64]float64{0: 10, 0.01: 1, 0.02: 1, 0.03: 1, 0.04: 1, 0.06: 2, 0.08: 2} {
			even := 0.0
			for k := range 11 {
				slope := 0.25 * math.Pow(2, float64(k)/2)
				octaves := math.Log2(slope/1.5) / 3
				likelihood := math.Exp(logLikelihood(levels, counts, first+0.5*float64(i), slope, lapse))
				even += likelihood
				marginal[i] += likelihood * weight * math.Exp(-octaves*octaves/2) / math.Pow(slope, power)
			}
			profile[i] = math.Max(profile[i], even)
		}
	}
	low, high = endsOf(marginal, first)
	best := slices.Index(profile, slices.Max(profile))
	below, above := math.Log(profile[best-1]/profile[best]), math.Log(profile[best+1]/profile[best])
	return first + 0.5*(float64(best)+(below-above)/(below+above)/2), low, high
}

// logLikelihood is the logarithm of the chance of the counts, two intervals each, up to a constant.
func logLikelihood(levels []float64, counts []stats.Count, threshold, slope, lapse float64) float64 {
	ln := 0.0
	for j, level := range levels {
		p := 0.5 + (0.5-lapse)*(1-math.Pow(2, -math.Pow(10, slope*(level-threshold)/20)))
		p = math.Min(math.Max(p, 1e-9), 1-1e-9)
		ln += float64(counts[j].Correct)*math.Log(p) + float64(counts[j].Trials-counts[j].Correct)*math.Log1p(-p)
	}
	return ln
}

// endsOf returns the ends of the 95 % interval of a distribution over steps of 0.5 dB, NaN where it does not bound it.
func endsOf(marginal []float64, first float64) (low, high float64) {
	sum := 0.0
	for _, w := range marginal {
		sum += w
	}
	quantile := func(q float64) float64 {
		below := 0.0
		for i, w := range marginal {
			if below += w / sum; below >= q {
				return first + 0.5*float64(i) + 0.25 - 0.5*(below-q)/(w/sum)
			}
		}
		return math.NaN()
	}
	low, high = quantile(0.025), quantile(0.975)
	if marginal[0]/sum >= 0.0025 {
		low = math.NaN()
	}
	if marginal[len(marginal)-1]/sum >= 0.0025 {
		high = math.NaN()
	}
	return low, high
}

// sameEnd reports whether a cell of a table holds an end of an interval, "" where it is open.
func sameEnd(t *testing.T, cell string, want float64) bool {
	t.Helper()
	if cell == "" || math.IsNaN(want) {
		return cell == "" && math.IsNaN(want)
	}
	return math.Abs(fraction(t, cell)-want) <= 0.02
}

// countedFromTables adds up the answers by ladder and listener at each level, and returns the levels of the ladders.
func countedFromTables(t *testing.T, dir string) (counts map[[2]string]map[float64]stats.Count, levels map[string][]float64) {
	t.Helper()
	type rung struct {
		ladder string
		level  float64
	}
	rungs := map[string]rung{}
	counts, levels = map[[2]string]map[float64]stats.Count{}, map[string][]float64{}
	for _, r := range rowsOf(t, filepath.Join(dir, "rungs.csv")) {
		rungs[r["comparison"]] = rung{r["ladder"], fraction(t, r["level_db"])}
		levels[r["ladder"]] = append(levels[r["ladder"]], fraction(t, r["level_db"]))
	}
	for _, r := range rowsOf(t, filepath.Join(dir, "trials.csv")) {
		of, graded := rungs[r["comparison"]]
		if !graded || r["void"] != "" {
			continue
		}
		id := [2]string{of.ladder, r["listener"]}
		if counts[id] == nil {
			counts[id] = map[float64]stats.Count{}
		}
		n := counts[id][of.level]
		if n.Trials++; r["correct"] == "TRUE" {
			n.Correct++
		}
		counts[id][of.level] = n
	}
	return counts, levels
}

// Every threshold and difference follows from the tables alone: the trials, their doses, and the prior that the dictionary describes.
func TestThresholdsFollowFromTheTables(t *testing.T) {
	twoLadders(t)
	dir := filepath.Join(t.TempDir(), "tables")
	command(t, 0, "export", "--csv", dir)
	counts, levels := countedFromTables(t, dir)
	own := map[[2]string]float64{}
	for _, r := range rowsOf(t, filepath.Join(dir, "thresholds.csv")) {
		id := [2]string{r["ladder"], r["listener"]}
		if r["kind"] != "listener" {
			continue
		}
		var at []stats.Count
		for _, l := range levels[r["ladder"]] {
			at = append(at, counts[id][l])
		}
		own[id] = fraction(t, r["threshold_db"])
		likeliest, low, high := posterior(levels[r["ladder"]], at, false)
		_, lower, higher := posterior(levels[r["ladder"]], at, true)
		if got := own[id]; math.Abs(got-likeliest) > 0.02 || wholeNumber(t, r["trials"]) != 40 {
			t.Errorf("%v: %v dB by its trials, %v in the table", id, likeliest, got)
		}
		if !sameEnd(t, r["threshold_db_low"], min(low, lower)) || !sameEnd(t, r["threshold_db_high"], max(high, higher)) {
			t.Errorf("%v: the intervals are %v to %v and %v to %v dB by its trials, %q to %q in the table", id, low, high, lower, higher, r["threshold_db_low"], r["threshold_db_high"])
		}
	}
	if len(own) != 4 {
		t.Fatalf("thresholds of %v", own)
	}
	points := 0
	for _, r := range rowsOf(t, filepath.Join(dir, "threshold_points.csv")) {
		if r["kind"] == "listener" {
			n := counts[[2]string{r["ladder"], r["listener"]}][fraction(t, r["level_db"])]
			if points += n.Trials; n.Trials != wholeNumber(t, r["trials"]) || n.Correct != wholeNumber(t, r["correct"]) {
				t.Errorf("%v: %+v by the trials", r, n)
			}
		}
	}
	if points != 160 {
		t.Errorf("%d answers in the points", points)
	}
	checkDifferences(t, dir, own)
	saysTheDifference(t)
}

// checkDifferences compares the differences with the thresholds of each listener.
func checkDifferences(t *testing.T, dir string, own map[[2]string]float64) {
	t.Helper()
	rows := rowsOf(t, filepath.Join(dir, "threshold_differences.csv"))
	for _, r := range rows {
		got := fraction(t, r["difference_db"])
		want := own[[2]string{r["ladder_b"], r["listener"]}] - own[[2]string{r["ladder_a"], r["listener"]}]
		if r["kind"] == "listener" && math.Abs(got-want) > 1e-9 || r["respect"] != "random against deterministic" {
			t.Errorf("%v: %v by the thresholds", r, want)
		}
	}
	if len(rows) != 3 {
		t.Errorf("%d differences", len(rows))
	}
}

// saysTheDifference demands the same sentence of results, link, their JSON and the report: how random compares with deterministic.
func saysTheDifference(t *testing.T) {
	t.Helper()
	_, page := reported(t)
	screens := map[string]string{"the report": strings.NewReplacer("−", "-", "\u00a0", " ").Replace(html.UnescapeString(page))}
	var says string
	for _, args := range [][]string{{"results"}, {"link"}} {
		screens[args[0]], _ = command(t, 0, args...)
		var r struct {
			All []link.ThresholdDifference `json:"threshold_differences"`
		}
		decode(t, &r, args[0], "--json")
		if len(r.All) != 3 || r.All[2].Kind != "all" || says != "" && r.All[2].Says != says {
			t.Fatalf("%s --json: %+v", args[0], r.All)
		}
		says = r.All[2].Says
	}
	for name, text := range screens {
		if !strings.Contains(strings.ReplaceAll(text, "−", "-"), says[1:]) {
			t.Errorf("%s does not say %q", name, says)
		}
	}
}
