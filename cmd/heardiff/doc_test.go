package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// Every block of the README that shows a command ("$ heardiff …") is run, and must print what the README says.
func TestReadmeShowsWhatIsPrinted(t *testing.T) {
	data := contentOf(t, "../../README.md")
	lines := strings.Split(data, "\n")
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

// Every command that the README names must exist and take the flags and arguments it is shown with.
func TestReadmeNamesRealCommands(t *testing.T) {
	data := contentOf(t, "../../README.md")
	if seen := checkCommandLines(t, "    ", data); seen < 15 {
		t.Errorf("only %d commands were found", seen)
	}
}

// checkCommandLines checks against the program each line of text that is indent and a command of heardiff, and returns their number.
func checkCommandLines(t *testing.T, indent, text string) int {
	t.Helper()
	a := &app{getenv: os.Getenv}
	seen := 0
	for _, line := range commandLines(indent, text) {
		seen++
		c, rest, err := a.rootCommand().Find(shellWords(line))
		if err != nil || c.Name() == "heardiff" {
			t.Errorf("%q is no command: %v", line, err)
			continue
		}
		if err := c.ParseFlags(rest); err != nil {
			t.Errorf("%q: %v", line, err)
		}
		if err := c.ValidateArgs(c.Flags().Args()); err != nil {
			t.Errorf("%q: %v", line, err)
		}
	}
	return seen
}

// commandLines returns the commands of heardiff in a text, without its name: lines that begin with indent, several on a line after &&.
func commandLines(indent, text string) []string {
	var all []string
	for line := range strings.SplitSeq(text, "\n") {
		if !strings.HasPrefix(line, indent+"heardiff ") {
			continue
		}
		line, _, _ = strings.Cut(line, " # ")
		for step := range strings.SplitSeq(line, "&&") {
			if step, ok := strings.CutPrefix(strings.TrimSpace(step), "heardiff "); ok {
				all = append(all, step)
			}
		}
	}
	return all
}

// shellWords splits a line at blanks outside of double quotes.
func shellWords(line string) []string {
	var words []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
		} else {
			words = append(words, strings.Fields(part)...)
		}
	}
	return words
}

// Every help text ends with what the exit codes mean.
func TestEveryHelpTellsTheExitCodes(t *testing.T) {
	a := &app{getenv: os.Getenv}
	var check func(c *cobra.Command)
	check = func(c *cobra.Command) {
		var out bytes.Buffer
		c.SetOut(&out)
		if err := c.Help(); err != nil || !strings.HasSuffix(out.String(), exitCodes+"\n") {
			t.Errorf("%s: error %v, ends with %q", c.CommandPath(), err, out.String()[max(0, out.Len()-120):])
		}
		for _, sub := range c.Commands() {
			check(sub)
		}
	}
	check(a.rootCommand())
}
