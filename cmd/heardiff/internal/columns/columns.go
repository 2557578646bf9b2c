// Package columns reads tables that come from outside: CSV with a header, as spreadsheets of any language write it, and what the
// commands take from one: counts of listeners and of doses, figures measured elsewhere. Everything is checked while it is read, and
// errors are one line that names the line of the file.
package columns

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Table is a CSV table with a header: cells by column name, rows from 0.
type Table struct {
	separator rune
	column    map[string]int
	lines     []int
	cells     [][]string
}

// Read reads a table that must have the wanted columns, in any order, among others. Comments start with '#'. Its cells are
// separated as in its header, by commas, semicolons or tabs; with semicolons or tabs, numbers may have a decimal comma. Input
// larger than a table can be is refused while it is read.
func Read(r io.Reader, wanted ...string) (*Table, error) {
	in := bufio.NewReaderSize(&plainText{r: r}, maxTableLine)
	begin, err := in.Peek(maxTableLine) // the header
	if err != nil && err != io.EOF {
		return nil, err
	}
	c := csv.NewReader(in)
	c.Comment, c.Comma = '#', separatorOf(begin)
	c.TrimLeadingSpace = c.Comma != '\t' // which is space itself
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("the file is empty: a header line is wanted")
	}
	if err != nil {
		return nil, err
	}
	if len(head) > maxTableColumns {
		return nil, fmt.Errorf("%w: %d columns; at most %d are read", ErrNoTable, len(head), maxTableColumns)
	}
	t := &Table{separator: c.Comma, column: map[string]int{}}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")))
		if _, twice := t.column[name]; twice {
			return nil, fmt.Errorf("column %q appears twice", name)
		}
		t.column[name] = i
	}
	for _, name := range wanted {
		if !t.Has(name) {
			return nil, fmt.Errorf("column %q is missing (wanted: %s)", name, strings.Join(wanted, ","))
		}
	}
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if len(t.cells) == maxTableRows {
			return nil, fmt.Errorf("%w: more than %d rows; at most that are read", ErrNoTable, maxTableRows)
		}
		line, _ := c.FieldPos(0)
		t.lines, t.cells = append(t.lines, line), append(t.cells, record)
	}
	if len(t.cells) == 0 {
		return nil, errors.New("the file has a header and no rows")
	}
	return t, nil
}

// separatorOf returns the most frequent separator of the first line that is no comment: a comma, a semicolon or a tab.
func separatorOf(text []byte) rune {
	for line := range bytes.Lines(text) {
		if line = bytes.TrimSpace(line); len(line) == 0 || line[0] == '#' {
			continue
		}
		most := ','
		for _, s := range []rune{';', '\t'} {
			if bytes.Count(line, []byte(string(s))) > bytes.Count(line, []byte(string(most))) {
				most = s
			}
		}
		return most
	}
	return ','
}

// Has reports whether there is a column of the name.
func (t *Table) Has(name string) bool {
	_, ok := t.column[name]
	return ok
}

// Text returns a cell, or "" where the column is absent.
func (t *Table) Text(row int, name string) string {
	c, ok := t.column[name]
	if !ok {
		return ""
	}
	return strings.TrimSpace(t.cells[row][c])
}

// count returns a cell as a whole number of at least zero.
func (t *Table) count(row int, name string) (int, error) {
	n, err := strconv.Atoi(t.Text(row, name))
	if err != nil || n < 0 {
		return 0, fmt.Errorf("line %d: %s %q: a whole number of zero or more is wanted", t.lines[row], name, t.Text(row, name))
	}
	return n, nil
}

// score returns the cells correct and trials: so many right of at least one.
func (t *Table) score(row int) (correct, trials int, err error) {
	if correct, err = t.count(row, "correct"); err != nil {
		return 0, 0, err
	}
	if trials, err = t.count(row, "trials"); err != nil {
		return 0, 0, err
	}
	if correct > trials || trials == 0 {
		return 0, 0, fmt.Errorf("line %d: %d correct of %d trials", t.lines[row], correct, trials)
	}
	return correct, trials, nil
}

// number returns a cell as a finite number.
func (t *Table) number(row int, name string) (float64, error) {
	text := t.Text(row, name)
	if t.separator != ',' {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("line %d: %s %q: a number is wanted", t.lines[row], name, t.Text(row, name))
	}
	return v, nil
}

// optionalNumber is number for a cell that may be empty: nil.
func (t *Table) optionalNumber(row int, name string) (*float64, error) {
	if t.Text(row, name) == "" {
		return nil, nil
	}
	v, err := t.number(row, name)
	return &v, err
}
