package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// sheet is one tidy table on its way to a file: a row an observation, a column a variable, NA where there is none.
type sheet struct {
	name    string
	columns []column
	rows    int
	file    *os.File
	w       *csv.Writer
}

// column is a variable of a sheet: its type, in the words of R's colClasses, and what it means.
type column struct{ name, class, unit, means string }

// text is a column of words, or of times as RFC 3339 writes them.
func text(name, means string) column { return column{name, "character", "", means} }

// count is a column of whole numbers.
func count(name, unit, means string) column { return column{name, "integer", unit, means} }

// numeric is a column of numbers.
func numeric(name, unit, means string) column { return column{name, "numeric", unit, means} }

// truth is a column of TRUE and FALSE.
func truth(name, means string) column { return column{name, "logical", "", means} }

// begin opens the sheet's file in dir and writes its header.
func (t *sheet) begin(dir string) error {
	f, err := os.Create(filepath.Join(dir, t.name))
	if err != nil {
		return err
	}
	t.file, t.w = f, csv.NewWriter(f)
	var head []string
	for _, c := range t.columns {
		head = append(head, c.name)
	}
	return t.w.Write(head)
}

// add writes a row; end returns what went wrong.
func (t *sheet) add(values ...any) {
	row := make([]string, len(values))
	for i, v := range values {
		row[i] = cell(v)
	}
	t.rows++
	t.w.Write(row) // end returns what fails here
}

// end closes the file and returns the first error of writing it.
func (t *sheet) end() error {
	if t.file == nil {
		return nil
	}
	t.w.Flush()
	return errors.Join(t.w.Error(), t.file.Close())
}

// inert puts an apostrophe before text that a spreadsheet would compute as a formula, and before text that begins with an
// apostrophe: taking one off every cell that begins with one gives back what was meant.
func inert(text string) string {
	if strings.ContainsRune("=+-@\t\r'", rune(text[0])) {
		return "'" + text
	}
	return text
}

// cell formats a value; NaN and nothing become NA, which R and data frames read as missing.
func cell(v any) string {
	switch v := v.(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "NA"
		}
		return strconv.FormatFloat(v, 'g', -1, 64)
	case bool:
		return strings.ToUpper(strconv.FormatBool(v)) // as R reads it
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	case string:
		if v == "" {
			return "NA"
		}
		return inert(v)
	}
	return fmt.Sprint(v)
}
