package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) excerptCommand() *cobra.Command {
	return group("excerpt", "list the excerpts that were prepared, and take out what is not needed", a.excerptListCommand(), a.excerptRemoveCommand())
}

func (a *app) sessionCommand() *cobra.Command {
	return group("session", "list the sessions", a.sessionListCommand())
}

// list is what a command that lists something of the study prints: all of it in one JSON object, or in a table.
type list struct {
	schema string // without its version
	name   string // of all in the JSON object
	all    any
	table  *table
}

// MarshalJSON writes the schema and then all under its name.
func (l list) MarshalJSON() ([]byte, error) {
	all, err := wire.Marshal(l.all)
	return fmt.Appendf(nil, `{"schema":"heardiff.%s/1",%q:%s}`, l.schema, l.name, all), err
}

// listing returns a command that lists something of the study.
func (a *app) listing(short string, read func(ctx context.Context, s *study.Study) (list, error)) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: short,
		Args:  exactArgs(),
		RunE: a.onStudy(func(ctx context.Context, s *study.Study, _ []string) error {
			l, err := read(ctx, s)
			if err != nil {
				return err
			}
			return a.print(l, func(w io.Writer) { l.table.print(w, "") })
		}),
	}
}

func (a *app) chainListCommand() *cobra.Command {
	return a.listing("list the chains", func(ctx context.Context, s *study.Study) (list, error) {
		v, err := s.Contents(ctx)
		return list{"chains", "chains", v.Chains, chainsTable(v)}, err
	})
}

func (a *app) captureListCommand() *cobra.Command {
	return a.listing("list the captures, with their numbers", func(ctx context.Context, s *study.Study) (list, error) {
		all, err := s.CaptureList(ctx)
		t := newTable("capture", "chain", "kind", "music", "rate (Hz)", "channels", "length (s)", "measured")
		t.right(0, 4, 5, 6)
		for _, c := range all {
			t.row(fmt.Sprint(c.ID), c.Chain, c.Kind, c.Music, fmt.Sprint(c.RateHz), fmt.Sprint(c.Channels), figure(c.Seconds, "%.1f"), yesNo(c.Measured))
		}
		return list{"capture_list", "captures", all, t}, err
	})
}

func (a *app) excerptListCommand() *cobra.Command {
	return a.listing("list the excerpts that were prepared", func(ctx context.Context, s *study.Study) (list, error) {
		v, err := s.Contents(ctx)
		return list{"excerpts", "excerpts", v.Excerpts, excerptsTable(v)}, err
	})
}

func (a *app) listenerListCommand() *cobra.Command {
	return a.listing("list the listeners", func(ctx context.Context, s *study.Study) (list, error) {
		all, err := s.Listeners(ctx)
		t := newTable("listener", "group", "years", "transducer", "room", "")
		t.right(2)
		for _, l := range all {
			t.row(l.ID, l.Group, optional(l.Years, "%g"), l.Transducer, l.Room, simulatedMark(l.Simulated))
		}
		return list{"listeners", "listeners", all, t}, err
	})
}

func simulatedMark(simulated bool) string {
	if simulated {
		return "simulated"
	}
	return ""
}

func (a *app) planListCommand() *cobra.Command {
	return a.listing("list the plans", func(ctx context.Context, s *study.Study) (list, error) {
		all, err := s.Plans(ctx)
		t := newTable("plan", "design", "trials", "alpha", "comparisons")
		t.right(2, 3)
		for _, p := range all {
			t.row(p.ID, p.Design.String(), fmt.Sprint(p.Trials()), fmt.Sprint(p.Alpha), comparisonNames(p))
		}
		return list{"plans", "plans", all, t}, err
	})
}

func comparisonNames(p trials.Plan) string {
	var names []string
	for _, c := range p.Comparisons {
		if c.Kind == trials.Scored {
			names = append(names, c.Name)
		}
	}
	return strings.Join(names, "; ")
}

func (a *app) sessionListCommand() *cobra.Command {
	return a.listing("list the sessions, and which have ended", func(ctx context.Context, s *study.Study) (list, error) {
		all, err := s.SessionList(ctx)
		t := newTable("session", "plan", "listener", "begun", "ended", "heard through")
		for _, v := range all {
			t.row(study.ShortID(v.Session), v.Plan, v.Listener, v.Begun.Local().Format("2 January 2006 15:04"), yesNo(&v.Ended), v.Device)
		}
		return list{"sessions", "sessions", all, t}, err
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
