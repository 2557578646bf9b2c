package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/study"
)

func (a *app) reportCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "report --out FILE.html",
		Short: "write the study as one page that needs no network",
		Long: `Write the study as one HTML file: what was heard, what was measured, how it was done, and
every number behind it as JSON, the same as "heardiff link --json" prints. It needs no
network, and reads on a phone, in print, in light and in dark.`,
		Example: "  heardiff report --out study.html",
		Args:    exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			if out == "" && !a.json {
				return misusedf("a file is wanted: --out FILE.html")
			}
			if out != "" { // before any work is done
				if _, err := a.destination(out, reportFile); err != nil {
					return err
				}
				if err := asPage(out); err != nil {
					return err
				}
			}
			s, err := a.openStudy(c.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			l, err := s.Link(c.Context())
			if err != nil {
				return err
			}
			if out != "" {
				in, err := linked{l}.report(a)
				if err != nil {
					return err
				}
				if err := (linked{l}).prove(c.Context(), s, &in); err != nil {
					return err
				}
				if err := a.writeReport(c.Context(), in, out); err != nil {
					return err
				}
			}
			return a.print(l.Result, func(w io.Writer) { fmt.Fprintf(w, "wrote %s\n", printable.Text(out)) })
		},
	}
	c.Flags().StringVar(&out, "out", "", "the `file` to write")
	a.forceFlag(c)
	return c
}

// asPage refuses a name by which every other program would take the page for something else.
func asPage(out string) error {
	switch ext := strings.ToLower(filepath.Ext(out)); ext {
	case "", ".html", ".htm":
		return nil
	default:
		return study.Blamed(study.Misuse, fmt.Errorf("--out %s: a report is an HTML page, not %s", out, ext), "name it .html; any browser prints it, to PDF too")
	}
}

func (a *app) writeReport(ctx context.Context, in report.Input, path string) error {
	d, err := a.destination(path, reportFile)
	if err != nil {
		return err
	}
	if err := d.write(ctx, func(w io.Writer) error { return report.Write(printable.Writer(w), in) }); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return nil
}

func (l linked) report(a *app) (report.Input, error) {
	pictures, err := l.pictures()
	if err != nil {
		return report.Input{}, err
	}
	in := report.Input{Link: l.Result, Chains: l.Input.Chains, Plans: l.Plans, Made: a.now(), Head: l.Head.Hash, Short: l.Head.Short, Pictures: pictures, Captures: warnedOf(l.CaptureWarnings()),
		Command: "heardiff report --out FILE.html", Repeat: l.repeatLines()}
	for _, e := range l.Excerpts {
		in.Excerpts = append(in.Excerpts, excerptOf(e))
	}
	for _, s := range l.Sessions {
		in.Sessions = append(in.Sessions, report.Session{ID: s.ID, Listener: s.Listener, Device: devicesOf(s.Session, s.Result), Begun: s.Result.Begun, Ended: s.Result.Ended, Simulated: s.Who.Simulated,
			Silent: s.Result.Silent, Hurried: s.Result.Hurried})
	}
	return in, nil
}

// prove adds to a report what proves it: the record, and of each session that has ended its journal, or its counts where there
// are too many.
func (l linked) prove(ctx context.Context, s *study.Study, in *report.Input) error {
	var err error
	if in.Evidence.Record, err = s.Record(ctx); err != nil {
		return err
	}
	if n := len(in.Evidence.Record); n > 0 {
		in.Head = in.Evidence.Record[n-1].Hash
		in.Short = trials.ShortHead(in.Head)
	}
	if in.Evidence.Plans, err = s.PlansByID(ctx); err != nil {
		return err
	}
	captures, err := s.Captures(ctx)
	if err != nil {
		return err
	}
	for _, c := range captures {
		in.Files = append(in.Files, report.File{Chain: c.Chain, Kind: c.Kind, SHA256: c.SHA256})
	}
	in.Program = thisProgram().String()
	large := report.Large(len(l.Sessions), len(in.Evidence.Record))
	for i, v := range l.Sessions {
		h := l.Input.Results[i]
		p := report.Proof{ID: v.ID, Plan: v.Plan, Outcome: v.Result.Summary(),
			Seat: report.Seat{Listener: h.Listener, Group: h.Group, Simulated: h.Simulated, Arrived: h.Arrived, Marks: h.Marks}}
		if !large {
			if p.Entries, err = s.Entries(ctx, v.ID); err != nil {
				return err
			}
			in.Sessions[i].Seal, in.Sessions[i].Head = p.Entries[0].Note, p.Entries[len(p.Entries)-1].Hash
		}
		for _, m := range p.Outcome.Answers {
			n, _ := m.Totals()
			in.Sessions[i].Answers += n
		}
		in.Evidence.Sessions = append(in.Evidence.Sessions, p)
	}
	return nil
}

// excerptOf returns what the report says of an excerpt.
func excerptOf(e study.Excerpt) report.Excerpt {
	out := report.Excerpt{Name: e.Name, Music: e.Music, StartS: e.StartS, Seconds: e.Seconds, RateHz: float64(e.RateHz), NullDB: math.NaN()}
	var kept study.PreparedExcerpt
	if err := wire.Unmarshal(e.Result, &kept); err != nil { // of another version: what it says is left out
		return out
	}
	out.NullDB, out.Changes = kept.NullDB, kept.Changes
	for _, p := range kept.Presentations {
		if p.Identical {
			out.Identical = append(out.Identical, p.Chain)
		}
	}
	return out
}
