package main

import (
	"strings"
	"testing"
)

// The tab key offers what the study holds, wherever it may stand, and nothing where there is no study.
func TestTheStudyIsCompleted(t *testing.T) {
	folder := listeningStudy(t, "abx", 4)
	command(t, 0, "listener", "add", "Wren", "--group", "trained")
	answerPlan(t)
	id := ""
	for _, tt := range []struct{ line, want string }{
		{"capture add", "left"}, {"chain rename", "right"}, {"chain add box --after", "left"}, {"plan new --a", "right"},
		{"capture remove", "1\tleft, music"}, {"capture refile", "2\tright, music"}, {"excerpt remove", "e\tmusic, 2.0 s from 1.0 s"},
		{"plan new --excerpt", "e\t"}, {"plan show", "1\tabx, left – right"}, {"listen --plan", "1\tabx"}, {"export --plan", "1\tabx"},
		{"listen --plan 1 --listener", "Wren\ttrained"}, {"listener forget", "Wren"}, {"results", "L1, plan 1"}, {"prepare --music", "music"},
		{"prepare --of", "e\t"}, {"prepare --ladder gain --chain", "left"},
	} {
		out, _ := command(t, 0, append(append([]string{"__complete"}, strings.Fields(tt.line)...), "")...)
		if !strings.Contains(out, tt.want) {
			t.Errorf("%s offers %q, want %q in it", tt.line, out, tt.want)
		}
		if tt.line == "results" {
			id, _, _ = strings.Cut(out, "\t")
		}
	}
	if out, _ := command(t, 0, "results", id); !strings.Contains(out, "L1") {
		t.Errorf("the session that was offered, %q, is not taken: %s", id, out)
	}
	if out, _ := command(t, 0, "__complete", "capture", "add", "left", ""); strings.Contains(out, "right") {
		t.Errorf("a chain is offered for a file: %q", out)
	}
	t.Setenv("HEARDIFF_STUDY", t.TempDir())
	if out, errs := command(t, 0, "__complete", "listen", "--plan", ""); out != ":4\n" || strings.Contains(errs, "study") {
		t.Errorf("without a study: %q, %q", out, errs)
	}
	if out, _ := command(t, 0, "__complete", "listen", "--study", folder, "--plan", ""); !strings.Contains(out, "1\tabx") {
		t.Errorf("with --study: %q", out)
	}
}
