package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/trials/study"
)

func (a *app) excerptCommand() *cobra.Command {
	return group("excerpt", "list the excerpts that were prepared, and take out what is not needed", a.excerptListCommand(), a.excerptRemoveCommand())
}

func (a *app) sessionCommand() *cobra.Command {
	return group("session", "list the sessions", a.sessionListCommand())
}

// listing returns a command that lists something of the study.
func (a *app) listing(short string, do func(ctx context.Context, s *study.Study) error) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: short,
		Args:  exactArgs(),
		RunE:  a.onStudy(func(ctx context.Context, s *study.Study, _ []string) error { return do(ctx, s) }),
	}
}

func (a *app) chainListCommand() *cobra.Command {
	return a.listing("list the chains", func(ctx context.Context, s *study.Study) error {
		v, err := contents(ctx, s)
		if err != nil {
			return err
		}
		result := struct {
			Schema string        `json:"schema"`
			Chains []study.Chain `json:"chains"`
		}{"heardiff.chains/1", v.Chains}
		return a.print(result, func(w io.Writer) { v.chainsTable().print(w, "") })
	})
}

func (a *app) captureListCommand() *cobra.Command {
	return a.listing("list the captures, with their numbers", func(ctx context.Context, s *study.Study) error {
		all, err := s.CaptureList(ctx)
		if err != nil {
			return err
		}
		result := struct {
			Schema   string                `json:"schema"`
			Captures []study.ListedCapture `json:"captures"`
		}{"heardiff.capture_list/1", all}
		return a.print(result, func(w io.Writer) {
			t := newTable("capture", "chain", "kind", "music", "rate (Hz)", "channels", "length (s)", "measured")
			t.right(0, 4, 5, 6)
			for _, c := range all {
				t.row(fmt.Sprint(c.ID), c.Chain, c.Kind, c.Music, fmt.Sprint(c.RateHz), fmt.Sprint(c.Channels), figure(c.Seconds, "%.1f"), yesNo(c.Measured))
			}
			t.print(w, "")
		})
	})
}

func (a *app) excerptListCommand() *cobra.Command {
	return a.listing("list the excerpts that were prepared", func(ctx context.Context, s *study.Study) error {
		v, err := contents(ctx, s)
		if err != nil {
			return err
		}
		result := struct {
			Schema   string        `json:"schema"`
			Excerpts []excerptName `json:"excerpts"`
		}{"heardiff.excerpts/1", v.Excerpts}
		return a.print(result, func(w io.Writer) { v.excerptsTable().print(w, "") })
	})
}

func (a *app) sessionListCommand() *cobra.Command {
	return a.listing("list the sessions, and which have ended", func(ctx context.Context, s *study.Study) error {
		all, err := s.SessionList(ctx)
		if err != nil {
			return err
		}
		result := struct {
			Schema   string                `json:"schema"`
			Sessions []study.ListedSession `json:"sessions"`
		}{"heardiff.sessions/1", all}
		return a.print(result, func(w io.Writer) {
			t := newTable("session", "plan", "listener", "begun", "ended", "heard through")
			for _, v := range all {
				t.row(study.ShortID(v.Session), v.Plan, v.Listener, v.Begun.Local().Format("2 January 2006 15:04"), yesNo(&v.Ended), v.Device)
			}
			t.print(w, "")
		})
	})
}

// yesNo returns yes or no, and for nil a dash.
func yesNo(v *bool) string {
	switch {
	case v == nil:
		return "–"
	case *v:
		return "yes"
	}
	return "no"
}
