package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every table that holds intervals says above it what their confidence is, at whatever confidence was asked for.
func TestTablesNameTheConfidenceOfTheirIntervals(t *testing.T) {
	file := filepath.Join(t.TempDir(), "dose.csv")
	must(t, os.WriteFile(file, []byte("dose,correct,trials\n1,6,10\n2,7,10\n4,9,10\n8,10,10\n"), 0o644))
	for _, args := range []string{
		"score --design abx --correct 12 --trials 16", "score --design triangle --correct 9 --trials 16",
		"score --design same-different --hits 12 --misses 4 --false-alarms 5 --correct-rejections 11", "fit " + file,
	} {
		out, _ := command(t, 0, append(strings.Fields(args), "--confidence", "0.8")...)
		if !strings.HasPrefix(out, "intervals: two-sided, 80 %\n") {
			t.Errorf("%s:\n%s", args, out)
		}
	}
}

// Every Bayes factor, under this name or as the e-value that it is, says what its prior is: where it is printed, in the report's head,
// and in the data dictionary.
func TestEveryBayesFactorNamesItsPrior(t *testing.T) {
	for args, prior := range map[string]string{
		"score --design abx --correct 12 --trials 16":                        "p uniform between 0.5 and 1 against 0.5",
		"score --design two-interval --correct 12 --trials 16":               "p uniform between 0.5 and 1 against 0.5",
		"score --design triangle --correct 9 --trials 16":                    "p uniform between 0.333 and 1 against 0.333",
		"score --design abx --correct 12 --trials 16 --plan sequential":      "p uniform between 0.5 and 1 against 0.5",
		"power --design triangle --plan sequential --trials 40 --p-true 0.6": "p uniform between 0.333 and 1 against 0.333",
	} {
		out, _ := command(t, 0, strings.Fields(args)...)
		for line := range strings.Lines(out) {
			if says := strings.Contains(line, "e-value") || strings.Contains(line, "Bayes factor"); says && !strings.Contains(line, prior) {
				t.Errorf("%s: %q does not name %q", args, line, prior)
			}
		}
		if !strings.Contains(out, prior) {
			t.Errorf("%s: no Bayes factor:\n%s", args, out)
		}
	}
	page, err := os.ReadFile(filepath.Join("internal", "report", "page.html"))
	must(t, err)
	head := regexp.MustCompile(`id="evidence-cap">([^<]*)`).FindSubmatch(page)
	if head == nil || !strings.Contains(string(head[1]), "Bayes factor: the share of right answers uniform between chance and 1, against chance") {
		t.Errorf("the head of the report's table: %q", head)
	}
	listeningStudy(t, "abx", 3)
	answerPlan(t)
	tables := filepath.Join(t.TempDir(), "tables")
	command(t, 0, "export", "--csv", tables)
	dictionary, err := os.ReadFile(filepath.Join(tables, "data_dictionary.csv"))
	must(t, err)
	for line := range strings.Lines(string(dictionary)) {
		if strings.Contains(line, "e_value") && !strings.Contains(line, "p uniform between chance and 1") {
			t.Errorf("the dictionary: %q", line)
		}
	}
	for _, args := range []string{"link", "results", "pool"} { // these print none
		if out, _ := command(t, 0, args); strings.Contains(out, "Bayes") || strings.Contains(out, "e-value") {
			t.Errorf("%s prints one: add it to this test:\n%s", args, out)
		}
	}
}
