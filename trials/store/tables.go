package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// table is a table whose rows the record accounts for.
type table struct {
	name, noun string
	key        []string // the columns that identify a row
	order      string   // the column that orders its rows; "" if ordered by their key
	// added holds columns that were added later, with their value in rows recorded before.
	added map[string]string
}

// tables are all tables but the journals, which are chained themselves, and the record. A column added to one of them
// later needs its default in added.
var tables = []table{
	{name: "study", noun: "study", key: []string{"one"}},
	{name: "chains", noun: "chain", key: []string{"name"}, order: "rowid", added: map[string]string{"fed_by": `""`}},
	{name: "captures", noun: "capture", key: []string{"id"}, order: "id"},
	{name: "measurements", noun: "measurement", key: []string{"capture", "kind"}},
	{name: "entered", noun: "figure", key: []string{"chain", "metric", "source"}},
	{name: "excerpts", noun: "excerpt", key: []string{"name"}, order: "rowid"},
	{name: "presentations", noun: "presentation", key: []string{"sha256"}, order: "rowid"},
	{name: "plans", noun: "plan", key: []string{"id"}, order: "rowid"},
	{name: "listeners", noun: kindListener, key: []string{"id"}, order: "rowid"},
	{name: "sessions", noun: "session", key: []string{"id"}, order: "rowid"},
	{name: "bundles", noun: "bundle", key: []string{"sha256"}},
	{name: "begun", noun: "session begun elsewhere", key: []string{"site", "number", "session", "seal"}},
	{name: "marks", noun: "mark of a session", key: []string{"session", "mark"}},
	{name: "outcomes", noun: kindOutcome, key: []string{"session", "version"}},
}

func tableNamed(name string) table {
	for _, t := range tables {
		if t.name == name {
			return t
		}
	}
	return table{}
}

// row is a row's columns, encoded by encodeValue, without the number that only orders rows.
type row map[string]json.RawMessage

// orderColumn has the same name in both databases, but only one lists it among the columns.
const orderColumn = "rowid"

// rows reads a table, in the order in which it is listed.
func (t table) rows(ctx context.Context, q querier) ([]row, error) {
	order := t.order
	if order == "" {
		order = strings.Join(t.key, ", ")
	}
	return readRows(ctx, q, `SELECT * FROM `+t.name+` ORDER BY `+order)
}

// subject identifies a row within its table, in a form that users can read.
func (t table) subject(r row) string {
	var parts []string
	for _, k := range t.key {
		parts = append(parts, plainText(r[k]))
	}
	if len(parts) == 1 {
		return parts[0]
	}
	for i := range parts {
		parts[i] = strconv.Quote(parts[i])
	}
	return strings.Join(parts, " ")
}

// plainText returns an encoded value as it is read.
func plainText(v json.RawMessage) string {
	var text string
	if json.Unmarshal(v, &text) == nil {
		return text
	}
	return string(v)
}

// readRows runs a query and returns its rows, column by column.
func readRows(ctx context.Context, q querier, query string, args ...any) ([]row, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	var all []row
	for rows.Next() {
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		r := row{}
		for i, c := range columns {
			if c != orderColumn {
				r[c] = encodeValue(values[i])
			}
		}
		all = append(all, r)
	}
	return all, rows.Err()
}

// longest is the largest number of bytes of a text that the record contains verbatim; of a longer text it has the SHA-256.
const longest = 256

// encodeValue returns a column's value as JSON, the same for the same value and different for any other. Bytes and long texts
// become {"sha256":…}.
func encodeValue(v any) json.RawMessage {
	switch v := v.(type) {
	case nil:
		return json.RawMessage("null")
	case bool:
		return json.RawMessage(strconv.FormatBool(v))
	case int64:
		return json.RawMessage(strconv.FormatInt(v, 10))
	case float64:
		if math.IsInf(v, 0) || math.IsNaN(v) { // JSON has none: only an edit can leave one
			return quoted(fmt.Sprint(v))
		}
		return json.RawMessage(strconv.FormatFloat(v, 'g', -1, 64))
	case []byte:
		sum := sha256.Sum256(v)
		return json.RawMessage(`{"sha256":"` + hex.EncodeToString(sum[:]) + `"}`)
	case string:
		if len(v) > longest || !utf8.ValidString(v) {
			return encodeValue([]byte(v))
		}
		return quoted(v)
	default:
		return quoted(fmt.Sprintf("%T %v", v, v))
	}
}

func quoted(text string) json.RawMessage {
	data, err := json.Marshal(text)
	if err != nil {
		panic("store: a text that cannot be encoded: " + err.Error()) // cannot happen
	}
	return data
}
