package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The tab key offers what the study holds, wherever the study is, and nothing where there is no study.
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

// In a bash without the package bash-completion, too, the script asks for the word at the cursor and takes what is offered.
func TestCompletionWorksInABareBash(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("no bash")
	}
	script, _ := command(t, 0, "completion", "bash")
	file := filepath.Join(t.TempDir(), "heardiff.bash")
	must(t, os.WriteFile(file, []byte(script), 0o644))
	for _, tt := range []struct{ line, words, at, asked, offered string }{
		{"heardiff capture add ", "heardiff capture add ''", "3", "__complete capture add ", "left"},
		{"heardiff cap", "heardiff cap", "1", "__complete cap", "capture"},
		{"heardiff  listen --plan=", "heardiff listen --plan = ''", "4", "__complete listen --plan=", "1"},
		{"heardiff listen --plan=1 --li", "heardiff listen --plan = 1 --li", "5", "__complete listen --plan=1 --li", "--listener"},
	} {
		out, err := exec.Command(bash, "--norc", "-c", `
			compopt() { :; } # only runs while bash completes
			heardiff() { printf '%s' "$*" >>"`+file+`.asked"; printf '%s\tabout\n:4\n' "`+tt.offered+`"; }
			source "`+file+`"
			COMP_LINE='`+tt.line+`' COMP_WORDS=(`+tt.words+`) COMP_CWORD=`+tt.at+` COMP_TYPE=9 COMP_POINT=${#COMP_LINE}
			__start_heardiff
			cat "`+file+`.asked"; rm "`+file+`.asked"; echo " gives ${COMPREPLY[*]}"`).CombinedOutput()
		if want := tt.asked + " gives " + tt.offered + "\n"; err != nil || string(out) != want {
			t.Errorf("%s\ngot  %q, %v\nwant %q", tt.line, out, err, want)
		}
	}
}
