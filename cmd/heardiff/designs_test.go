package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"heardiff/trials"
)

// designOracle answers rightly from what playback is asked to play: of three the odd one, of two the one that holds B.
func designOracle(t *testing.T) func(*trials.Session, trials.Plan) trials.Answer {
	return func(s *trials.Session, p trials.Plan) trials.Answer {
		var sounds []trials.Source
		for _, l := range p.Design.Labels() {
			cue, err := s.Route(l)
			must(t, err)
			sounds = append(sounds, cue.Source())
		}
		odd := trials.SourceB
		if len(sounds) == 3 && sounds[0]+sounds[1]+sounds[2] == 2 {
			odd = trials.SourceA
		}
		return p.Design.Answers()[slices.Index(sounds, odd)]
	}
}

// A design of the trade goes all the way: plan, sessions, results, pool, link, report, tables, a kit to another site and a
// bundle back. The chance of a guesser is its own at each step.
func TestDesignsGoAllTheWay(t *testing.T) {
	for _, d := range trials.Designs() {
		if !slices.Contains(d.Labels(), "1") || d.ByRates() {
			continue // ABX and pairs: the other tests here
		}
		t.Run(d.String(), func(t *testing.T) {
			listeningStudy(t, d.String(), 24)
			command(t, 0, "plan", "new", "--id", "controlled", "--design", d.String(), "--a", "left", "--b", "right", "--trials", "24",
				"--practice", "2", "--positive", "8", "--negative", "8", "--smallest-effect", "0.5")
			shown, _ := command(t, 0, "plan", "show", "controlled")
			if !strings.Contains(shown, d.String()) {
				t.Errorf("plan show: %s", shown)
			}
			sitThrough(t, "1", "L1", designOracle(t))
			command(t, 0, "listener", "add", "L2")
			sitThrough(t, "1", "L2", alwaysFirst)
			awayBundle := awayAndBack(t)
			command(t, 0, "import", awayBundle)
			command(t, 0, "verify")

			checkResults(t, d)
			checkLink(t, d)
			checkPool(t, d)
			checkTables(t, d)
			page, text := reported(t)
			command(t, 0, "verify", page)
			if !strings.Contains(text, d.Title()+": who told them apart") || !strings.Contains(strings.ToLower(text), strings.ToLower(d.Words())) {
				t.Error("the report does not name the design")
			}
		})
	}
}

func checkResults(t *testing.T, d trials.Design) {
	t.Helper()
	var r struct {
		Sessions []struct {
			Listener    string
			Comparisons []map[string]json.RawMessage
		}
	}
	decode(t, &r, "results", "--json")
	for _, s := range r.Sessions {
		if s.Listener != "L1" {
			continue
		}
		var score struct {
			Chance float64
			PValue float64 `json:"p_value"`
		}
		key := strings.ReplaceAll(d.String(), "-", "_")
		must(t, json.Unmarshal(s.Comparisons[0][key], &score))
		var correct int
		must(t, json.Unmarshal(s.Comparisons[0]["correct"], &correct))
		if want := math.Pow(d.Chance(), 24); correct == 24 && math.Abs(score.PValue/want-1) > 1e-9 || score.Chance != d.Chance() {
			t.Errorf("24 of 24 has p %v, want %v; chance %v", score.PValue, want, score.Chance)
		}
	}
}

func checkLink(t *testing.T, d trials.Design) {
	t.Helper()
	var l struct {
		Rows []struct {
			Listener, Kind, Design, Verdict string
			Chance, Discriminators          float64
			Correct, Trials                 int
			PStudy                          float64 `json:"p_study"`
			EValue                          float64 `json:"e_value"`
		}
	}
	decode(t, &l, "link", "--json")
	heard := false
	for _, r := range l.Rows {
		if r.Design != d.String() || r.Chance != d.Chance() {
			t.Errorf("%+v: of another design", r)
		}
		if r.Correct == r.Trials && r.Kind == "listener" {
			heard = r.Verdict == "heard" && r.Discriminators == 1
			// The chance of 24 right answers of 24 for p uniform from p₀ to 1, over that for p₀: (1 − p₀^25)/(25·(1 − p₀)·p₀^24).
			p0 := d.Chance()
			if want := (1 - math.Pow(p0, 25)) / (25 * (1 - p0) * math.Pow(p0, 24)); math.Abs(r.EValue/want-1) > 1e-9 {
				t.Errorf("e-value %v, want %v", r.EValue, want)
			}
		}
	}
	if !heard {
		t.Errorf("24 of 24 is not heard: %+v", l.Rows)
	}
}

func checkPool(t *testing.T, d trials.Design) {
	t.Helper()
	var p struct {
		Total struct {
			Design string
			Chance float64
		}
	}
	decode(t, &p, "pool", "--json")
	if p.Total.Design != d.String() || p.Total.Chance != d.Chance() {
		t.Errorf("pooled as %+v", p.Total)
	}
}

func checkTables(t *testing.T, d trials.Design) {
	t.Helper()
	read := exportedTables(t)
	for _, r := range read("results.csv") {
		if chance, err := strconv.ParseFloat(r["chance"], 64); err != nil || r["design"] != d.String() || chance != d.Chance() {
			t.Errorf("results.csv: %v", r)
		}
	}
	for _, r := range read("trials.csv") {
		if !slices.Contains(d.Answers(), trials.Answer(r["truth"])) {
			t.Errorf("trials.csv: %v", r)
		}
	}
	described := map[string]bool{}
	for _, r := range read("data_dictionary.csv") {
		described[r["table"]+" "+r["column"]] = true
	}
	for _, want := range []string{"trials.csv heard_3_s", "results.csv chance", "results.csv design"} {
		if !described[want] {
			t.Errorf("the dictionary says nothing of %s", want)
		}
	}
}

// exportedTables exports the tables of the study, and returns what reads one of them.
func exportedTables(t *testing.T) func(name string) []map[string]string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "tables")
	command(t, 0, "export", "--csv", dir)
	return func(name string) []map[string]string { return rowsOf(t, filepath.Join(dir, name)) }
}

// checkTimes demands that the table of trials says for how long each label of the design sounded, and of no other label.
func checkTimes(t *testing.T, d trials.Design) {
	t.Helper()
	for _, r := range exportedTables(t)("trials.csv") {
		for _, l := range trials.AllLabels() {
			if cell := r["heard_"+l.String()+"_s"]; (cell != "") != slices.Contains(d.Labels(), l) || cell == "0" {
				t.Errorf("label %s sounded for %q s: %v", l, cell, r)
			}
		}
	}
}

// At the device: what reaches it under 1, 2 and 3 shows which is odd; under 1 and 2 which is B, the right chain.
func TestNewDesignsAtTheDevice(t *testing.T) {
	for name, answer := range map[string]func(heard []string) int{
		"triangle": func(h []string) int {
			for i := range h {
				if h[i] != h[(i+1)%3] && h[i] != h[(i+2)%3] {
					return i
				}
			}
			return 0
		},
		"two-interval": func(h []string) int { return slices.Index(h, "right") },
	} {
		t.Run(name, func(t *testing.T) {
			const n = 3
			s := sit(t, listeningStudy(t, name, n))
			d, err := trials.ParseDesign(name)
			must(t, err)
			for range n {
				if line := s.line(); !strings.Contains(line, d.Question()) {
					t.Errorf("asked %q", line)
				}
				var heard []string
				for _, l := range d.Labels() {
					s.say("answer 1", "refused") // not every label was heard
					heard = append(heard, s.hear(l.String()))
				}
				s.say("a", "refused")
				s.say(fmt.Sprint("answer ", d.Answers()[answer(heard)]), "asked")
				s.say("confirm", "saved")
			}
			s.end()
			if r := results(t); r.Correct != n || r.Trials != n {
				t.Errorf("the oracle was right %d times of %d", r.Correct, r.Trials)
			}
			checkTimes(t, d)
		})
	}
}

// The figures of a single session and of a plan are those in print, or those of a closed form.
func TestScoreAndPowerOfDesigns(t *testing.T) {
	number := func(key string, args ...string) float64 {
		t.Helper()
		var all map[string]any
		out := decode(t, &all, append(args, "--json")...)
		v, ok := all[key].(float64)
		if !ok {
			t.Fatalf("%v has no %s: %s", args, key, out)
		}
		return v
	}
	for _, c := range []struct {
		key  string
		want float64
		args []string
	}{
		// ISO 4120: 30 triangles decide at 15 right; ISO 10399, as of any fair coin, at 20.
		{"critical_correct", 15, []string{"score", "--design", "triangle", "--correct", "10", "--trials", "30"}},
		{"critical_correct", 20, []string{"score", "--design", "two-interval", "--correct", "10", "--trials", "30"}},
		{"critical_correct", 15, []string{"power", "--design", "triangle", "--p-true", "0.6", "--trials", "30"}},
		{"critical_correct", 20, []string{"power", "--design", "two-interval", "--p-true", "0.6", "--trials", "30"}},
		{"chance", 1.0 / 3, []string{"score", "--design", "triangle", "--correct", "3", "--trials", "3"}},
		{"p_value", 1.0 / 27, []string{"score", "--design", "triangle", "--correct", "3", "--trials", "3"}},
		// The Bayes factor of p uniform from 1/3 to 1 against 1/3: (1 − 3⁻²)/2 / (2/3) / (1/3) = 2 after one right answer.
		{"e_value", 2, []string{"score", "--design", "triangle", "--correct", "1", "--trials", "1", "--plan", "sequential"}},
		{"discriminators", 0.25, []string{"score", "--design", "triangle", "--correct", "15", "--trials", "30"}},
		// Of 3 trials only 3 right have a p below 0.05, and a listener of p_d 0.5 is right in 2/3: (2/3)³.
		{"achieved_power", 8.0 / 27, []string{"power", "--design", "triangle", "--discriminators", "0.5", "--trials", "3"}},
	} {
		if got := number(c.key, c.args...); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v: %s is %v, want %v", c.args, c.key, got, c.want)
		}
	}
	for _, design := range []string{"same-different", "tetrad", "taste"} {
		command(t, exitUsage, "power", "--design", design, "--p-true", "0.7")
	}
	command(t, 0, "power", "--design", "triangle", "--p-true", "0.6", "--trials", "60", "--plan", "sequential", "--rule-out", "0.4")
	command(t, 0, "power", "--design", "triangle", "--p-true", "0.6", "--trials", "20", "--listeners", "4")
	command(t, exitRejected, "power", "--design", "two-interval", "--p-true", "0.4")
	command(t, exitRejected, "power", "--design", "triangle", "--p-true", "0.33")
	command(t, 0, "power", "--design", "triangle", "--p-true", "0.4")
}

// A plan whose design this program does not know, as a later version or an edit by hand might leave, is refused by all
// that reads it, and never scored as another.
func TestUnknownDesignIsRefusedEverywhere(t *testing.T) {
	dir := playedStudy(t, trials.Independent)
	t.Setenv("HEARDIFF_STUDY", dir)
	sqlTamper(`UPDATE plans SET body = REPLACE(body, '"design":"abx"', '"design":"tetrad"')`)(t, dir)
	if code, said := inStudyFolder(t, dir, &struct{}{}, "verify"); code != exitRejected { // it names what was changed in the plan
		t.Errorf("verify: exit %d, %s", code, said)
	}
	for _, args := range [][]string{{"results"}, {"link"}, {"pool"}, {"plan", "list"}, {"plan", "show", "1"}, {"export", "--csv", filepath.Join(t.TempDir(), "tables")},
		{"export", "--out", filepath.Join(t.TempDir(), "bundle")}, {"report", "--out", filepath.Join(t.TempDir(), "page.html")},
		{"listen", "--plan", "1", "--listener", "ear", "--plain", "--device", "null"}} {
		var out, errs strings.Builder
		code := run(context.Background(), args, strings.NewReader("quit\n"), &out, &errs)
		if said := out.String() + errs.String(); code == 0 || !strings.Contains(said, `design "tetrad" unknown`) {
			t.Errorf("%v: exit %d, %s", args, code, said)
		}
	}
}
