package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

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
		Short: "Add figures measured elsewhere to a chain",
		Long: `Add figures measured elsewhere to a chain of the study, from a CSV file with the columns
metric, value, unit, limit and source. They are shown as entered, not measured. An empty value
stands for "not known"; a limit is the least that the other instrument could tell.

  metric,value,unit,limit,source
  random_jitter_ps,42.5,ps,5,data sheet of the box

  heardiff measure enter optical figures.csv

` + exitCodes,
		Args: exactArgs("CHAIN", "FILE.csv"),
		RunE: func(c *cobra.Command, args []string) error { return a.measureEnter(c.Context(), args[0], args[1]) },
	}
}

func (a *app) measureEnter(ctx context.Context, chain, path string) error {
	figures, err := enteredFile(path)
	if err != nil {
		return rejected(unreadable(path, err), "the columns are metric,value,unit,limit,source, in any order")
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
	r := entered{Schema: "heardiff.entered/1", Chain: chain, Figures: figures}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

func enteredFile(path string) ([]store.Entered, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return parseEntered(f)
}

func (r entered) text(w io.Writer) {
	fmt.Fprintf(w, "%d figures entered for %s; they are shown as entered, not measured\n\n", len(r.Figures), r.Chain)
	t := newTable("metric", "value", "limit", "unit", "source")
	t.right(1, 2)
	for _, f := range r.Figures {
		t.row(f.Metric, figure(orNaN(f.Value), "%g"), figure(orNaN(f.Limit), "%g"), f.Unit, f.Source)
	}
	t.print(w, "")
}

// The most that a file of figures may hold: it is typed by hand.
const (
	mostEntered     = 1000
	mostEnteredText = 200 // bytes of one cell
)

// parseEntered reads figures from CSV with a head line that names the columns metric, value, unit, limit and source in
// any order. Errors name the line.
func parseEntered(r io.Reader) ([]store.Entered, error) {
	in := csv.NewReader(r)
	in.TrimLeadingSpace = true
	head, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("empty")
	}
	if err != nil {
		return nil, err
	}
	column, err := enteredColumns(head)
	if err != nil {
		return nil, err
	}
	var list []store.Entered
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := in.FieldPos(0)
		f, err := enteredFigure(row, column)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		if slices.ContainsFunc(list, func(o store.Entered) bool { return o.Metric == f.Metric && o.Source == f.Source }) {
			return nil, fmt.Errorf("line %d: %s of %q stands there twice", line, f.Metric, f.Source)
		}
		if list = append(list, f); len(list) > mostEntered {
			return nil, fmt.Errorf("line %d: more than %d figures", line, mostEntered)
		}
	}
	if len(list) == 0 {
		return nil, errors.New("no figures below the head line")
	}
	return list, nil
}

// enteredColumns returns where each column stands.
func enteredColumns(head []string) (map[string]int, error) {
	column := map[string]int{}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))) // spreadsheets begin files with a mark
		if _, twice := column[name]; twice {
			return nil, fmt.Errorf("line 1: column %q stands there twice", name)
		}
		column[name] = i
	}
	for _, name := range []string{"metric", "value", "unit", "limit", "source"} {
		if _, ok := column[name]; !ok {
			return nil, fmt.Errorf("line 1: column %q is missing", name)
		}
	}
	return column, nil
}

func enteredFigure(row []string, column map[string]int) (store.Entered, error) {
	cell := func(name string) string { return strings.TrimSpace(row[column[name]]) }
	f := store.Entered{Metric: cell("metric"), Unit: cell("unit"), Source: cell("source")}
	for _, name := range []string{"metric", "unit", "source"} {
		text := cell(name)
		if text == "" && name != "unit" {
			return f, fmt.Errorf("%s is empty", name)
		}
		if len(text) > mostEnteredText || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return f, fmt.Errorf("%s: one line of at most %d bytes is wanted", name, mostEnteredText)
		}
	}
	var err error
	if f.Value, err = enteredNumber("value", cell("value")); err != nil {
		return f, err
	}
	if f.Limit, err = enteredNumber("limit", cell("limit")); err != nil {
		return f, err
	}
	if f.Value == nil && f.Limit == nil {
		return f, errors.New("neither a value nor a limit")
	}
	return f, nil
}

// enteredNumber returns nil for an empty cell.
func enteredNumber(name, text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil, fmt.Errorf("%s %q is no number; write 42.5, without unit", name, text)
	}
	return &v, nil
}
