package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) studyCommand() *cobra.Command {
	show := a.studyShowCommand()
	c := group("study", "make a study, or show what is in it", a.studyNewCommand(), show, a.studyRetitleCommand(), a.studyChangesCommand())
	unknown := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return unknown(c, args)
		}
		return show.RunE(c, args)
	}
	return c
}

func (a *app) studyNewCommand() *cobra.Command {
	var title string
	c := &cobra.Command{
		Use:     "new DIR --title TITLE",
		Short:   "make a new study in a folder",
		Example: `  heardiff study new clocks --title "Does the attic clock sound different?"`,
		Args:    exactArgs("DIR"),
		RunE: func(c *cobra.Command, args []string) error {
			if title == "" {
				return misusedf("a title is wanted: --title %q", "what the study asks")
			}
			if err := trials.CheckName("--title", title); err != nil {
				return misused(err)
			}
			s, err := study.Create(c.Context(), args[0], study.About{Title: title}, a.host())
			if errors.Is(err, study.ErrExists) {
				return rejected(fmt.Errorf("%s: a study is there already", args[0]), "choose another folder; a study is never written over")
			}
			if err != nil {
				return err
			}
			defer s.Close()
			return a.showStudy(c.Context(), s)
		},
	}
	c.Flags().StringVar(&title, "title", "", "what the study asks, in a `line`")
	return c
}

func (a *app) studyShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show",
		Short: "show chains, captures, excerpts, plans and sessions of the study",
		Args:  exactArgs(),
		RunE:  a.onStudy(func(ctx context.Context, s *study.Study, _ []string) error { return a.showStudy(ctx, s) }),
	}
}

// onStudy returns what a command does on the open study.
func (a *app) onStudy(do func(ctx context.Context, s *study.Study, args []string) error) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, args []string) error {
		return a.inStudy(c.Context(), func(s *study.Study) error { return do(c.Context(), s, args) })
	}
}

// inStudy does something with the study the command line means, and closes it.
func (a *app) inStudy(ctx context.Context, do func(s *study.Study) error) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	return do(s)
}

// openStudy opens the study the command line means.
func (a *app) openStudy(ctx context.Context) (*study.Study, error) {
	return study.Open(ctx, a.studyFolder(), a.host())
}

// studyFolder returns the study's folder: --study, else $HEARDIFF_STUDY, else the current one.
func (a *app) studyFolder() string {
	if a.study != "" {
		return a.study
	}
	if dir := a.getenv("HEARDIFF_STUDY"); dir != "" {
		return dir
	}
	return "."
}

func (a *app) showStudy(ctx context.Context, s *study.Study) error {
	v, err := s.Contents(ctx)
	if err != nil {
		return err
	}
	return a.printStep(ctx, s, v, func(w io.Writer) { contentsText(w, v) })
}

func contentsText(w io.Writer, v study.Contents) {
	fmt.Fprintf(w, "%s\nmade %s, study %.8s\n", v.Title, v.Created.Local().Format("2 January 2006 15:04"), v.ID)
	chainsTable(v).print(w, "\n")
	excerptsTable(v).print(w, "\n")
	fmt.Fprintf(w, "\n%s, %s, %s\n", trials.Counted(len(v.Plans), "plan"), trials.Counted(len(v.Listeners), "listener"), trials.Counted(v.Sessions, "session"))
}

func chainsTable(v study.Contents) *table {
	t := newTable("chain", "role", "after", "captures", "cost", "about")
	t.right(3, 4)
	for _, c := range v.Chains {
		t.row(c.Name, c.Role, c.After, fmt.Sprint(v.CapturesOf(c.Name)), optional(c.Cost, "%g"), c.About)
	}
	return t
}

func excerptsTable(v study.Contents) *table {
	t := newTable("excerpt", "music", "start (s)", "length (s)")
	t.right(2, 3)
	for _, x := range v.Excerpts {
		t.row(x.Name, x.Music, fmt.Sprintf("%.2f", x.StartS), fmt.Sprintf("%.2f", x.Seconds))
	}
	return t
}
