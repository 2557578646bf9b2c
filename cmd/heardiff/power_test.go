package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials"
)

// Counts 9 of 10 and 15 of 20, sizes and powers: exact recursion in scipy 1.10.1, testdata/statistics/group_sequential_binomial.csv.
func TestSequentialPowerOfAGroupBoundaryIsExact(t *testing.T) {
	var r struct {
		Boundary string
		Alpha    float64 `json:"achieved_alpha"`
		Power    float64 `json:"achieved_power"`
		Effect   struct {
			Expected float64 `json:"expected_trials"`
		}
		Looks struct {
			Heard []int `json:"heard_at"`
		}
		Stops []struct{ Heard float64 } `json:"stops_where_nothing_heard"`
	}
	out := decode(t, &r, "power", "--p-true", "0.7", "--trials", "20", "--plan", "sequential", "--boundary", "pocock", "--looks", "2", "--json")
	if r.Boundary != "pocock" || len(r.Looks.Heard) != 2 || r.Looks.Heard[0] != 9 || r.Looks.Heard[1] != 15 {
		t.Fatalf("%s", out)
	}
	for _, c := range []struct{ got, want float64 }{{r.Alpha, 0.0271472930908}, {r.Power, 0.435899928863}, {r.Effect.Expected, 18.506916541}, {r.Stops[0].Heard, 11.0 / 1024}} {
		if math.Abs(c.got/c.want-1) > 1e-10 {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
}

func TestPowerOfAPanelIsSimulatedAlikeEachTime(t *testing.T) {
	args := []string{"power", "--p-true", "0.6", "--listeners", "12", "--rho", "0.1", "--trials", "20"}
	one, _ := command(t, 0, args...)
	two, _ := command(t, 0, args...)
	if one != two || !strings.Contains(one, "12 listeners of 20 trials each") {
		t.Errorf("%s%s", one, two)
	}
}

func TestPowerIsDrawn(t *testing.T) {
	file := filepath.Join(t.TempDir(), "power.svg")
	command(t, 0, "power", "--p-true", "0.7", "--trials", "42", "--plot", file)
	if data, err := os.ReadFile(file); err != nil || !strings.Contains(string(data), "42 trials") {
		t.Errorf("%v", err)
	}
}

func TestPowersMistakesAreNamed(t *testing.T) {
	for _, c := range []struct {
		args string
		exit int
		says string
	}{
		{"--looks 3", 2, "--plan sequential"},
		{"--plan sequential --boundary wald", 2, "obrien-fleming"},
		{"--plan sequential --looks -1", 2, "--looks"},
		{"--plan sequential --power 0.8 --trials 50", 2, "exclude each other"},
		{"--plan sequential --looks 9 --trials 3", 3, "9 looks"},
		{"--plan sequential --boundary pocock --looks 2 --trials 4", 3, "out of reach"},
		{"--rho 0.3", 2, "--listeners"},
		{"--listeners 0", 2, "--listeners"},
		{"--listeners 3 --rho 1", 2, "--rho"},
		{"--listeners 3 --plan sequential", 2, "--listeners"},
		{"--trials 20 --plot x.gif", 2, ""},
	} {
		if _, errs := command(t, c.exit, append([]string{"power", "--p-true", "0.7"}, strings.Fields(c.args)...)...); !strings.Contains(errs, c.says) {
			t.Errorf("%s: %q does not say %q", c.args, errs, c.says)
		}
	}
}

func TestLooksAreOfOneQuestion(t *testing.T) {
	oneChain(t)
	prepareSteps(t, "gain", "--from", "-1", "--to", "-3", "--steps", "2", "--excerpt", "1:3")
	if _, errs := command(t, 2, "plan", "new", "--ladder", "gain", "--trials", "20", "--stopping", "sequential"); !strings.Contains(errs, "one pair") {
		t.Errorf("two doses under one set of looks: %s", errs)
	}
	command(t, 2, "plan", "new", "--ladder", "gain", "--trials", "20", "--looks", "3")
}

// A listener who is always right is heard at the first look of Pocock's boundary, and the session ends there.
func TestAPlanKeepsTheCountsOfItsBoundary(t *testing.T) {
	listeningStudy(t, "abx", 5)
	out, _ := command(t, 0, "plan", "new", "--a", "left", "--b", "right", "--trials", "20", "--stopping", "sequential", "--boundary", "pocock", "--looks", "2", "--rest", "0", "--json")
	if !strings.Contains(out, `"heard_at":[9,15]`) || !strings.Contains(out, `"boundary":"pocock"`) {
		t.Fatalf("%s", out)
	}
	truthful(t, "2", "L1", 1, func(trials.Comparison) float64 { return 1 })
	text, _ := command(t, 0, "results", "--json")
	if !strings.Contains(text, `"trials":10,"correct":10`) || !strings.Contains(text, `"state":"stopped: heard"`) {
		t.Errorf("the session did not stop at its first look: %s", text)
	}
}

// Without --trials the plan is the smallest whose maximum has the power asked for: it has that power, and with one trial
// fewer it does not. By evidence power never falls as the maximum grows, so nothing smaller has it either.
func TestASequentialPlanIsFoundForAPower(t *testing.T) {
	type plan struct {
		Trials  int     `json:"trials"`
		Power   float64 `json:"achieved_power"`
		RuleOut float64 `json:"achieved_power_to_rule_out"`
	}
	read := func(args ...string) plan {
		var p plan
		decode(t, &p, append([]string{"power", "--plan", "sequential", "--json"}, args...)...)
		return p
	}
	for _, args := range [][]string{{"--p-true", "0.7"}, {"--p-true", "0.65", "--boundary", "obrien-fleming", "--rule-out", "0.3"}} {
		found := read(append(args, "--power", "0.9")...)
		at := read(append(args, "--trials", fmt.Sprint(found.Trials))...)
		less := read(append(args, "--trials", fmt.Sprint(found.Trials-1))...)
		if found.Power < 0.9 || at != found || less.Power >= 0.9 {
			t.Errorf("%v: %+v, with the same trials %+v, with one less %+v", args, found, at, less)
		}
	}
	if p := read("--rule-out", "0.3", "--power", "0.85"); p.RuleOut < 0.85 || read("--rule-out", "0.3", "--trials", fmt.Sprint(p.Trials-1)).RuleOut >= 0.85 {
		t.Errorf("to rule out: %+v", p)
	}
	if _, errs := command(t, 3, "power", "--plan", "sequential", "--p-true", "0.5", "--power", "0.8"); !strings.Contains(errs, "out of reach") {
		t.Error(errs)
	}
}
