package main

import (
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
