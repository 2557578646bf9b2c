package main

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

func TestVersionIsTheNewestOfTheChanges(t *testing.T) {
	changes, err := os.ReadFile("../../CHANGELOG.md")
	must(t, err)
	newest := regexp.MustCompile(`(?m)^## (\S+)`).FindSubmatch(changes)
	if newest == nil || string(newest[1]) != release {
		t.Errorf("CHANGELOG.md begins with %q, the program is %s", newest, release)
	}
}

func TestVersionSaysWhatItWasBuiltFrom(t *testing.T) {
	var v struct {
		Schema, Version, Go string
		Modules             []struct{ Path, Version string }
	}
	decode(t, &v, "version", "--json")
	if v.Schema != "heardiff.version/1" || v.Version != release || !strings.HasPrefix(v.Go, "go1.") || len(v.Modules) == 0 {
		t.Errorf("%+v", v)
	}
	out, _ := command(t, 0, "--version")
	if !strings.HasPrefix(out, "heardiff "+release) {
		t.Errorf("--version prints %q", out)
	}
	for v, want := range map[string]programVersion{
		"1.0":                         {Version: "1.0"},
		"1.0 (0123456789ab)":          {Version: "1.0", Commit: "0123456789abcdef"},
		"1.0 (0123456789ab, changed)": {Version: "1.0", Commit: "0123456789abcdef", Modified: true},
	} {
		if want.String() != v {
			t.Errorf("%+v is written %q, want %q", want, want.String(), v)
		}
	}
}
