package storetest

import (
	"context"
	"database/sql"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// filled returns a study with two rows or more in each table: a session that has ended, one that runs, and another site's.
func filled(t *testing.T, b Backend) *store.Store {
	t.Helper()
	ctx, s := context.Background(), b.New(t, time.Now)
	of, err := s.Study(ctx)
	check(t, err)
	cost := 40.5
	for _, c := range []store.Chain{{Name: "left", About: "one", Role: "source", Cost: &cost}, {Name: "right", Role: "source", After: "left"}, {Name: "loop", Role: "floor"}} {
		check(t, s.AddChain(ctx, c))
	}
	for i, c := range []string{"left", "right", "loop"} {
		kept, err := s.AddCapture(ctx, store.Capture{Chain: c, Kind: "jitter", Path: "audio/" + c, SHA256: "sum of " + c, RateHz: 48000, Channels: 2, Frames: 99, Bits: 24})
		check(t, err)
		check(t, s.SaveMeasurement(ctx, store.Measurement{Capture: kept.ID, Kind: "jitter", Result: fmt.Appendf(nil, `{"random_ps_rms":%d}`, i+5)}))
		check(t, s.SaveMeasurement(ctx, store.Measurement{Capture: kept.ID, Kind: "tone", Result: []byte(`{"words":"` + strings.Repeat("long ", 90) + `"}`)}))
	}
	more, err := s.AddCapture(ctx, store.Capture{Chain: "left", Kind: "tone", Path: "audio/more", SHA256: "sum of more", RateHz: 48000})
	check(t, err)
	check(t, s.RemoveCapture(ctx, more.ID, "the wrong cable"))
	check(t, s.Enter(ctx, []store.Entered{{Chain: "left", Metric: "noise", Value: &cost, Unit: "dB", Source: "by hand"}, {Chain: "right", Metric: "noise", Limit: &cost, Unit: "dB", Source: "by hand"}}))
	for i, name := range []string{"opening", "close"} {
		check(t, s.SaveExcerpt(ctx, store.Excerpt{Name: name, Music: "suite", StartS: 1.5, Seconds: 15, RateHz: 48000, Result: []byte(`{"null_db":-80}`),
			Presentations: []store.Presentation{{Chain: "left", Path: name + "/left", SHA256: fmt.Sprint("aa", i), Result: []byte(`{"level_error_db":0.01}`)},
				{Chain: "right", Path: name + "/right", SHA256: fmt.Sprint("bb", i), Treatment: "level", Dose: 1, Result: []byte(`{"offset_error_us":1}`)}}}))
	}
	check(t, s.AddPlan(ctx, Plan(2)))
	second := Plan(3)
	second.ID = "2"
	check(t, s.AddPlan(ctx, second))
	years := 7.5
	check(t, s.AddListener(ctx, store.Listener{ID: "L1", Group: "trained", Years: &years, Hearing: "good", Consent: "yes"}))
	check(t, s.AddListener(ctx, store.Listener{ID: "L2", Group: "naive", Simulated: true}))
	for i, id := range []string{"s1", "s2"} {
		who, plan := fmt.Sprint("L", i+1), []trials.Plan{Plan(2), second}[i]
		check(t, s.AddSession(ctx, store.Session{ID: id, Plan: plan.ID, Listener: who, Sealed: []byte{1, 2}, Device: "default", Escrow: []byte{3, 4}}))
		session, err := trials.Begin(id, trials.NewSeat(of.ID, who, "default"), plan, trials.Seed{byte(i)}, s.Journal(ctx), time.Now)
		check(t, err)
		check(t, session.Sit("default", false))
		for range 2 {
			Answer(t, session)
		}
	}
	check(t, s.AddListener(ctx, store.Listener{ID: "L3", Hearing: "a whistle"}))
	check(t, s.ForgetListener(ctx, "L3"))
	for site := range 2 {
		_, err := s.Merge(ctx, bundle(t, site, 1))
		check(t, err)
	}
	return s
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// faults returns all that an audit finds.
func faults(t *testing.T, s *store.Store) []string {
	t.Helper()
	var ofSessions []string
	a, err := s.Audit(context.Background(), func(v store.AuditedSession) error {
		for _, f := range v.Faults {
			ofSessions = append(ofSessions, "session "+v.ID+": "+f)
		}
		return nil
	})
	check(t, err)
	return append(a.Faults, ofSessions...)
}

// tampering edits the database of a study behind the store's back, and puts back what was there.
type tampering struct {
	*testing.T
	study   *store.Store
	conn    *sql.Conn
	server  bool
	found   int
	refused int
	tables  []string
}

// contents are a table's columns and rows, with the number that orders them.
type contents struct {
	table   string
	columns []string
	rows    [][]any
}

func (t *tampering) exec(statement string, args ...any) error {
	_, err := t.conn.ExecContext(context.Background(), statement, args...)
	return err
}

func (t *tampering) contents(table string) contents {
	t.Helper()
	r, err := t.conn.QueryContext(context.Background(), `SELECT `+t.hidden(table)+`* FROM `+table)
	check(t, err)
	defer r.Close()
	c := contents{table: table}
	c.columns, err = r.Columns()
	check(t, err)
	for r.Next() {
		row, into := make([]any, len(c.columns)), make([]any, len(c.columns))
		for i := range row {
			into[i] = &row[i]
		}
		check(t, r.Scan(into...))
		for i := range row {
			if b, ok := row[i].([]byte); ok && len(b) == 0 {
				row[i] = []byte{} // nil would be written as NULL
			}
		}
		c.rows = append(c.rows, row)
	}
	check(t, r.Err())
	return c
}

// hidden returns the column that orders a table's rows where * does not list it.
func (t *tampering) hidden(table string) string {
	if !t.server && slices.Contains([]string{"chains", "excerpts", "presentations", "plans", "listeners", "sessions"}, table) {
		return orderColumn + ", "
	}
	return ""
}

// write replaces the rows of a table, all or none.
func (t *tampering) write(c contents, rows [][]any) error {
	check(t, t.exec(`BEGIN`))
	err := t.exec(`DELETE FROM ` + c.table)
	overriding := ""
	if t.server {
		overriding = " OVERRIDING SYSTEM VALUE"
	}
	for _, row := range rows {
		var places []string
		for i := range row {
			places = append(places, fmt.Sprintf("$%d", i+1))
		}
		if err == nil {
			err = t.exec(`INSERT INTO `+c.table+` (`+strings.Join(c.columns, ", ")+`)`+overriding+` VALUES (`+strings.Join(places, ", ")+`)`, row...)
		}
	}
	if err != nil {
		check(t, t.exec(`ROLLBACK`))
		return err
	}
	return t.exec(`COMMIT`)
}

// edited replaces a table's rows, demands that this is found, and restores what was there. It returns false if the database does not accept
// such rows.
func (t *tampering) edited(c contents, now [][]any, what string, args ...any) bool {
	t.Helper()
	if err := t.write(c, now); err != nil {
		t.refused++
		return false
	}
	t.found++
	found := faults(t.T, t.study)
	named := slices.ContainsFunc(found, func(line string) bool { return strings.Contains(line, nouns[c.table]) })
	if !named || nouns[c.table] == "" {
		t.Errorf("%s: %s: found %q, which does not name it", c.table, fmt.Sprintf(what, args...), found)
	}
	check(t, t.write(c, c.rows))
	return true
}

// nouns are the words by which an edit of a table is named.
var nouns = map[string]string{"study": "study", "chains": "chain", "captures": "capture", "measurements": "measurement", "entered": "figure",
	"excerpts": "excerpt", "presentations": "presentation", "plans": "plan", "listeners": "listener", "sessions": "session",
	"entries": "session", "bundles": "bundle", "begun": "session begun elsewhere", "marks": "mark of a session", "outcomes": "outcome", "record": "record"}

// bearsOnNothing lists the columns on which no result depends, and the edits that the study alone cannot detect, with the reasons.
var bearsOnNothing = map[string]string{
	"the newest answers of a session that runs, removed": "the record knows its journal up to the last sitting, the ledger next to the key up to the last answer",
	"version.one": "the only row's key",
	"rowid of begun, bundles, entered, marks, measurements and study, in a file": "these are listed by their key",
	"rowid, where the order stays": "only the order that follows from it is shown, and rows that are exchanged test that",
	"version.migrations":           "how many steps made the schema: with another number the study is not opened, or opened as it is",
}

// orderColumn numbers rows.
const orderColumn = "rowid"

// Every column of every table is edited, every row removed, added, exchanged and moved, with the guards dropped: each
// edit is found.
func editsAreFound(t *testing.T, b Backend) {
	s := filled(t, b)
	if found := faults(t, s); len(found) > 0 {
		t.Fatalf("before any edit: %q", found)
	}
	e := tampered(t, b, s)
	for _, table := range e.tables {
		if table == "version" {
			continue
		}
		c := e.contents(table)
		if len(c.rows) < 2 && table != "study" {
			t.Errorf("%s: %d rows: the test tests nothing", table, len(c.rows))
		}
		rows := []int{0, len(c.rows) / 2, len(c.rows) - 1}
		if b.Full {
			rows = rows[:0]
			for r := range c.rows {
				rows = append(rows, r)
			}
		}
		rows = slices.Compact(rows)
		e.editColumns(c, rows)
		e.addRows(c)
		e.moveRows(c, rows)
		if found := faults(t, s); len(found) > 0 {
			t.Fatalf("%s was not put back: %q", table, found)
		}
	}
	t.Logf("%d edits; %d more are such as the database refuses", e.found, e.refused)
	for column, why := range bearsOnNothing {
		t.Logf("bears on nothing: %s: %s", column, why)
	}
}

// dropGuards drops everything that prevents edits of the database, and notes its tables.
func (t *tampering) dropGuards() {
	if t.exec(`SHOW server_version`) == nil {
		t.server = true
		check(t, t.exec(`SET session_replication_role = replica`)) // no triggers, no foreign keys
		t.tables = t.names(`SELECT tablename FROM pg_tables WHERE schemaname = current_schema() ORDER BY 1`)
		return
	}
	for _, pragma := range []string{"foreign_keys = 0", "ignore_check_constraints = 1", "synchronous = 0"} {
		check(t, t.exec(`PRAGMA `+pragma))
	}
	for _, name := range t.names(`SELECT name FROM sqlite_master WHERE type = 'trigger'`) {
		check(t, t.exec(`DROP TRIGGER `+name))
	}
	t.tables = t.names(`SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY 1`)
}

func (t *tampering) names(query string) []string {
	r, err := t.conn.QueryContext(context.Background(), query)
	check(t, err)
	defer r.Close()
	var all []string
	for r.Next() {
		var one string
		check(t, r.Scan(&one))
		all = append(all, one)
	}
	return all
}

func (t *tampering) editColumns(c contents, rows []int) {
	t.Helper()
	for k, column := range c.columns {
		if column == orderColumn {
			continue
		}
		taken := 0
		for _, r := range rows {
			for _, v := range others(c.rows[r][k]) {
				if t.edited(c, c.with(r, k, v), "%s of row %d: %.40v instead of %.40v", column, r+1, v, c.rows[r][k]) {
					taken++
				}
			}
		}
		if taken == 0 {
			t.Logf("%s.%s: no other value is taken by the database", c.table, column)
		}
	}
}

// with returns the rows with one value changed.
func (c contents) with(row, column int, v any) [][]any {
	now := slices.Clone(c.rows)
	now[row] = slices.Clone(now[row])
	now[row][column] = v
	return now
}

// others returns values that are not v: one that differs as little as its kind allows, and some that are simply others.
func others(v any) []any {
	var all []any
	switch v := v.(type) {
	case nil:
		all = []any{1.5, "another", []byte{9}, int64(1)}
	case bool:
		all = []any{!v}
	case int64:
		all = []any{v + 1000, -v - 1}
	case float64:
		all = []any{v + 1e-9, 0.0, nil}
	case []byte:
		all = []any{append(slices.Clone(v), 0), nil}
	case string:
		all = []any{v + " ", "", "floor", "2030-01-01T00:00:00Z"}
	}
	return slices.DeleteFunc(all, func(o any) bool { return reflect.DeepEqual(o, v) })
}

// addRows adds rows that equal the first except in one column, or in all.
func (t *tampering) addRows(c contents) {
	t.Helper()
	taken := 0
	all := slices.Clone(c.rows[0])
	for k, column := range c.columns {
		one := slices.Clone(c.rows[0])
		if v := others(one[k]); len(v) > 0 && column != "role" {
			one[k], all[k] = v[0], v[0]
		}
		if order := slices.Index(c.columns, orderColumn); order >= 0 {
			one[order], all[order] = int64(1000), int64(1000)
		}
		if t.edited(c, append(slices.Clone(c.rows), one), "a row like the first but for %s", column) {
			taken++
		}
	}
	if t.edited(c, append(slices.Clone(c.rows), all), "another row") {
		taken++
	}
	if taken == 0 && c.table != "study" {
		t.Errorf("%s: no row could be added: the test tests nothing", c.table)
	}
}

// newestAnswer reports whether a row is the last of the session that runs.
func newestAnswer(c contents, r int) bool {
	const running = "s2"
	return c.table == "entries" && c.rows[r][0] == running && (r+1 == len(c.rows) || c.rows[r+1][0] != running)
}

// moveRows removes rows, and exchanges columns of neighbours.
func (t *tampering) moveRows(c contents, rows []int) {
	t.Helper()
	for _, r := range rows {
		if !newestAnswer(c, r) {
			t.edited(c, slices.Delete(slices.Clone(c.rows), r, r+1), "row %d removed", r+1)
		}
		if r == 0 {
			continue
		}
		for k, column := range c.columns {
			if !reflect.DeepEqual(c.rows[r][k], c.rows[r-1][k]) {
				now := c.with(r, k, c.rows[r-1][k])
				now[r-1] = slices.Clone(now[r-1])
				now[r-1][k] = c.rows[r][k]
				if reflect.DeepEqual(now[r-1], c.rows[r]) && reflect.DeepEqual(now[r], c.rows[r-1]) && c.columns[0] != orderColumn {
					continue // the same two rows
				}
				t.edited(c, now, "%s of rows %d and %d exchanged", column, r, r+1)
			}
		}
	}
	t.edited(c, nil, "all rows removed")
}
