package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// Every help text fits windows of 60 columns and more, but for commands, which are whole so that they can be copied; it has the same
// words as elsewhere.
func TestHelpFitsTheWindow(t *testing.T) {
	var check func(c *cobra.Command)
	check = func(c *cobra.Command) {
		page, _ := command(t, 0, append(strings.Fields(c.CommandPath())[1:], "--help")...)
		for columns := 60; columns <= 140; columns += 16 {
			got := reflow(page, columns)
			for _, line := range strings.Split(got, "\n") {
				if utf8.RuneCountInString(line) > columns && !strings.HasPrefix(strings.TrimLeft(line, " "), "heardiff ") {
					t.Errorf("%s in %d columns: %q", c.CommandPath(), columns, line)
				}
			}
			if strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(page), " ") {
				t.Errorf("%s in %d columns has other words\n%s", c.CommandPath(), columns, got)
			}
		}
		for _, sub := range c.Commands() {
			check(sub)
		}
	}
	check((&app{}).rootCommand())
}

func TestWhatIsExplainedIsWrappedInItsColumn(t *testing.T) {
	const page = "  alpha    the risk that a guesser passes\nOne line of a paragraph\nand another one.\n"
	const want = "  alpha    the risk that a\n           guesser passes\nOne line of a paragraph and\nanother one.\n"
	if got := reflow(page, 27); got != strings.Replace(want, "paragraph and\n", "paragraph\nand ", 1) {
		t.Errorf("got\n%s", got)
	}
	if got := reflow(page, 22); !strings.Contains(got, "One line of a\nparagraph and another\none.\n") {
		t.Errorf("in 22 columns\n%s", got)
	}
}

// A message is wrapped between words, and a command in it never: it is to be copied.
func TestNoQuotedCommandIsBroken(t *testing.T) {
	const line = `heardiff: hint: "heardiff prepare --music first" makes excerpts from the music captures`
	for columns := 34; columns < 90; columns++ {
		got := wrapAround(line, columns)
		for _, l := range got {
			if utf8.RuneCountInString(l) > columns {
				t.Errorf("%d columns: %q", columns, l)
			}
		}
		if text := strings.Join(got, "\n"); !strings.Contains(text, `"heardiff prepare --music first"`) || strings.ReplaceAll(text, "\n", " ") != line {
			t.Errorf("%d columns: %q", columns, text)
		}
	}
}
