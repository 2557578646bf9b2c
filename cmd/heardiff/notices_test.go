package main

import (
	"os/exec"
	"strings"
	"testing"
)

// Every module that is linked in has its licence in the notices, in the version that is used.
func TestEveryModuleHasItsNotice(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}} {{.Version}}{{end}}", ".").Output()
	must(t, err)
	seen := 0
	for line := range strings.Lines(string(out)) {
		module := strings.TrimSpace(line)
		if module == "" || strings.HasPrefix(module, "heardiff") {
			continue
		}
		seen++
		_, text, found := strings.Cut(notices, "==== "+module+"\n")
		text, _, _ = strings.Cut(text, "\n==== ")
		if !found || len(text) < 200 {
			t.Errorf("%s: no notice", module)
		}
	}
	if seen == 0 {
		t.Error("no modules: the test tests nothing")
	}
}
