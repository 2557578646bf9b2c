package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/columns"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// entered is what "measure enter" prints.
type entered struct {
	Schema  string          `json:"schema"`
	Chain   string          `json:"chain"`
	Figures []study.Entered `json:"figures"`
}

func (a *app) measureEnterCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "enter CHAIN FILE.csv",
		Short: "add figures measured elsewhere to a chain",
		Long: `Add figures measured elsewhere to a chain of the study, from a CSV file with the columns
metric, value, unit, limit and source, separated by commas, or by semicolons or tabs, and then
with decimal points or commas. They are shown as entered, not measured. A limit is the least
that the other instrument could show: with an empty value, the figure is at most that. The metrics
that "link" compares are the keys under "measured" in its JSON, each in the unit that its name ends in,
which need not be given.

  metric,value,unit,limit,source
  random_jitter_ps,42.5,ps,5,data sheet of the box`,
		Example: "  heardiff measure enter attic figures.csv",
		Args:    exactArgs("CHAIN", "FILE.csv"),
		RunE:    func(c *cobra.Command, args []string) error { return a.measureEnter(c.Context(), args[0], args[1]) },
	}
}

func (a *app) measureEnter(ctx context.Context, chain, path string) error {
	figures, err := readFile(ctx, path, columns.FigureColumns, func(r io.Reader) ([]study.Entered, error) { return columns.Figures(r, comparedBy) })
	if err != nil {
		return err
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if _, err := s.Chain(ctx, chain); err != nil {
		return study.InStudy(err)
	}
	for i := range figures {
		figures[i].Chain = chain
	}
	if err := s.Enter(ctx, figures); err != nil {
		return err
	}
	for _, f := range figures {
		if !comparedBy(f.Metric) {
			a.warn("metric %q is kept, but nothing is compared by it; a slip of the pen?", f.Metric)
		}
	}
	r := entered{Schema: "heardiff.entered/1", Chain: chain, Figures: figures}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

// comparedBy reports whether "link" compares chains by the metric.
func comparedBy(metric string) bool {
	return slices.ContainsFunc(study.Metrics(), func(d link.Declared) bool { return string(d.Metric) == metric })
}

func (r entered) text(w io.Writer) {
	fmt.Fprintf(w, "%s entered for %s; shown as entered, not measured\n\n", trials.Counted(len(r.Figures), "figure"), r.Chain)
	t := newTable("metric", "value", "limit", "unit", "source")
	t.right(1, 2)
	for _, f := range r.Figures {
		t.row(f.Metric, figure(study.OrNaN(f.Value), "%g"), figure(study.OrNaN(f.Limit), "%g"), f.Unit, f.Source)
	}
	t.print(w, "")
}
