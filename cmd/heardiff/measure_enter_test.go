package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWhyATableCannotBeReadIsSaid(t *testing.T) {
	dir, _ := emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		must(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	gone := filepath.Join(dir, "gone.csv")
	latin := write("latin.csv", "metric,value,unit,limit,source\nrandom_jitter_ps,1,ps,,B\xfcro\n")
	short := write("short.csv", "metric,value\nx,1\n")
	for _, args := range [][]string{{"measure", "enter", "box"}, {"pool"}, {"fit"}} {
		for file, want := range map[string][2]string{ // what is said, and not said
			gone: {"no such file", "hint"}, latin: {"hint: save the table as UTF-8", "columns"}, short: {"is missing", "UTF-8"},
		} {
			said := refused(t, exitRejected, append(args, file)...)
			if !strings.Contains(said, want[0]) || strings.Contains(said, want[1]) {
				t.Errorf("%q %s: %q", args, filepath.Base(file), said)
			}
		}
	}
}

func TestFiguresAreEnteredAllOrNone(t *testing.T) {
	dir, folder := emptyStudy(t)
	command(t, 0, "chain", "add", "optical")
	file := filepath.Join(dir, "f.csv")
	must(t, os.WriteFile(file, []byte("metric,value,unit,limit,source\nrandom_jitter_ps,42.5,ps,5,invented sheet\nhum_db,x,dB,,s\n"), 0o600))
	_, errs := command(t, exitRejected, "measure", "enter", "optical", file)
	if !strings.Contains(errs, "line 3") {
		t.Error(errs)
	}
	must(t, os.WriteFile(file, []byte("metric,value,unit,limit,source\nrandom_jitter_ps,42.5,ps,5,invented sheet\n"), 0o600))
	command(t, exitRejected, "measure", "enter", "other", file)
	command(t, exitRejected, "measure", "enter", "optical", file+"x")
	command(t, exitUsage, "measure", "enter", "optical")
	out, errs := command(t, 0, "measure", "enter", "optical", file)
	if !strings.Contains(out, "entered, not measured") || !strings.Contains(out, "42.5") || errs != "" {
		t.Errorf("%s%s", out, errs)
	}
	slip := filepath.Join(dir, "slip.csv")
	must(t, os.WriteFile(slip, []byte("metric,value,unit,limit,source\nrandom_jiter_ps,1,ps,,a slip\n"), 0o600))
	if _, errs = command(t, 0, "measure", "enter", "optical", slip); !strings.Contains(errs, `"random_jiter_ps"`) {
		t.Errorf("a metric that nothing compares: %q", errs)
	}
	// Entering once more puts the new value in place of the old one of the same source.
	command(t, 0, "measure", "enter", "optical", file)
	s := openIn(t, folder)
	defer s.Close()
	list, err := s.EnteredFigures(t.Context())
	must(t, err)
	if len(list) != 2 || list[1].Chain != "optical" || *list[1].Value != 42.5 || *list[1].Limit != 5 {
		t.Errorf("in the study: %+v", list)
	}
}
