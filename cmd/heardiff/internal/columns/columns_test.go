package columns

import (
	"strings"
	"testing"

	"heardiff/stats"
)

// FuzzTables: whatever a table holds, reading it ends in rows or in one line that says why.
func FuzzTables(f *testing.F) {
	f.Add("listener,group,correct,trials\nL1,g,12,16\n")
	f.Add("\ufeffdose;correct;trials\n1,5;5;10\n")
	f.Fuzz(func(t *testing.T, text string) {
		for _, wanted := range [][]string{{"listener", "group", "correct", "trials"}, {"dose", "correct", "trials"}} {
			r, err := Read(strings.NewReader(text), wanted...)
			if err == nil && r.Has("listener") {
				_, err = Listeners(r)
			}
			if err == nil && r.Has("dose") {
				_, err = Doses(r)
			}
			if err != nil {
				oneLineOnly(t, err)
			}
		}
	})
}

// FuzzTableNumbers: rows that pass can be pooled and fitted without a panic. A fit takes milliseconds, so it runs slowly.
func FuzzTableNumbers(f *testing.F) {
	for _, seed := range []string{
		"listener,group,correct,trials\nL1,g,12,16\n", "dose,correct,trials,listener\n1,5,10,a\n2,9,10,b\n", "site,listener,group,correct,trials\nn,a,g,1,2\ns,b,g,2,2\n",
		"", "listener\n", "dose,correct,trials\n1e308,5,10\n1e-308,9,10\n", "dose,dose\n1,1\n", "\ufeffdose,correct,trials\n-1,0,1\n0,1,1\n", "a,\"b\n", "dose,correct,trials\nNaN,1,1\n",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if r, err := Read(strings.NewReader(text), "listener", "group", "correct", "trials"); err == nil {
			if l, err := Listeners(r); err == nil && small(l) {
				if _, err := stats.PoolListeners(l, stats.ScoreConfig{}); err != nil {
					oneLineOnly(t, err)
				}
			}
		} else {
			oneLineOnly(t, err)
		}
		r, err := Read(strings.NewReader(text), "dose", "correct", "trials")
		if err != nil {
			return
		}
		points, err := Doses(r)
		if err != nil || len(points) > 3 {
			return
		}
		for _, p := range points {
			if p.Trials > 100 {
				return
			}
		}
		if _, err := stats.FitCurve(points, stats.FitConfig{}); err != nil {
			oneLineOnly(t, err)
			return
		}
		if _, err := stats.CochranArmitage(points, false); err != nil {
			t.Errorf("fitted, yet no trend: %v", err)
		}
		if _, err := stats.IsotonicCurve(points, 0); err != nil {
			t.Errorf("fitted, yet no rising curve: %v", err)
		}
	})
}

// small keeps the fuzzer fast.
func small(listeners []stats.Listener) bool {
	for _, l := range listeners {
		if l.Trials > 100 {
			return false
		}
	}
	return len(listeners) <= 4
}

func oneLineOnly(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); s == "" || len(s) > 2000 || strings.ContainsAny(s, "\n\r") {
		t.Errorf("not one line: %q", s)
	}
}
