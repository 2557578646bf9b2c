package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/trials/study"
)

func (a *app) nextCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "next",
		Short: "say what of the study is done, what is missing, and the command that comes next",
		Long: `Say what of the study is done, what is missing, and the command that comes next, to be copied.
A recording in that command is named after its chain, and looked for here and next to the study's
folder. Where yours has another name, put that in its place.

The steps are: chains, captures, measurements, an excerpt, a plan, a listener, a session of every
listener on every plan, a report. Each of their commands ends with the line that "next" prints.`,
		Args: exactArgs(),
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, _ []string) error {
			p, err := s.Progress(ctx)
			if err != nil {
				return err
			}
			r := nextReport{Schema: "heardiff.next/1", Done: orEmpty(p.Done), Missing: orEmpty(p.Missing)}
			if p.Next != nil {
				line := a.commandLine(s, *p.Next)
				r.Command = &line
			}
			return a.print(r, func(w io.Writer) { r.text(w) })
		}),
	}
}

// nextReport is what "next" prints.
type nextReport struct {
	Schema  string   `json:"schema"`
	Done    []string `json:"done"`
	Missing []string `json:"missing"`
	Command *string  `json:"command"` // nil where nothing is missing
}

func orEmpty(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func (r nextReport) text(w io.Writer) {
	for _, part := range []struct {
		head  string
		lines []string
	}{{"done", r.Done}, {"missing", r.Missing}} {
		if len(part.lines) == 0 {
			continue
		}
		fmt.Fprintln(w, part.head)
		for _, line := range part.lines {
			fmt.Fprintf(w, "  %s\n", line)
		}
	}
	if r.Command == nil {
		fmt.Fprintln(w, "nothing is missing")
		return
	}
	fmt.Fprintln(w, nextPrefix+*r.Command)
}

// nextPrefix begins the line with the command that comes next, which is not wrapped, so that it can be copied.
const nextPrefix = "next: "

// printStep prints the result of a step of a study, for people with the command that comes next.
func (a *app) printStep(ctx context.Context, s *study.Study, result any, text func(w io.Writer)) error {
	return a.print(result, func(w io.Writer) {
		text(w)
		for _, line := range a.nextLines(ctx, s) {
			fmt.Fprintf(w, "\n%s\n", line)
		}
	})
}

// nextLines returns the line with the command that comes next, none where nothing is missing. What was done is done: where the study
// cannot be read, that is only warned of.
func (a *app) nextLines(ctx context.Context, s *study.Study) []string {
	if a.ledOn {
		return nil
	}
	p, err := s.Progress(ctx)
	if err != nil {
		a.warn("what comes next cannot be said: %v", err)
		return nil
	}
	if p.Next == nil {
		return nil
	}
	return []string{nextPrefix + a.commandLine(s, *p.Next)}
}

// commandLine returns the command that makes a call on the study, as a shell takes it.
func (a *app) commandLine(s *study.Study, c study.Call) string {
	c.With = slices.Clone(c.With)
	for i, g := range c.With {
		if g.Option == study.OptionFile && !g.Open {
			c.With[i].Value = whereRecorded(g.Value, filepath.Join(s.Path(""), ".."))
		}
	}
	words := append([]string{"heardiff"}, commandWords(c)...)
	if dir := s.Path(""); dir != "." {
		words = append(words, "--study", dir)
	}
	return shellLine(words)
}

// whereRecorded returns the path of a recording of that name: here, or next to the study's folder, as WAV or FLAC. Where there is none, it
// returns the name, in whose place the name of one's own recording is put.
func whereRecorded(name, folder string) string {
	flac := strings.TrimSuffix(name, ".wav") + ".flac"
	for _, path := range []string{name, flac, filepath.Join(folder, name), filepath.Join(folder, flac)} {
		if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() {
			return path
		}
	}
	return name
}

// shellLine returns words as a shell takes them.
func shellLine(words []string) string {
	var line []string
	for _, w := range words {
		line = append(line, quoted(w))
	}
	return strings.Join(line, " ")
}
