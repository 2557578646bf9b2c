package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials/link"
)

// laxPlan sends a kit to another site, which makes a plan of its own in it, where L1 answers every trial rightly, and returns
// what the site sends back.
func laxPlan(t *testing.T, alpha float64, count int) string {
	t.Helper()
	return sentBack(t, func() {
		addLaxPlan(t, alpha, count)
		sitThrough(t, "lax", "L1", oracleAnswer)
	})
}

// addLaxPlan adds a plan that "plan new" refuses, as a program that was altered would.
func addLaxPlan(t *testing.T, alpha float64, count int) {
	t.Helper()
	ctx := context.Background()
	s := openRecord(t, os.Getenv("HEARDIFF_STUDY"))
	defer s.Close()
	p, err := s.Plan(ctx, "1")
	must(t, err)
	p.ID, p.Alpha, p.Comparisons[0].Trials = "lax", alpha, count
	must(t, s.AddPlan(ctx, p))
}

// One right answer of one is 'heard' at a risk of one in two, and four of four at one in ten (1/16 by the binomial): neither may
// decide anything in a study that was planned at 0.05.
func TestAPlanMadeElsewhereIsJudgedByThisStudysRules(t *testing.T) {
	listeningStudy(t, "abx", 5)
	before, _ := command(t, 0, "study", "show", "--json")
	if said := refused(t, exitRejected, "import", laxPlan(t, 0.5, 1)); !strings.Contains(said, "lax") || !strings.Contains(said, "0.5") {
		t.Errorf("said %q", said)
	}
	if after, _ := command(t, 0, "study", "show", "--json"); after != before {
		t.Errorf("the study changed:\n%s\n%s", before, after)
	}
	_, said := command(t, 0, "import", laxPlan(t, 0.1, 4))
	if !strings.Contains(said, `plan "lax"`) || !strings.Contains(said, "was not made in this study") {
		t.Errorf("taken without a word: %q", said)
	}
	for _, v := range sameEverywhere(t, 2) {
		if v.Verdict == link.HeardIt {
			t.Errorf("p %v, %v over the study, is %s: %s", v.PValue, v.PStudy, v.Verdict, v.Reason)
		}
	}
}

// Which of two groups is compared with which follows from the study, not from whose results came first.
func TestGroupsAreComparedInOneOrder(t *testing.T) {
	home := listeningStudy(t, "abx", 5)
	copied := filepath.Join(t.TempDir(), "copy")
	must(t, os.CopyFS(copied, os.DirFS(home)))
	trained, untrained := awayAndBack(t, "--group", "trained"), awayAndBack(t, "--group", "untrained")
	pooled := func(study string, order ...string) string {
		t.Setenv("HEARDIFF_STUDY", study)
		for _, b := range order {
			command(t, 0, "import", b)
		}
		out, _ := command(t, 0, "pool")
		if !strings.Contains(out, "trained") {
			t.Fatalf("no groups: %s", out)
		}
		return out
	}
	if one, other := pooled(home, trained, untrained), pooled(copied, untrained, trained); one != other {
		t.Errorf("the order of import makes a difference:\n%s\n%s", one, other)
	}
}

// A study's sessions are signed with the key that they were begun under: with another one nobody calls the record edited.
func TestExportUnderAnotherKeyHints(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	answerPlan(t)
	at(t, t.TempDir(), "elsewhere")
	t.Setenv("HEARDIFF_STUDY", study)
	said := refused(t, exitRejected, "export", "--out", filepath.Join(t.TempDir(), "b"))
	if strings.Contains(said, "edited") || !strings.Contains(said, "key") || !strings.Contains(said, "heardiff: hint: ") {
		t.Errorf("said %q", said)
	}
}
