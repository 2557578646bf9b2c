package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
)

// Every block of the README that shows a command ("$ heardiff …") is run, and must print what the README says.
func TestReadmeShowsWhatIsPrinted(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(data), "\n")
	ran := 0
	for i := 0; i < len(lines); i++ {
		line, isCommand := strings.CutPrefix(lines[i], "    $ heardiff ")
		if !isCommand {
			continue
		}
		var want strings.Builder
		for i+1 < len(lines) && strings.HasPrefix(lines[i+1], "    ") && !strings.HasPrefix(lines[i+1], "    $") {
			i++
			want.WriteString(strings.TrimPrefix(lines[i], "    ") + "\n")
		}
		var out, errs bytes.Buffer
		code := run(context.Background(), strings.Fields(line), strings.NewReader(""), &out, &errs)
		if code != 0 || out.String() != want.String() {
			t.Errorf("heardiff %s: exit %d\ngot\n%s\nwant\n%s%s", line, code, out.String(), want.String(), errs.String())
		}
		ran++
	}
	if ran < 2 {
		t.Errorf("only %d blocks were run", ran)
	}
}

// Every command that the README names must exist and take the flags it is shown with.
func TestReadmeNamesRealCommands(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	a := &app{getenv: os.Getenv}
	seen := 0
	for _, line := range strings.Split(string(data), "\n") {
		text, ok := strings.CutPrefix(line, "    heardiff ")
		if !ok {
			continue
		}
		text, _, _ = strings.Cut(text, "#")
		words := strings.Fields(text)
		c, rest, err := a.rootCommand().Find(words)
		if err != nil || c.Name() == "heardiff" {
			t.Errorf("%q is no command: %v", text, err)
			continue
		}
		seen++
		for _, w := range rest {
			if name, isFlag := strings.CutPrefix(w, "--"); isFlag && c.Flags().Lookup(name) == nil && c.InheritedFlags().Lookup(name) == nil {
				t.Errorf("%q: there is no flag --%s", text, name)
			}
		}
	}
	if seen < 15 {
		t.Errorf("only %d commands were found", seen)
	}
}
