package main

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/cmd/heardiff/internal/guide"
	"heardiff/trials"
)

// manMark begins every page, so that a later run knows it as its own.
const manMark = `.\" Made by "heardiff man"`

var manFile = outputKind{"a manual page of heardiff's", beginsWith(manMark)}

func (a *app) manCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "man --dir DIR",
		Short: "write manual pages for the program man",
		Long: `Write a manual page for each command into DIR/man1, and for each topic of the guide into DIR/man7,
where the program man looks if DIR is in its path: "man heardiff-plan-new", "man heardiff-capture.7".
"make install" does this.`,
		Example: "  heardiff man --dir ~/.local/share/man",
		Args:    exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			if dir == "" {
				return misusedf("a folder is wanted: --dir DIR")
			}
			commands, topics := manPages(c.Root()), guidePages()
			if err := a.writeManual(dir, slices.Concat(commands, topics)); err != nil {
				return err
			}
			result := struct {
				Schema string `json:"schema"`
				Dir    string `json:"dir"`
				Pages  int    `json:"pages"`
			}{"heardiff.man/1", dir, len(commands) + len(topics)}
			return a.print(result, func(w io.Writer) { fmt.Fprintf(w, "%s in %s\n", trials.Counted(result.Pages, "manual page"), dir) })
		},
	}
	c.Flags().StringVar(&dir, "dir", "", "the `folder` of manual pages")
	a.forceFlag(c)
	return c
}

// manual is a manual page as a file, named with the folder of its section.
type manual struct{ name, text string }

// writeManual puts pages into a folder, all or none.
func (a *app) writeManual(dir string, pages []manual) error {
	var files []folderFile
	for _, p := range pages {
		files = append(files, folderFile{name: p.name, kind: manFile})
	}
	to, err := a.folderDestination(dir, files)
	if err != nil {
		return err
	}
	err = to.write(func(dir string) error {
		for _, p := range pages {
			if err := os.WriteFile(filepath.Join(dir, p.name), []byte(p.text), 0o666); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("write manual pages: %w", err)
	}
	return nil
}

// manPages returns a page of section 1 for c and every command below it.
func manPages(c *cobra.Command) []manual {
	all := []manual{{"man1/" + pageName(c) + ".1", commandPage(c)}}
	for _, sub := range c.Commands() {
		all = append(all, manPages(sub)...)
	}
	return all
}

func pageName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

// guidePages returns a page of section 7 for each topic of the guide.
func guidePages() []manual {
	var all []manual
	for _, topic := range guide.Names() {
		text, _ := guide.Page(topic)
		_, text, _ = strings.Cut(text, "\n")
		var p roff
		p.head("heardiff-"+topic, 7, guide.About(topic))
		p.section("DESCRIPTION")
		p.asIs(strings.Trim(text, "\n"))
		all = append(all, manual{"man7/heardiff-" + topic + ".7", p.String()})
	}
	return all
}

// commandPage is the manual page of a command, made of its help.
func commandPage(c *cobra.Command) string {
	var p roff
	p.head(pageName(c), 1, c.Short)
	p.section("SYNOPSIS")
	if c.Runnable() && !c.HasSubCommands() || !c.HasParent() {
		p.text(c.UseLine())
	} else {
		p.text(c.CommandPath() + " COMMAND …")
	}
	p.section("DESCRIPTION")
	p.text(cmp.Or(c.Long, sentence(c.Short)))
	if c.HasSubCommands() {
		p.section("COMMANDS")
		for _, sub := range c.Commands() {
			p.item(sub.Name(), sub.Short)
		}
	}
	p.flags("FLAGS", c.LocalFlags())
	p.flags("FLAGS OF EVERY COMMAND", c.InheritedFlags())
	if c.HasExample() {
		p.section("EXAMPLES")
		p.asIs(c.Example)
	}
	p.section("EXIT STATUS")
	p.text(strings.TrimPrefix(exitCodes, "Exit codes: "))
	p.section("SEE ALSO")
	p.text(strings.Join(relatives(c), ", "))
	return p.String()
}

// relatives names the pages around a command's.
func relatives(c *cobra.Command) []string {
	var all []string
	if c.HasParent() {
		all = append(all, pageName(c.Parent())+"(1)")
	}
	for _, sub := range c.Commands() {
		all = append(all, pageName(sub)+"(1)")
	}
	for _, topic := range guide.Names() {
		if !c.HasParent() || topic == c.Name() || topic == c.Parent().Name() {
			all = append(all, "heardiff-"+topic+"(7)")
		}
	}
	return all
}

// roff writes a manual page in the language of man(7).
type roff struct{ strings.Builder }

func (p *roff) head(name string, section int, about string) {
	fmt.Fprintf(p, "%s\n.TH %s %d \"\" \"heardiff %s\" \"heardiff\"\n.SH NAME\n%s \\- %s\n", manMark, strings.ToUpper(escaped(name)), section,
		escaped(thisProgram().Version), escaped(name), escaped(about))
}

func (p *roff) section(name string) { fmt.Fprintf(p, ".SH %s\n", name) }

// text writes paragraphs, whose lines are filled; lines that are indented stay as they are.
func (p *roff) text(text string) {
	filled := true
	for l := range strings.SplitSeq(strings.Trim(text, "\n"), "\n") {
		if fill := !strings.HasPrefix(l, "  "); fill != filled {
			fmt.Fprintln(p, map[bool]string{true: ".fi", false: ".nf"}[fill])
			filled = fill
		}
		if l == "" {
			l = ".PP"
		} else {
			l = escaped(l)
		}
		fmt.Fprintln(p, l)
	}
	if !filled {
		fmt.Fprintln(p, ".fi")
	}
}

// asIs writes lines that are not filled.
func (p *roff) asIs(text string) {
	fmt.Fprintln(p, ".nf")
	for l := range strings.SplitSeq(text, "\n") {
		fmt.Fprintln(p, escaped(l))
	}
	fmt.Fprintln(p, ".fi")
}

// item writes a term with what it means.
func (p *roff) item(term, means string) {
	fmt.Fprintf(p, ".TP\n\\fB%s\\fR\n%s\n", escaped(term), escaped(means))
}

func (p *roff) flags(title string, flags *pflag.FlagSet) {
	if !flags.HasAvailableFlags() {
		return
	}
	p.section(title)
	flags.VisitAll(func(f *pflag.Flag) {
		value, means := pflag.UnquoteUsage(f)
		term := "--" + f.Name
		if f.Shorthand != "" {
			term = "-" + f.Shorthand + ", " + term
		}
		if value != "" {
			term += " " + value
		}
		if f.DefValue != "" && f.DefValue != "0" && f.DefValue != "false" && f.DefValue != "[]" {
			means += fmt.Sprintf(" (default %s)", f.DefValue)
		}
		if !f.Hidden {
			p.item(term, means)
		}
	})
}

// escaped returns a line as the language takes it: nothing in it is a request, and each sign is the one that was typed.
func escaped(line string) string {
	line = strings.NewReplacer(`\`, `\e`, "-", `\-`, "'", `\(aq`, "`", "\\`", "^", `\(ha`, "~", `\(ti`).Replace(line)
	var b strings.Builder
	if strings.HasPrefix(line, ".") {
		b.WriteString(`\&`)
	}
	for _, r := range line {
		if r < utf8.RuneSelf {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, `\[u%04X]`, r)
		}
	}
	return b.String()
}
