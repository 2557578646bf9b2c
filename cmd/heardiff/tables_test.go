package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// readExported reads an exported table.
func readExported(t *testing.T, path string) (head []string, rows [][]string) {
	t.Helper()
	f, err := os.Open(path)
	must(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil || len(all) == 0 {
		t.Fatalf("%s: %d rows, error %v", path, len(all), err)
	}
	return all[0], all[1:]
}

// ofClass reports whether a cell can be read as R's class of that name; testdata/read.R reads the tables so, in R itself.
func ofClass(cell, class string) bool {
	if cell == "NA" {
		return true
	}
	switch class {
	case "integer":
		_, err := strconv.ParseInt(cell, 10, 32)
		return err == nil
	case "numeric":
		_, err := strconv.ParseFloat(cell, 64)
		return err == nil
	case "logical":
		return cell == "TRUE" || cell == "FALSE"
	}
	return class == "character" && cell != ""
}

// The dictionary, which scripts depend on, is fixed; every table has its columns in its order, and every cell the type
// that it names.
func TestTablesAreOfTheTypesTheDictionaryNames(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tables")
	listeningStudy(t, "abx", 6)
	answerPlan(t)
	command(t, 0, "export", "--csv", dir)
	got, err := os.ReadFile(filepath.Join(dir, "data_dictionary.csv"))
	must(t, err)
	if *update {
		must(t, os.WriteFile("testdata/data_dictionary.csv", got, 0o644))
	}
	want, err := os.ReadFile("testdata/data_dictionary.csv")
	if err != nil || string(got) != string(want) {
		t.Errorf("the dictionary changed (error %v): scripts depend on it. Add columns at will, change none.\n%s", err, got)
	}
	columns := map[string][][2]string{}
	_, dictionary := readExported(t, "testdata/data_dictionary.csv")
	for _, d := range dictionary {
		columns[d[0]] = append(columns[d[0]], [2]string{d[1], d[2]})
	}
	if len(columns) != 11 {
		t.Errorf("%d tables", len(columns))
	}
	for name, wanted := range columns {
		head, rows := readExported(t, filepath.Join(dir, name))
		for i, c := range wanted {
			if len(head) != len(wanted) || head[i] != c[0] {
				t.Fatalf("%s: columns %v, want %v", name, head, wanted)
			}
			for _, r := range rows {
				if !ofClass(r[i], c[1]) {
					t.Errorf("%s: %s %q is not %s", name, c[0], r[i], c[1])
				}
			}
		}
	}
}

// The counts of the results agree with the sums over the trials; times read as times.
func TestTablesAgreeWithEachOther(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tables")
	listeningStudy(t, "same-different", 6)
	answerPlan(t)
	command(t, 0, "export", "--csv", dir)
	at := func(head []string, row []string, name string) string {
		for i, h := range head {
			if h == name {
				return row[i]
			}
		}
		t.Fatalf("no column %q", name)
		return ""
	}
	type tally struct{ trials, correct int }
	sums := map[string]*tally{}
	head, rows := readExported(t, filepath.Join(dir, "trials.csv"))
	for _, r := range rows {
		name := at(head, r, "comparison")
		if sums[name] == nil {
			sums[name] = &tally{}
		}
		sums[name].trials++
		if at(head, r, "correct") == "TRUE" {
			sums[name].correct++
		}
		if _, err := time.Parse(time.RFC3339Nano, at(head, r, "at")); err != nil {
			t.Error(err)
		}
	}
	head, rows = readExported(t, filepath.Join(dir, "results.csv"))
	checked := 0
	for _, r := range rows {
		if at(head, r, "kind") != "all" {
			continue
		}
		s := sums[at(head, r, "comparison")]
		if s == nil || at(head, r, "trials") != strconv.Itoa(s.trials) || at(head, r, "correct") != strconv.Itoa(s.correct) {
			t.Errorf("%v: the trials add up to %+v", r, s)
		}
		checked++
	}
	if checked == 0 {
		t.Error("no row of all listeners: the test tests nothing")
	}
}
