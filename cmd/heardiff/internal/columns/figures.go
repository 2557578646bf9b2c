package columns

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"heardiff/trials/study"
)

// FigureColumns are the columns of a table of figures that were measured elsewhere.
var FigureColumns = []string{"metric", "value", "unit", "limit", "source"}

// The most that a file of figures may hold: it is typed by hand.
const (
	mostEntered     = 1000
	mostEnteredText = 200 // bytes of one cell
)

// Figures reads figures that were measured elsewhere. Those of a metric that is compared have its unit, and nothing below zero that
// cannot be; the unit need not be given.
func Figures(r io.Reader, compared func(metric string) bool) ([]study.Entered, error) {
	t, err := Read(r, FigureColumns...)
	if err != nil {
		return nil, err
	}
	if len(t.cells) > mostEntered {
		return nil, fmt.Errorf("%d figures, at most %d are taken", len(t.cells), mostEntered)
	}
	var list []study.Entered
	for i := range t.cells {
		f, err := figure(t, i, compared)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(list, func(o study.Entered) bool { return o.Metric == f.Metric && o.Source == f.Source }) {
			return nil, fmt.Errorf("line %d: %s of %q is there twice", t.lines[i], f.Metric, f.Source)
		}
		list = append(list, f)
	}
	return list, nil
}

func figure(t *Table, i int, compared func(metric string) bool) (study.Entered, error) {
	f := study.Entered{Metric: t.Text(i, "metric"), Unit: t.Text(i, "unit"), Source: t.Text(i, "source")}
	for _, name := range []string{"metric", "unit", "source"} {
		text := t.Text(i, name)
		if text == "" && name != "unit" {
			return f, fmt.Errorf("line %d: %s is empty", t.lines[i], name)
		}
		if len(text) > mostEnteredText || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) }) {
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
	if !compared(f.Metric) {
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

// unitOf returns the unit that the name of a metric that is compared ends in.
func unitOf(metric string) string {
	return strings.Replace(metric[strings.LastIndexByte(metric, '_')+1:], "db", "dB", 1)
}

// unitFault says what is wrong with the unit or sign of a figure that is compared, "" where nothing is: a figure in
// ns would be compared with others in ps.
func unitFault(f study.Entered) string {
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
