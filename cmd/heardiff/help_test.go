package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/guide"
)

// The words of every help text are the program's own: none of the framework's sentences is left.
func TestHelpIsInOurOwnWords(t *testing.T) {
	frameworks := []string{"Additional", "Available Commands", "Help about any", "for more information about", "[command]", "Global Flags",
		"help for ", "version for ", "autocompletion", "sub-command", "in the application", "See each"}
	seen := 0
	var check func(c *cobra.Command)
	check = func(c *cobra.Command) {
		seen++
		args := append(strings.Fields(c.CommandPath())[1:], "--help")
		out, _ := command(t, 0, args...)
		for _, sentence := range frameworks {
			if strings.Contains(out, sentence) {
				t.Errorf("%v prints %q", args, sentence)
			}
		}
		for _, sub := range c.Commands() {
			check(sub)
		}
	}
	root := (&app{}).rootCommand()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	check(root)
	if seen < 40 {
		t.Errorf("only %d commands were seen", seen)
	}
}

// A page of the guide fits a window of 80 columns, ends by naming where the flags are or what to read, and shows only commands that
// the program takes.
func TestGuideFitsAndShowsRealCommands(t *testing.T) {
	for _, topic := range guide.Names() {
		page, _ := command(t, 0, "help", topic)
		if !strings.HasPrefix(page, topic+": ") || guide.About(topic) == "" {
			t.Errorf("%s begins with %.40q", topic, page)
		}
		lines := strings.Split(page, "\n")
		if len(lines) > 60 {
			t.Errorf("%s has %d lines", topic, len(lines))
		}
		for i, line := range lines {
			if n := len([]rune(line)); n > 80 {
				t.Errorf("%s:%d has %d columns", topic, i+1, n)
			}
		}
		if seen := checkCommandLines(t, "  ", page); seen < 2 {
			t.Errorf("%s shows only %d commands", topic, seen)
		}
		if !strings.Contains(page, "[1]") && !strings.Contains(page, "common practice, no source") && !strings.Contains(page, "BS.1116") {
			t.Errorf("%s names no source", topic)
		}
	}
}

// A page goes before the command of the same name, every other command has its help, and what is neither is refused.
func TestHelpFindsTopicsAndCommands(t *testing.T) {
	for args, begins := range map[string]string{
		"":            "Two chains measure differently",
		"capture":     "capture: record chains",
		"capture add": "Copy recordings of a chain",
		"measure":     "Measure a capture of a test signal",
		"help":        "How it is done",
	} {
		if out, _ := command(t, 0, append([]string{"help"}, strings.Fields(args)...)...); !strings.HasPrefix(out, begins) {
			t.Errorf("help %s begins with %.60q", args, out)
		}
	}
	for _, args := range []string{"nonsense", "plan nonsense"} {
		if errs := refused(t, exitUsage, append([]string{"help"}, strings.Fields(args)...)...); !strings.Contains(errs, "topics are capture, match") {
			t.Errorf("help %s says %q", args, errs)
		}
	}
	if out, _ := command(t, 0, "__complete", "help", ""); !strings.Contains(out, "thresholds") || !strings.Contains(out, "inspect") || strings.Count(out, "capture\n") != 1 {
		t.Errorf("offered after help: %q", out)
	}
}

// Each shell gets a script that names the program; another word is refused.
func TestCompletionIsForFourShells(t *testing.T) {
	for _, shell := range completionShells {
		var out, errs bytes.Buffer
		if code := run(t.Context(), []string{"completion", shell}, strings.NewReader(""), &out, &errs); code != 0 || !strings.Contains(out.String(), "heardiff") {
			t.Errorf("%s: exit %d, %d bytes, %s", shell, code, out.Len(), errs.String())
		}
	}
	refused(t, exitUsage, "completion", "csh")
	if !slices.Contains(completionShells, "bash") {
		t.Error("no bash")
	}
}
