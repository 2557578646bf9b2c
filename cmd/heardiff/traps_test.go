package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/stats"
	"heardiff/stats/warning"
	"heardiff/trials"
	"heardiff/trials/study"
)

// Two right of sixteen has a one-sided p near 1 and is no accident: wherever a p is printed, the two-sided one is
// next to it. By hand: 2·(1 + 16 + 120)/2¹⁶ = 274/65536 = 0.00418.
func TestTrapReliablyWrongIsSeenWhereverAPIsPrinted(t *testing.T) {
	const want = "0.004"
	text, _ := command(t, 0, "score", "--design", "abx", "--correct", "2", "--trials", "16")
	if !strings.Contains(text, "two-sided "+want) || !strings.Contains(text, "reliably wrong") {
		t.Errorf("score:\n%s", text)
	}
	table := filepath.Join(t.TempDir(), "listeners.csv")
	must(t, os.WriteFile(table, []byte("listener,group,correct,trials\nwrong,all,2,16\nguesser,all,8,16\n"), 0o600))
	if text, _ = command(t, 0, "pool", table); !columnHolds(text, "two-sided", want) {
		t.Errorf("pool:\n%s", text)
	}
	for _, design := range []trials.Design{trials.ABX, trials.SameDifferent} {
		plan := trials.Plan{Design: design, Alpha: 0.05}
		tally := trials.Tally{Comparison: trials.Comparison{Name: "one"}, Trials: 16, Correct: 2, Hits: 1, Misses: 7, FalseAlarms: 7, CorrectRejections: 1}
		row, err := study.ScoreRow(trials.Result{Plan: plan}, tally)
		must(t, err)
		var out bytes.Buffer
		resultsText(&out, study.ResultsReport{Sessions: []study.SessionReport{{Rows: []study.ComparisonReport{row}}}})
		p := map[trials.Design]string{trials.ABX: want, trials.SameDifferent: "0.010"}[design] // 2·(64 + 1)/C(16, 8) = 0.0101
		if !columnHolds(lay(out.String(), 0), "two-sided", p) {
			t.Errorf("results of %s:\n%s", design, out.String())
		}
	}
}

// columnHolds reports whether a cell under the heading is aligned with its end and reads as given.
func columnHolds(table, heading, cell string) bool {
	lines := strings.Split(table, "\n")
	runes := []rune(lines[0])
	end := len([]rune(lines[0][:strings.Index(lines[0], heading)])) + len([]rune(heading))
	if end > len(runes) {
		return false
	}
	for _, l := range lines[1:] {
		if r := []rune(l); len(r) >= end && strings.HasSuffix(string(r[:end]), cell) {
			return true
		}
	}
	return false
}

type scoreJSON struct {
	P              float64    `json:"p_value"`
	PTwoSided      float64    `json:"p_two_sided"`
	ClopperPearson [2]float64 `json:"clopper_pearson"`
	DPrime         [2]float64 `json:"d_prime_interval"`
	warning.Warnings
}

func scored(t *testing.T, correct, n string) scoreJSON {
	t.Helper()
	var s scoreJSON
	decode(t, &s, "score", "--design", "abx", "--correct", correct, "--trials", n, "--json")
	return s
}

// 12 of 16 reaches 0.05 one-sided (2517/65536), and the two-sided interval still holds one half: both are said.
func TestTrapTwelveOfSixteenIsOneSided(t *testing.T) {
	s := scored(t, "12", "16")
	if s.P > 0.05 || s.PTwoSided <= 0.05 || s.ClopperPearson[0] >= 0.5 || !s.Warned(stats.ChanceInside) {
		t.Errorf("%+v", s)
	}
}

// At chance the curve of d′ is flat: a standard error there is infinite, and one at 9 of 16 would give an interval from
// far below zero. The limits of the proportion, mapped, stay at or above zero and finite, and the lower one is 0 as long
// as one half is not excluded.
func TestTrapNoWaldIntervalOfDPrimeNearZero(t *testing.T) {
	for _, k := range []string{"7", "8", "9", "11"} {
		if s := scored(t, k, "16"); s.DPrime[0] != 0 || !(s.DPrime[1] > 1 && s.DPrime[1] < 5) {
			t.Errorf("%s of 16: %v", k, s.DPrime)
		}
	}
	if s := scored(t, "14", "16"); s.DPrime[0] <= 0 {
		t.Errorf("14 of 16 excludes one half, its interval of d′ does not exclude 0: %v", s.DPrime)
	}
}
