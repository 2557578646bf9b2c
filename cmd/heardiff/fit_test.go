package main

import (
	"fmt"
	"strings"
	"testing"
)

func TestFitThatIsNotEarnedSaysWhatTheDataCan(t *testing.T) {
	for name, c := range map[string]struct {
		rows []string
		says string
	}{
		"two doses":          {[]string{"dose,correct,trials", "1,5,10", "10,9,10"}, "2 doses"},
		"no upper limit":     {[]string{"dose,correct,trials", "1,20,40", "2,21,40", "4,22,40", "8,24,40"}, "no upper limit"},
		"a curve that bends": {[]string{"dose,correct,trials", "1,95,100", "2,50,100", "4,95,100", "8,60,100", "16,99,100"}, "does not fit"},
		"flat":               {[]string{"dose,correct,trials", "1,20,40", "2,20,40", "4,20,40", "8,20,40"}, "do not rise"},
	} {
		path := tableFile(t, c.rows...)
		text, _ := command(t, 0, "fit", path)
		json, _ := command(t, 0, "fit", path, "--json")
		if !strings.Contains(text, c.says) || !strings.Contains(text, "Cochran-Armitage") || !strings.Contains(text, "isotonic, %") {
			t.Errorf("%s:\n%s", name, text)
		}
		if !strings.Contains(json, `"earned":false`) || !strings.Contains(json, `"p_exact"`) {
			t.Errorf("%s: %s", name, json)
		}
	}
	text, _ := command(t, 0, "fit", tableFile(t, "dose,correct,trials", "25,31,60", "50,35,60", "75,40,60", "100,46,60", "150,54,60", "200,58,60", "400,60,60"))
	if strings.Contains(text, "not earned") {
		t.Errorf("seven doses of sixty trials:\n%s", text)
	}
}

func TestFitWithAThresholdForEachListener(t *testing.T) {
	rows := []string{"dose,correct,trials,listener"}
	for i, counts := range [][]string{{"6", "9", "12", "12"}, {"5", "6", "8", "12"}, {"7", "11", "12", "12"}, {"6", "5", "7", "10"}} {
		for d, k := range counts {
			rows = append(rows, fmt.Sprintf("%d,%s,12,L%d", 1<<d, k, i))
		}
	}
	path := tableFile(t, rows...)
	text, _ := command(t, 0, "fit", "--pooled", "random", path)
	if !strings.Contains(text, "4 listeners, thresholds normal about a mean") {
		t.Errorf("%s", text)
	}
	json, _ := command(t, 0, "fit", "--pooled", "random", "--json", path)
	if !strings.Contains(json, `"between_sd"`) {
		t.Errorf("%s", json)
	}
	command(t, 2, "fit", "--pooled", "random", "--lapse", "free", path)
	command(t, 2, "fit", "--pooled", "somehow", path)
	command(t, 3, "fit", "--pooled", "random", tableFile(t, "dose,correct,trials", "1,5,10", "2,8,10"))
}

func TestFitNamesTheDoseThatTeachesMost(t *testing.T) {
	path := tableFile(t, "dose,correct,trials", "1,10,20", "4,15,20", "16,20,20")
	text, _ := command(t, 0, "fit", "--next", path)
	if !strings.Contains(text, "next trial teaches most") || !strings.Contains(text, "in the file, at 4 ") {
		t.Errorf("%s", text)
	}
	json, _ := command(t, 0, "fit", "--next", "--json", path)
	if !strings.Contains(json, `"dose_tested":4,`) {
		t.Errorf("%s", json)
	}
}
