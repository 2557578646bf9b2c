package main

import (
	"go/ast"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/trials/study"
)

// A library knows no command line: outside cmd no text names a flag or a command of this program.
func TestTheLibraryNamesNoFlagsAndNoCommands(t *testing.T) {
	var commands []string
	for _, c := range (&app{}).rootCommand().Commands() {
		commands = append(commands, regexp.QuoteMeta(c.Name()))
	}
	named := regexp.MustCompile(`(^|[^-\w])--[a-z]|heardiff (` + strings.Join(commands, "|") + `)\b`)
	seen := 0
	eachProgramSource(t, []string{"trials", "measure", "playback", "stats"}, func(s source) {
		ast.Inspect(s.File, func(n ast.Node) bool {
			if text, ok := constantText(n); ok {
				seen++
				if named.MatchString(text) {
					t.Errorf("%s: %q", s.at(n.Pos()), text)
				}
			}
			return true
		})
	})
	if seen < 3000 {
		t.Errorf("only %d texts were seen", seen)
	}
}

// constantsOf returns the values of the constants of a type that a file declares.
func constantsOf(t *testing.T, path, typed string) (values []string) {
	t.Helper()
	ast.Inspect(parsed(t, path).File, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if of, ok := spec.Type.(*ast.Ident); ok && of.Name == typed {
			text, _ := constantText(spec.Values[0])
			values = append(values, text)
		}
		return true
	})
	return values
}

// Each option that the library names is a flag of some command, or an argument; each action is a command that there is.
func TestTheVocabularyHasTheCommandsNames(t *testing.T) {
	root := (&app{}).rootCommand()
	flags := map[string]bool{}
	var collect func(c *cobra.Command)
	collect = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			collect(sub)
		}
		c.Flags().VisitAll(func(f *pflag.Flag) { flags[f.Name] = true })
		c.PersistentFlags().VisitAll(func(f *pflag.Flag) { flags[f.Name] = true })
	}
	collect(root)
	arguments := map[study.Option]bool{}
	actions := constantsOf(t, "../../trials/study/phrase.go", "Action")
	for _, name := range actions {
		form := formOf(study.Action(name))
		c, rest, err := root.Find(strings.Fields(form.words))
		if err != nil || c == root || len(rest) > 0 && !flags[strings.TrimPrefix(rest[0], "--")] {
			t.Errorf("%s is %q, which is no command: %v", name, form.words, err)
		}
		for _, o := range form.arguments {
			arguments[o] = true
		}
	}
	options := constantsOf(t, "../../trials/study/phrase.go", "Option")
	for _, name := range options {
		if o := study.Option(name); !flags[flagOf(o)] && !arguments[o] {
			t.Errorf("%s: there is no flag --%s", name, flagOf(o))
		}
	}
	if len(actions) < 20 || len(options) < 40 {
		t.Errorf("%d actions, %d options", len(actions), len(options))
	}
}

// The same error names fields to a program, and flags and commands to the user of the command.
func TestAnErrorIsWordedForItsReader(t *testing.T) {
	at(t, t.TempDir(), "bench")
	s, err := study.Create(t.Context(), t.TempDir()+"/new", study.About{Title: "invented for a test"}, nil)
	must(t, err)
	defer s.Close()
	o := study.UsualPlan()
	o.A, o.B, o.ByHand = "left", "right", true
	_, _, err = s.NewPlan(t.Context(), o)
	fault := study.Judge(err)
	if got, want := err.Error(), "Trials 0: one or more"; got != want {
		t.Errorf("to a program: %q, want %q", got, want)
	}
	if got, want := study.Message(err, inCommands{}), "--trials 0: one or more"; got != want {
		t.Errorf("to a user: %q, want %q", got, want)
	}
	if got, want := fault.Hint.String(), "stats.TrialsFor says how many"; got != want {
		t.Errorf("hint to a program: %q, want %q", got, want)
	}
	if got, want := fault.Hint.In(inCommands{}), `"heardiff power" says how many`; got != want {
		t.Errorf("hint to a user: %q, want %q", got, want)
	}
}

// A message names what was wrong and why, and no package. What the user typed stays.
func TestMessagesNameNoPackages(t *testing.T) {
	for _, c := range []struct{ line, said, want string }{
		{"measure a.wav --as jitter", "a.wav: jitter: not a steady tone", "a.wav: not a steady tone"},
		{"fit table.csv", "table.csv: stats: dose 0: a logarithmic scale needs more", "table.csv: dose 0: a logarithmic scale needs more"},
		{"compare a.wav b.wav", "match: nothing in common", "nothing in common"},
		{"compare match b.wav", "match: neither a WAV nor a FLAC file", "match: neither a WAV nor a FLAC file"},
		{"link", "link: unexpected argument", "link: unexpected argument"},
		{"measure", "warning: capture 3 is not measured as clock: clock: too short", "warning: capture 3 is not measured as clock: too short"},
	} {
		if got := (&app{args: strings.Fields(c.line)}).withoutPackages(c.said); got != c.want {
			t.Errorf("%s: %q, want %q", c.line, got, c.want)
		}
	}
}
