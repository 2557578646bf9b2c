package main

import (
	"math/rand/v2"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

// rowsOf reads a table as records by column.
func rowsOf(t *testing.T, path string) []map[string]string {
	t.Helper()
	head, rows := readExported(t, path)
	var all []map[string]string
	for _, r := range rows {
		m := map[string]string{}
		for i, h := range head {
			if m[h] = r[i]; r[i] == "NA" {
				m[h] = ""
			}
		}
		all = append(all, m)
	}
	return all
}

func wholeNumber(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	must(t, err)
	return n
}

func fraction(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	must(t, err)
	return v
}

func instantOf(t *testing.T, text string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339Nano, text)
	must(t, err)
	return v
}

// plansFromTables reads the plans back.
func plansFromTables(t *testing.T, dir string) map[string]trials.Plan {
	t.Helper()
	plans := map[string]trials.Plan{}
	for _, r := range rowsOf(t, filepath.Join(dir, "plans.csv")) {
		p := plans[r["plan"]]
		c := trials.Comparison{Name: r["comparison"], A: r["a"], B: r["b"], Excerpt: r["excerpt"], AudioA: r["audio_a"], AudioB: r["audio_b"], Trials: wholeNumber(t, r["trials"])}
		for _, v := range []struct {
			into interface{ UnmarshalText([]byte) error }
			text string
		}{{&c.Kind, r["kind"]}, {&p.Design, r["design"]}, {&p.Order, r["order"]}, {&p.Layout, r["layout"]}} {
			must(t, v.into.UnmarshalText([]byte(v.text)))
		}
		p.ID, p.Alpha, p.SmallestEffect, p.SingleBlind = r["plan"], fraction(t, r["alpha"]), fraction(t, r["smallest_effect"]), r["single_blind"] == "TRUE"
		p.LeastSeconds = fraction(t, r["least_s"])
		if r["stopping"] != "fixed" && p.Looks == nil {
			p.Looks = &stats.Looks{Boundary: r["stopping"]}
		}
		p.Comparisons = append(p.Comparisons, c)
		plans[p.ID] = p
	}
	for _, r := range rowsOf(t, filepath.Join(dir, "looks.csv")) {
		l := plans[r["plan"]].Looks
		l.Trials, l.Heard, l.RuledOut = append(l.Trials, wholeNumber(t, r["trials"])), append(l.Heard, wholeNumber(t, r["heard_at"])), append(l.RuledOut, wholeNumber(t, r["ruled_out_at"]))
	}
	return plans
}

// familyFromTables reads back what the study asks.
func familyFromTables(t *testing.T, dir string) link.Family {
	t.Helper()
	all := plansFromTables(t, dir)
	var foreseen []trials.Plan
	for _, r := range rowsOf(t, filepath.Join(dir, "plans.csv")) {
		if r["foreseen"] == "TRUE" {
			foreseen = append(foreseen, all[r["plan"]])
		}
	}
	f := link.NewFamily(foreseen, nil)
	for _, r := range rowsOf(t, filepath.Join(dir, "family.csv")) {
		f.Alpha, f.Listeners, f.Comparisons = fraction(t, r["alpha"]), wholeNumber(t, r["listeners"]), wholeNumber(t, r["comparisons"])
		if r["group"] != "" {
			if f.Groups == nil {
				f.Groups = map[string]int{}
			}
			f.Groups[r["group"]] = wholeNumber(t, r["group_listeners"])
		}
	}
	return f
}

// sessionsFromTables adds the trials up anew.
func sessionsFromTables(t *testing.T, dir string) []link.Heard {
	t.Helper()
	plans := plansFromTables(t, dir)
	tallies := map[string]map[string]*trials.Tally{}
	for _, r := range rowsOf(t, filepath.Join(dir, "trials.csv")) {
		if r["void"] != "" {
			continue
		}
		if tallies[r["session"]] == nil {
			tallies[r["session"]] = map[string]*trials.Tally{}
		}
		of := tallies[r["session"]]
		if of[r["comparison"]] == nil {
			of[r["comparison"]] = &trials.Tally{Answers: trials.Answers{{0, 0}, {0, 0}}} // of two answers, as the designs here have
		}
		second := map[string]int{"b": 1, "different": 1}
		truth, answer := second[r["truth"]], second[r["answer"]]
		c := of[r["comparison"]]
		c.Trials++
		c.Answers[truth][answer]++
		if r["correct"] == "TRUE" {
			c.Correct++
		}
		if r["truth"] == "same" || r["truth"] == "different" {
			c.Hits, c.Misses, c.FalseAlarms, c.CorrectRejections = c.Answers[1][1], c.Answers[1][0], c.Answers[0][1], c.Answers[0][0]
		}
	}
	var all []link.Heard
	for _, r := range rowsOf(t, filepath.Join(dir, "sessions.csv")) {
		h := link.Heard{Listener: r["listener"], Group: r["group"], Simulated: r["simulated"] == "TRUE"}
		h.Session, h.Plan, h.GivenUp, h.Stopped = r["session"], plans[r["plan"]], r["given_up"] == "TRUE", trials.Stop(r["stopped"])
		h.Silent, h.Voids, h.Flags, h.Hurried = r["silent"] == "TRUE", wholeNumber(t, r["voids"]), wholeNumber(t, r["flags"]), wholeNumber(t, r["hurried"])
		h.Begun, h.Ended = instantOf(t, r["begun"]), instantOf(t, r["ended"])
		h.Arrived = wholeNumber(t, r["arrived"])
		for _, c := range h.Plan.Comparisons {
			tally := trials.Tally{}
			if v := tallies[h.Session][c.Name]; v != nil {
				tally = *v
			}
			tally.Comparison = c
			h.Tallies = append(h.Tallies, tally)
		}
		all = append(all, h)
	}
	return all
}

// fromMeasurements are the columns of the results that rest on measurements too.
var fromMeasurements = map[string]bool{"treatment": true, "dose": true, "verdict": true, "trials_to_settle": true, "reason": true}

// Studies of fixed and sequential plans, independent and balanced order, pairs and controls, two listeners each: the counts
// and figures of the results follow from the other tables, which say by which rule each session was dealt and stopped.
func TestTheResultsFollowFromTheOtherTables(t *testing.T) {
	for name, args := range map[string]string{
		"fixed": "--trials 12", "balanced": "--trials 12 --order balanced", "pairs": "--design same-different --trials 14 --negative 4",
		"sequential": "--trials 20 --stopping sequential --boundary pocock --looks 2",
	} {
		t.Run(name, func(t *testing.T) { resultsFollow(t, strings.Fields(args)) })
	}
}

func resultsFollow(t *testing.T, args []string) {
	dir := filepath.Join(t.TempDir(), "tables")
	listeningStudy(t, "abx", 12)
	command(t, 0, append([]string{"plan", "new", "--a", "left", "--b", "right", "--rest", "0", "--id", "2"}, args...)...)
	command(t, 0, "listener", "add", "L2", "--group", "trained")
	random := rand.New(rand.NewPCG(16, 6))
	for _, listener := range []string{"L1", "L2"} {
		sitThrough(t, "2", listener, func(session *trials.Session, _ trials.Plan) trials.Answer {
			return session.View().Design.Answers()[random.IntN(2)]
		})
	}
	command(t, 0, "export", "--csv", dir)
	again, err := link.Build(link.Input{Results: sessionsFromTables(t, dir), Family: familyFromTables(t, dir)})
	must(t, err)
	rebuilt := resultSheet()
	must(t, rebuilt.begin(t.TempDir()))
	addResults(rebuilt, again)
	must(t, rebuilt.end())
	head, want := readExported(t, filepath.Join(dir, "results.csv"))
	_, got := readExported(t, rebuilt.file.Name())
	if len(got) != len(want) || len(want) < 3 {
		t.Fatalf("%d rows follow, %d were exported", len(got), len(want))
	}
	for i, row := range want {
		for k, name := range head {
			if !fromMeasurements[name] && got[i][k] != row[k] {
				t.Errorf("%s, %s, %s: %s is %s, the other tables give %s", row[0], row[4], row[6], name, row[k], got[i][k])
			}
		}
	}
}
