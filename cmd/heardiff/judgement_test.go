package main

import (
	"go/ast"
	"regexp"
	"strings"
	"testing"
)

// harmless is what a comment says of a judgement that no test holds: it decides how long something takes or how much is shown.
const harmless = "no figure depends on it"

var (
	judgementText = regexp.MustCompile(`[Jj]udgements?, no source`)
	testName      = regexp.MustCompile(`\b(Test|Benchmark|Fuzz|Example)[A-Z]\w*`)
)

// What somebody judged, without a source, names the test that holds it, which exists, or says that no figure depends on it.
func TestJudgementsNameTheirTest(t *testing.T) {
	known, seen := testsOfTheTree(t), 0
	eachSource(t, codeRooms, func(s source) {
		if strings.HasSuffix(s.path, "_test.go") {
			return
		}
		for _, c := range s.Comments {
			text := strings.Join(strings.Fields(c.Text()), " ")
			if !judgementText.MatchString(text) {
				continue
			}
			seen++
			for _, fault := range unheld(text, known) {
				t.Errorf("%s: %s: %.120s", s.path, fault, text)
			}
		}
	})
	if seen < 100 {
		t.Errorf("only %d judgements were read", seen)
	}
}

// unheld says what a judgement lacks.
func unheld(text string, known map[string]bool) (faults []string) {
	names := testName.FindAllString(text, -1)
	for _, name := range names {
		if !known[name] {
			faults = append(faults, "there is no "+name)
		}
	}
	if len(names) == 0 && !strings.Contains(text, harmless) {
		faults = append(faults, "no test is named")
	}
	return faults
}

func TestAJudgementWithoutATestIsFound(t *testing.T) {
	known := map[string]bool{"TestThis": true}
	for text, want := range map[string]int{
		"a judgement, no source": 1, "judgement, no source; TestThis holds it": 0, "judgement, no source; TestThat holds it": 1,
		"judgement, no source: " + harmless: 0,
	} {
		if got := unheld(text, known); len(got) != want {
			t.Errorf("%q: %q", text, got)
		}
	}
}

// testsOfTheTree are the names of all tests, benchmarks, examples and fuzz targets.
func testsOfTheTree(t *testing.T) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	eachSource(t, codeRooms, func(s source) {
		for _, d := range s.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && testName.MatchString(f.Name.Name) {
				names[f.Name.Name] = true
			}
		}
	})
	return names
}
