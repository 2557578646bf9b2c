package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// sheet is one tidy table: a row an observation, a column a variable, NA where there is none.
type sheet struct {
	name    string
	columns []column
	rows    [][]string
}

// column is a variable of a sheet and what it means.
type column struct{ name, unit, means string }

// exportTables writes the study's tables and their dictionary into dir, all or none.
func (a *app) exportTables(ctx context.Context, s *store.Store, dir string) error {
	sessions, err := sessionSheets(ctx, s)
	if err != nil {
		return err
	}
	l, err := a.linkStudy(ctx)
	if err != nil {
		return err
	}
	sheets := append(sessions, resultSheet(l.result), measurementSheet(l.result))
	sheets = append(sheets, dictionary(sheets))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write tables: %w", err)
	}
	temporary, err := os.MkdirTemp(dir, ".tables-*")
	if err != nil {
		return fmt.Errorf("write tables: %w", err)
	}
	defer os.RemoveAll(temporary)
	for _, t := range sheets {
		if err := t.write(filepath.Join(temporary, t.name)); err != nil {
			return fmt.Errorf("write tables: %w", err)
		}
	}
	for _, t := range sheets {
		if err := os.Rename(filepath.Join(temporary, t.name), filepath.Join(dir, t.name)); err != nil {
			return fmt.Errorf("write tables: %w", err)
		}
	}
	return a.printTables(dir, sheets)
}

func (a *app) printTables(dir string, sheets []sheet) error {
	type written struct {
		File string `json:"file"`
		Rows int    `json:"rows"`
	}
	r := struct {
		Schema string    `json:"schema"`
		Tables []written `json:"tables"`
	}{Schema: "heardiff.tables/1"}
	for _, t := range sheets {
		r.Tables = append(r.Tables, written{filepath.Join(dir, t.name), len(t.rows)})
	}
	return a.print(r, func(w io.Writer) {
		for _, t := range r.Tables {
			fmt.Fprintf(w, "%s: %d rows\n", t.File, t.Rows)
		}
	})
}

func (t sheet) write(path string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	var head []string
	for _, c := range t.columns {
		head = append(head, c.name)
	}
	err = errors.Join(w.Write(head), w.WriteAll(t.rows))
	return errors.Join(err, w.Error(), f.Close())
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
		return v
	}
	return fmt.Sprint(v)
}

func (t *sheet) add(values ...any) {
	row := make([]string, len(values))
	for i, v := range values {
		row[i] = cell(v)
	}
	t.rows = append(t.rows, row)
}

// sessionSheets returns a row a session, and a row a trial of those that have ended.
func sessionSheets(ctx context.Context, s *store.Store) ([]sheet, error) {
	all := sheet{name: "sessions.csv", columns: []column{
		{"session", "", "id of the session"}, {"site", "", "fingerprint of the site where it was run, NA: here"},
		{"plan", "", "plan worked through"}, {"listener", "", "pseudonym"}, {"group", "", "the listener's group"},
		{"simulated", "", "true: a computation answered, not a person"}, {"device", "", "what it was heard through"},
		{"design", "", "abx or same-different"}, {"given_up", "", "true: ended early"}, {"voids", "trials", "trials made void and asked anew"},
		{"flags", "events", "disturbances noted"}, {"begun", "UTC", "first entry"}, {"ended", "UTC", "last entry"}}}
	each := sheet{name: "trials.csv", columns: []column{
		{"session", "", "id of the session"}, {"listener", "", "pseudonym"}, {"trial", "", "number within the session"},
		{"comparison", "", "name within the plan"}, {"kind", "", "scored, practice, positive control or negative control"},
		{"a", "", "chain A"}, {"b", "", "chain B"}, {"excerpt", "", "stretch of music"}, {"truth", "", "the answer that was right"},
		{"answer", "", "the answer given, NA: void"}, {"correct", "", "true where they agree"}, {"void", "", "why it was void, NA: it counts"},
		{"confidence", "1 to 4", "how sure the listener was, 0: not said"}, {"seconds", "s", "from offer to confirmed answer"},
		{"switches", "key presses", "what to hear was chosen"}, {"flags", "", "disturbances noted"}, {"at", "UTC", "when it was confirmed"}}}
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	for _, v := range sessions {
		if err := addSession(ctx, s, v, &all, &each); err != nil {
			return nil, err
		}
	}
	return []sheet{all, each}, nil
}

func addSession(ctx context.Context, s *store.Store, v store.Session, all, each *sheet) error {
	r, err := revealStored(ctx, s, v)
	if errors.Is(err, trials.ErrBlind) {
		return nil // nothing of a running session leaves the study
	}
	if err != nil {
		return rejected(fmt.Errorf("session %s: %w", v.ID, err), `"heardiff verify" tells more`)
	}
	l, err := s.Listener(ctx, v.Listener)
	if err != nil {
		return err
	}
	all.add(v.ID, v.Site, v.Plan, v.Listener, l.Group, l.Simulated, v.Device, r.Plan.Design.String(), r.GivenUp, r.Voids, r.Flags, r.Begun, r.Ended)
	comparisons := map[string]trials.Comparison{}
	for _, c := range r.Plan.Comparisons {
		comparisons[c.Name] = c
	}
	for _, t := range r.Trials {
		c := comparisons[t.Comparison]
		each.add(v.ID, v.Listener, t.Trial, t.Comparison, t.Kind.String(), c.A, c.B, c.Excerpt, t.Truth.String(), t.Answer.String(),
			t.Correct, t.Void, t.Confidence, t.Seconds, t.Switches, strings.Join(t.Flags, "; "), t.At)
	}
	return nil
}

func resultSheet(r link.Result) sheet {
	t := sheet{name: "results.csv", columns: []column{
		{"comparison", "", "name"}, {"a", "", "chain A"}, {"b", "", "chain B"}, {"excerpt", "", "stretch of music"}, {"design", "", "abx or same-different"},
		{"kind", "", "listener, group or all"}, {"listener", "", "pseudonym, or all"}, {"group", "", "the listener's group"},
		{"simulated", "", "true: a computation answered"}, {"trials", "", "scored trials"}, {"correct", "", "right answers"},
		{"proportion", "", "correct / trials"}, {"p_value", "", "one-sided, exact"}, {"p_holm", "", "corrected for the number of comparisons"},
		{"clopper_pearson_low", "", "95 % interval of the proportion"}, {"clopper_pearson_high", "", "95 % interval of the proportion"},
		{"d_prime", "", "independent-observation model"}, {"p_d_upper", "", "one-sided upper bound of the proportion of discriminators"},
		{"e_value", "", "evidence against guessing"}, {"verdict", "", "heard, ruled out, undecided or void"}, {"reason", "", "why"}}}
	for _, v := range r.Rows {
		t.add(v.Comparison, v.A, v.B, v.Excerpt, v.Design, v.Kind, v.Listener, v.Group, v.Simulated, v.Trials, v.Correct, v.Proportion, v.P, v.PHolm,
			v.ClopperPearson[0], v.ClopperPearson[1], v.DPrimeIndependent, v.UpperPD, v.EValue, string(v.Verdict), v.Reason)
	}
	return t
}

func measurementSheet(r link.Result) sheet {
	t := sheet{name: "measurements.csv", columns: []column{
		{"a", "", "chain A"}, {"b", "", "chain B"}, {"excerpt", "", "stretch of music"}, {"metric", "", "what was measured; its unit stands in the name"},
		{"value_a", "as in the name", "of chain A"}, {"value_b", "as in the name", "of chain B"}, {"difference", "as in the name", "B less A, NA: not measurable"},
		{"uncertainty", "as in the name", "standard error of the difference over repeated captures"}, {"limit", "as in the name", "what the recorder could tell"},
		{"captures_a", "", "captures of chain A"}, {"captures_b", "", "captures of chain B"}, {"entered", "", "true: entered by hand, not measured here"}}}
	seen := map[string]bool{}
	for _, v := range r.Rows {
		id := v.A + "\x00" + v.B + "\x00" + v.Excerpt
		if seen[id] {
			continue
		}
		seen[id] = true
		for _, p := range v.Measured.Pairs() {
			t.add(v.A, v.B, v.Excerpt, string(p.Metric), p.A, p.B, p.Difference, p.Uncertainty, p.Limit, p.CapturesA, p.CapturesB, p.Entered)
		}
	}
	return t
}

// dictionary describes every column of every table.
func dictionary(sheets []sheet) sheet {
	d := sheet{name: "data_dictionary.csv", columns: []column{{"table", "", ""}, {"column", "", ""}, {"unit", "", ""}, {"means", "", ""}}}
	for _, t := range sheets {
		for _, c := range t.columns {
			d.add(t.name, c.name, c.unit, c.means)
		}
	}
	return d
}
