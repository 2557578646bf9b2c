package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// mendingStudy holds two chains with music, an excerpt of it, and a third chain of which nothing is recorded.
func mendingStudy(t *testing.T) (study string) {
	t.Helper()
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "direct", "--cost", "10")
	command(t, 0, "chain", "add", "isolatr", "--after", "direct")
	command(t, 0, "chain", "add", "spare")
	for k, chain := range []string{"direct", "isolatr"} {
		file := filepath.Join(dir, chain+".wav")
		saveWords(t, file, noisy(music(3), k))
		command(t, 0, "capture", "add", chain, file, "--as", "music")
	}
	return study
}

// Slips of a study that has no results are mended, one by one; the record keeps each, and what comes later agrees.
func TestSlipsAreMended(t *testing.T) {
	study := mendingStudy(t)
	command(t, 0, "study", "retitle", "Can anybody hear it?", "--why", "a clearer question")
	command(t, 0, "chain", "rename", "isolatr", "isolator", "--why", "misspelt")
	command(t, 0, "chain", "correct", "isolator", "--cost", "60", "--about", "galvanic", "--why", "the invoice")
	command(t, 0, "chain", "correct", "direct", "--cost", "none")
	command(t, 0, "chain", "correct", "spare", "--role", "floor")
	command(t, 0, "chain", "remove", "spare")
	command(t, 0, "prepare", "--excerpt", "0.2:1", "--name", "early")
	command(t, 0, "excerpt", "remove", "early", "--why", "cut in the wrong place")
	if left, err := os.ReadDir(filepath.Join(study, "audio", "excerpts")); err != nil || len(left) > 0 {
		t.Errorf("left of the excerpt: %v, %v", left, err)
	}
	command(t, 0, "prepare", "--excerpt", "0.5:2", "--name", "early")
	out, _ := command(t, 0, "study", "show", "--json")
	for _, part := range []string{`"title":"Can anybody hear it?"`, `{"name":"direct","about":"","cost":null,"role":"source"}`,
		`{"name":"isolator","about":"galvanic","cost":60,"role":"source","after":"direct"}`, `"chain":"isolator"`, `"excerpts":[{"excerpt":"early"`} {
		if !strings.Contains(out, part) {
			t.Errorf("the study has no %s:\n%s", part, out)
		}
	}
	for _, gone := range []string{"isolatr\"", "spare"} {
		if strings.Contains(out, gone) {
			t.Errorf("%s is still there:\n%s", gone, out)
		}
	}
	proved(t, 0)
	changes, _ := command(t, 0, "study", "changes")
	for _, line := range []string{`title was "a test", and is "Can anybody hear it?": a clearer question`, `chain "isolatr": is called "isolator": misspelt`,
		`capture "2": chain was "isolatr", and is "isolator": misspelt`, `about was "", and is "galvanic"; cost was none, and is 60: the invoice`,
		`role was "source", and is "floor"`, `chain "spare": was removed`, `excerpt "early": was removed: cut in the wrong place`} {
		if !strings.Contains(strings.Join(strings.Fields(changes), " "), line) {
			t.Errorf("the changes have no %s:\n%s", line, changes)
		}
	}
	if n := strings.Count(changes, " UTC "); n != 8 {
		t.Errorf("%d changes:\n%s", n, changes)
	}
}

// What results may rest on stays: the refusal says what does, and what to do instead; a later title is the report's and verified with it.
func TestWhatResultsRestOnStays(t *testing.T) {
	mendingStudy(t)
	command(t, 0, "prepare", "--excerpt", "0.5:2", "--name", "early")
	refusals := []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"chain", "rename", "isolatr", "isolator"}, 3, []string{`excerpt "early"`, "heardiff excerpt remove early"}},
		{[]string{"chain", "remove", "isolatr"}, 3, []string{`excerpt "early"`}},
		{[]string{"chain", "rename", "spare", "direct"}, 3, []string{"already in the study"}},
		{[]string{"chain", "rename", "none", "some"}, 3, []string{"not in the study"}},
		{[]string{"chain", "correct", "direct", "--role", "floor"}, 3, []string{`excerpt "early"`}},
		{[]string{"chain", "correct", "direct", "--after", "isolatr"}, 3, []string{"feed itself"}},
		{[]string{"chain", "correct", "direct", "--after", "direct"}, 3, []string{"feed itself"}},
		{[]string{"chain", "correct", "direct"}, 2, []string{"nothing to correct"}},
		{[]string{"chain", "correct", "direct", "--cost", "dear"}, 2, []string{"--cost"}},
		{[]string{"chain", "correct", "direct", "--cost", "-1"}, 2, []string{"zero or more"}},
		{[]string{"chain", "rename", "spare", "a/b"}, 2, []string{"letters"}},
		{[]string{"study", "retitle", ""}, 2, []string{"title"}},
		{[]string{"excerpt", "remove", "late"}, 3, []string{"not in the study"}},
		{[]string{"capture", "remove", "1"}, 3, []string{"heardiff excerpt remove early"}},
		{[]string{"capture", "remove", "1", "--why", "a\x1bb"}, 2, []string{"--why"}},
	}
	plan := []string{"plan", "new", "--design", "abx", "--a", "direct", "--b", "isolatr", "--trials", "10"}
	for i, r := range refusals {
		if i == 3 { // with a plan the excerpt stays as well
			command(t, 0, plan...)
		}
		errs := refused(t, r.code, r.args...)
		for _, part := range r.says {
			if i > 3 {
				part = strings.Replace(part, `excerpt "early"`, `plan "1"`, 1)
			}
			if !strings.Contains(errs, part) {
				t.Errorf("%v: said %q, want %q in it", r.args, errs, part)
			}
		}
	}
	if errs := refused(t, 3, "excerpt", "remove", "early"); !strings.Contains(errs, `plan "1"`) {
		t.Errorf("said %q", errs)
	}
	command(t, 0, "chain", "correct", "isolatr", "--about", "galvanic", "--cost", "60")
	proved(t, 0)
}

// A title that is corrected after results are in is the report's, which proves it; a report made before keeps its own, and results
// that were sent out under the old one come home.
func TestALaterTitleIsProved(t *testing.T) {
	listeningStudy(t, "abx", 4)
	answerPlan(t)
	bundle := awayAndBack(t)
	dir := t.TempDir()
	before, after := filepath.Join(dir, "before.html"), filepath.Join(dir, "after.html")
	command(t, 0, "report", "--out", before)
	command(t, 0, "study", "retitle", "A clearer question?")
	command(t, 0, "import", bundle)
	command(t, 0, "report", "--out", after)
	proved(t, 0)
	for path, title := range map[string]string{before: "a test", after: "A clearer question?"} {
		proved(t, 0, path)
		page := contentOf(t, path)
		if !strings.Contains(page, "<title>"+title) {
			t.Errorf("%s is not titled %q", filepath.Base(path), title)
		}
	}
}
