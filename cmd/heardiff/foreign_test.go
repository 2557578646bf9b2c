package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
)

// hostile holds what a terminal would obey: an escape sequence, its one-byte form, a line of its own, and a mark that
// turns the writing direction.
const hostile = "x\x1b[2J\u009b31m\nheardiff: all is well\u202eb"

// Text from outside reaches no stream unescaped, wherever it appears: file names, names in tables, arguments, errors, JSON.
func TestForeignTextReachesNoTerminalRaw(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	audio := filepath.Join(dir, strings.ReplaceAll(hostile, "/", "")+".wav")
	command(t, 0, "signal", "tone", "--rate", "44100", "--bits", "16", "--seconds", "2", "--out", "tone.wav")
	must(t, os.Rename("tone.wav", audio))
	table := "listener,group,correct,trials\n\"L\x1b[2J\u202e\",\"a\u009b\",8,16\nL2,b,9,16\n"
	must(t, os.WriteFile("table.csv", []byte(table), 0o600))
	must(t, os.WriteFile(hostile+".csv", []byte("no table"), 0o600))
	command(t, 0, "study", "new", "s", "--title", "t")
	for _, args := range [][]string{
		{"inspect", audio}, {"inspect", audio, "--json"}, {"measure", audio, "--as", "tone"}, {"compare", audio, audio}, {"inspect", hostile},
		{"pool", "table.csv"}, {"pool", hostile + ".csv"}, {"fit", hostile}, {hostile}, {"score", "--" + hostile}, {"score", "--design", hostile},
		{"--study", "s", "chain", "add", hostile}, {"--study", "s", "chain", "add", "a", "--about", hostile},
		{"--study", "s", "listener", "add", "L", "--room", hostile}, {"study", "new", "s2", "--title", hostile},
		{"--study", "s", "capture", "add", "a", audio, "--as", "music", "--music", hostile}, {"--study", "s", "plan", "show", hostile},
		{"--study", hostile, "study", "show"}, {"import", hostile}, {"signal", hostile}, {"study", hostile},
	} {
		var out, errs bytes.Buffer
		code := run(context.Background(), args, strings.NewReader(""), &out, &errs)
		for _, r := range out.String() + errs.String() {
			if r != '\n' && r != '\t' && !unicode.IsGraphic(r) {
				t.Errorf("%q: %U reached the terminal: %q %q", args, r, out.String(), errs.String())
				break
			}
		}
		for line := range strings.Lines(out.String() + errs.String()) {
			if strings.HasPrefix(line, "heardiff: all is well") {
				t.Errorf("%q: a line was forged: %q", args, out.String()+errs.String())
			}
		}
		if code == 0 && strings.Contains(strings.Join(args, " "), " add ") {
			t.Errorf("%q: taken", args)
		}
	}
}

// A spreadsheet must not compute what somebody wrote, and taking one apostrophe off gives back every text.
func TestFormulasInTablesAreInertAndComeBack(t *testing.T) {
	for _, text := range []string{"=1+1", "+1", "-1", "@SUM(A1)", "\tx", "'quoted", "''twice", "plain", "a=b", "–"} {
		got := cell(text)
		if strings.ContainsAny(got[:1], "=+-@\t") {
			t.Errorf("%q is written as %q", text, got)
		}
		if back := strings.TrimPrefix(got, "'"); back != text {
			t.Errorf("%q came back as %q", text, back)
		}
	}
	if got := cell(-1.5); got != "-1.5" {
		t.Errorf("a number is written as %q", got)
	}
}
