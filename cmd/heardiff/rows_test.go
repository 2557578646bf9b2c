package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/stats"
)

func TestTablesAreReadOrRefused(t *testing.T) {
	for name, c := range map[string]struct{ text, fault string }{
		"columns in any order":     {"trials,correct,listener,group\n16,12,a,x\n", ""},
		"a mark, capitals, spaces": {"\ufeffListener, Group ,CORRECT,trials\n a,x, 12,16\n", ""},
		"comments and more":        {"# of an evening\nlistener,group,correct,trials,note\na,x,12,16,tired\n", ""},
		"empty":                    {"", "empty"},
		"head alone":               {"listener,group,correct,trials\n", "no rows"},
		"column missing":           {"listener,group,correct\na,x,12\n", `column "trials" is missing`},
		"column twice":             {"listener,group,correct,trials,trials\na,x,1,2,2\n", "twice"},
		"a cell too many":          {"listener,group,correct,trials\na,x,1,2,3\n", "wrong number of fields"},
		"a fraction":               {"listener,group,correct,trials\na,x,1.5,2\n", `line 2: correct "1.5"`},
		"negative":                 {"listener,group,correct,trials\na,x,-1,2\n", `correct "-1"`},
		"more right than asked":    {"listener,group,correct,trials\na,x,3,2\n", "3 correct of 2"},
		"no name":                  {"listener,group,correct,trials\n,x,1,2\n", "no name"},
		"too long for a number":    {"listener,group,correct,trials\na,x,1,99999999999999999999\n", "whole number"},
		"a quote left open":        {"listener,group,correct,trials\n\"a,x,1,2\n", "quote"},
	} {
		table, err := readRows(strings.NewReader(c.text), "listener", "group", "correct", "trials")
		if err == nil {
			_, err = listenersOf(table)
		}
		if (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%s: error %v, want %q", name, err, c.fault)
		}
	}
}

// Counts that no test ever had must be refused at once: not taken for memory, nor overflow, nor be worked at for ever.
func TestAbsurdCountsAreRefusedAtOnce(t *testing.T) {
	file := filepath.Join(t.TempDir(), "t.csv")
	for name, c := range map[string]struct {
		args []string
		text string
	}{
		"a listener of 10¹² trials":               {[]string{"pool", file}, "listener,group,correct,trials\na,x,5,1000000000000\nb,x,6,12\n"},
		"a listener of 2·10⁹ trials":              {[]string{"pool", file}, "listener,group,correct,trials\na,x,5,2000000000\n"},
		"rows that overflow when added":           {[]string{"pool", file}, "listener,group,correct,trials\na,x,5,9000000000000000000\na,x,5,9000000000000000000\n"},
		"a dose of 10¹² trials":                   {[]string{"fit", file}, "dose,correct,trials\n1,5,1000000000000\n2,6,12\n3,6,9\n"},
		"doses that overflow when added":          {[]string{"fit", file}, "dose,correct,trials\n1,5,2000000000\n1,5,2000000000\n2,6,1000\n3,6,9\n"},
		"a score of 10¹² trials":                  {[]string{"score", "--design", "abx", "--correct", "5", "--trials", "1000000000000"}, ""},
		"duplicate pairs by the thousand million": {[]string{"score", "--design", "same-different", "--hits", "1000000000", "--misses", "1", "--false-alarms", "1", "--correct-rejections", "1"}, ""},
	} {
		must(t, os.WriteFile(file, []byte(c.text), 0o600))
		if _, errs := command(t, exitRejected, c.args...); !strings.Contains(errs, "at most") {
			t.Errorf("%s: %q", name, errs)
		}
	}
}

// Whatever the table, reading it ends in counts and doses that are in range, or in an error.
func FuzzReadRows(f *testing.F) {
	f.Add("listener,group,correct,trials\na,x,12,16\n")
	f.Add("dose,correct,trials,listener\n0.5,12,16,a\n1e3,16,16,a\n")
	f.Add("\ufeffListener, Group ,CORRECT,trials\n# a remark\n\"a \"\"b\"\"\",x, 12,16\n")
	f.Add("dose,correct,trials\nNaN,1,2\n-Inf,1,2\n")
	f.Fuzz(func(t *testing.T, text string) {
		if table, err := readRows(strings.NewReader(text), "listener", "group", "correct", "trials"); err == nil {
			if len(table.cells) == 0 || len(table.lines) != len(table.cells) {
				t.Fatalf("%d rows on %d lines, and no error", len(table.cells), len(table.lines))
			}
			if listeners, err := listenersOf(table); err == nil {
				for _, l := range listeners {
					if l.Listener == "" || l.Correct < 0 || l.Trials < 1 || l.Correct > l.Trials {
						t.Fatalf("%+v", l)
					}
				}
				poolFew(t, listeners)
			}
		}
		if table, err := readRows(strings.NewReader(text), "dose", "correct", "trials"); err == nil {
			if points, err := dosesOf(table); err == nil {
				for _, p := range points {
					if math.IsNaN(p.Dose) || math.IsInf(p.Dose, 0) || p.Correct < 0 || p.Trials < 1 || p.Correct > p.Trials {
						t.Fatalf("%+v", p)
					}
				}
			}
		}
	})
}

// poolFew pools what is quickly pooled: it must end in figures or an error, never in a panic.
func poolFew(t *testing.T, listeners []stats.Listener) {
	t.Helper()
	for _, l := range listeners {
		if l.Trials > 1000 || len(listeners) > 10 {
			return
		}
	}
	if p, err := stats.PoolListeners(listeners, stats.ScoreConfig{}); err == nil && !(p.Total.P >= 0 && p.Total.P <= 1) {
		t.Fatalf("p %v of %+v", p.Total.P, listeners)
	}
}
