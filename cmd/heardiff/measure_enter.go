package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/trials/link"
	"heardiff/trials/store"
)

// entered is what "measure enter" prints.
type entered struct {
	Schema  string          `json:"schema"`
	Chain   string          `json:"chain"`
	Figures []store.Entered `json:"figures"`
}

func (a *app) measureEnterCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "enter CHAIN FILE.csv",
		Short: "add figures measured elsewhere to a chain",
		Long: `Add figures measured elsewhere to a chain of the study, from a CSV file with the columns
metric, value, unit, limit and source, separated by commas, or by semicolons or tabs, and then
with decimal points or commas. They are shown as entered, not measured. An empty value
stands for "not known"; a limit is the least that the other instrument could tell. The metrics
that "link" compares are the keys under "measured" in its JSON, each in the unit that its name ends in,
which need not be given.

  metric,value,unit,limit,source
  random_jitter_ps,42.5,ps,5,data sheet of the box`,
		Example: "  heardiff measure enter optical figures.csv",
		Args:    exactArgs("CHAIN", "FILE.csv"),
		RunE:    func(c *cobra.Command, args []string) error { return a.measureEnter(c.Context(), args[0], args[1]) },
	}
}

func (a *app) measureEnter(ctx context.Context, chain, path string) error {
	figures, err := enteredFile(ctx, path)
	if err != nil {
		return rejected(unreadable(path, err), tableHint(err, enteredColumns))
	}
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if _, err := s.Chain(ctx, chain); err != nil {
		return inStudy(err)
	}
	for i := range figures {
		figures[i].Chain = chain
	}
	if err := s.Enter(ctx, figures); err != nil {
		return inStudy(err)
	}
	for _, f := range figures {
		if !comparedBy(f.Metric) {
			a.warn("metric %q is kept, but nothing is compared by it; a slip of the pen?", f.Metric)
		}
	}
	r := entered{Schema: "heardiff.entered/1", Chain: chain, Figures: figures}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

// comparedBy reports whether "link" sets chains beside each other by the metric.
func comparedBy(metric string) bool {
	return slices.ContainsFunc(studyMetrics(), func(d link.Declared) bool { return string(d.Metric) == metric })
}

func enteredFile(ctx context.Context, path string) ([]store.Entered, error) {
	return interruptibly(ctx, func() ([]store.Entered, error) {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return parseEntered(f)
	})
}

func (r entered) text(w io.Writer) {
	count := "1 figure"
	if len(r.Figures) > 1 {
		count = fmt.Sprintf("%d figures", len(r.Figures))
	}
	fmt.Fprintf(w, "%s entered for %s; shown as entered, not measured\n\n", count, r.Chain)
	t := newTable("metric", "value", "limit", "unit", "source")
	t.right(1, 2)
	for _, f := range r.Figures {
		t.row(f.Metric, figure(orNaN(f.Value), "%g"), figure(orNaN(f.Limit), "%g"), f.Unit, f.Source)
	}
	t.print(w, "")
}

var enteredColumns = []string{"metric", "value", "unit", "limit", "source"}

// The most that a file of figures may hold: it is typed by hand.
const (
	mostEntered     = 1000
	mostEnteredText = 200 // bytes of one cell
)

// parseEntered reads figures from CSV. Errors name the line.
func parseEntered(r io.Reader) ([]store.Entered, error) {
	t, err := readRows(r, enteredColumns...)
	if err != nil {
		return nil, err
	}
	if len(t.cells) > mostEntered {
		return nil, fmt.Errorf("%d figures, at most %d are taken", len(t.cells), mostEntered)
	}
	var list []store.Entered
	for i := range t.cells {
		f, err := enteredFigure(t, i)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(list, func(o store.Entered) bool { return o.Metric == f.Metric && o.Source == f.Source }) {
			return nil, fmt.Errorf("line %d: %s of %q stands there twice", t.lines[i], f.Metric, f.Source)
		}
		list = append(list, f)
	}
	return list, nil
}

func enteredFigure(t *rows, i int) (store.Entered, error) {
	f := store.Entered{Metric: t.text(i, "metric"), Unit: t.text(i, "unit"), Source: t.text(i, "source")}
	for _, name := range []string{"metric", "unit", "source"} {
		text := t.text(i, name)
		if text == "" && name != "unit" {
			return f, fmt.Errorf("line %d: %s is empty", t.lines[i], name)
		}
		if len(text) > mostEnteredText || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return f, fmt.Errorf("line %d: %s: one line of at most %d bytes is wanted", t.lines[i], name, mostEnteredText)
		}
	}
	var err error
	if f.Value, err = t.optionalNumber(i, "value"); err != nil {
		return f, err
	}
	if f.Limit, err = t.optionalNumber(i, "limit"); err != nil {
		return f, err
	}
	if f.Value == nil && f.Limit == nil {
		return f, fmt.Errorf("line %d: neither a value nor a limit", t.lines[i])
	}
	if !comparedBy(f.Metric) {
		return f, nil
	}
	if f.Unit == "" {
		f.Unit = unitOf(f.Metric)
	}
	if fault := unitFault(f); fault != "" {
		return f, fmt.Errorf("line %d: %s", t.lines[i], fault)
	}
	return f, nil
}

// unitOf returns the unit that the name of a metric that "link" compares ends in.
func unitOf(metric string) string {
	return strings.Replace(metric[strings.LastIndexByte(metric, '_')+1:], "db", "dB", 1)
}

// unitFault says what is wrong with the unit or sign of a figure that "link" compares, "" where nothing is: a figure in
// ns would be set beside others in ps.
func unitFault(f store.Entered) string {
	unit := unitOf(f.Metric)
	decibels := unit == "dB" && strings.HasPrefix(f.Unit, "dB") // dBFS, dBc
	micro := unit == "us" && strings.HasSuffix(f.Unit, "s") && strings.ContainsAny(f.Unit, "µμ")
	if f.Unit != unit && !decibels && !micro {
		return fmt.Sprintf("%s is in %s, not in %q", f.Metric, unit, f.Unit)
	}
	for _, v := range []*float64{f.Value, f.Limit} {
		if v != nil && *v < 0 && slices.Contains([]string{"ps", "ns", "ppb"}, unit) { // of jitter and of clocks
			return fmt.Sprintf("%s of %g %s is below zero, which it never is", f.Metric, *v, unit)
		}
	}
	return ""
}
