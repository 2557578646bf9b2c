package main

import (
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/trials/postgres"
	"heardiff/trials/study"
)

// The attacks of ledger_test.go, by somebody who may do all that the server lets its owner do. What is copied is the schema: a folder of a
// study on a server that is copied alone leads to the same record.

// schemaOf returns the name of a study's schema.
func schemaOf(t *testing.T, study string) string {
	t.Helper()
	return strings.TrimSpace(contentOf(t, filepath.Join(study, postgres.FileName)))
}

// onTheServer runs statements with a study's schema as the search path and its triggers disabled.
func onTheServer(t *testing.T, folder string, statements ...string) {
	t.Helper()
	db, err := sql.Open("pgx", os.Getenv(study.StoreEnv))
	must(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, statement := range append([]string{"SET search_path = " + schemaOf(t, folder), "SET session_replication_role = replica"}, statements...) {
		if _, err := db.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}

// serverTables returns the tables of a study.
func serverTables(t *testing.T, folder string) (tables []string) {
	t.Helper()
	db, err := sql.Open("pgx", os.Getenv(study.StoreEnv))
	must(t, err)
	defer db.Close()
	rows, err := db.Query(`SELECT table_name FROM information_schema.tables WHERE table_schema = $1`, schemaOf(t, folder))
	must(t, err)
	defer rows.Close()
	for rows.Next() {
		var name string
		must(t, rows.Scan(&name))
		tables = append(tables, name)
	}
	return tables
}

// copyOnServer copies a study with its schema, which gets the name given.
func copyOnServer(t *testing.T, study, to, schema string) {
	t.Helper()
	copyFolder(t, study, to)
	must(t, os.WriteFile(filepath.Join(to, postgres.FileName), []byte(schema+"\n"), 0o644))
	statements := []string{"DROP SCHEMA IF EXISTS " + schema + " CASCADE", "CREATE SCHEMA " + schema}
	for _, table := range serverTables(t, study) {
		statements = append(statements, "CREATE TABLE "+schema+"."+table+" (LIKE "+table+" INCLUDING ALL)",
			"INSERT INTO "+schema+"."+table+" OVERRIDING SYSTEM VALUE SELECT * FROM "+table)
	}
	onTheServer(t, study, statements...)
}

// Whoever finishes a running session in a copy of its schema, and reads the answers there, finds the original closed; both copy and
// original say why, and so does every command that counts a session which ended otherwise.
func TestASessionFinishedInACopyOnTheServerIsNamed(t *testing.T) {
	requireServer(t)
	study := listeningStudy(t, "abx", 6)
	beginSession(t, study, 2)
	copied := filepath.Join(t.TempDir(), "copy")
	copyOnServer(t, study, copied, "heardiff_00000000000000c0")
	t.Setenv("HEARDIFF_STUDY", copied)
	answerPlan(t)
	if said := saysOf(t, copied, 0, "results", "--json"); !strings.Contains(said, "was moved, restored or copied") || !strings.Contains(said, `"flags":1`) {
		t.Errorf("results in the copy: %s", said)
	}
	t.Setenv("HEARDIFF_STUDY", study)
	const why = "its order was opened as far as entry"
	for _, c := range []struct {
		exit int
		args []string
	}{{exitRejected, listenArgs}, {0, []string{"results"}}, {0, []string{"results", "--json"}}, {exitRejected, []string{"verify"}}} {
		if said := saysOf(t, study, c.exit, c.args...); !strings.Contains(said, why) || !strings.Contains(said, copied) {
			t.Errorf("%v: %s", c.args, said)
		}
	}
	// The ledger is kept from seeing the original finished, by somebody who knows its order now.
	keys, other := os.Getenv("HEARDIFF_KEYS"), filepath.Join(t.TempDir(), "keys")
	copyFolder(t, keys, other)
	must(t, os.RemoveAll(filepath.Join(other, "ledger")))
	t.Setenv("HEARDIFF_KEYS", other)
	sitThrough(t, "1", "L1", oracleAnswer)
	t.Setenv("HEARDIFF_KEYS", keys)
	for _, c := range []struct {
		exit int
		args []string
	}{{0, []string{"link"}}, {exitRejected, []string{"pool"}}, {0, []string{"results"}}, {exitRejected, []string{"verify"}}} {
		said := saysOf(t, study, c.exit, c.args...)
		if !strings.Contains(said, why) || c.args[0] == "link" && !strings.Contains(said, "void") {
			t.Errorf("%v: %s", c.args, said)
		}
	}
}

// A journal on the server that is cut short is not gone through a second time, whether its session had ended or not.
func TestAJournalCutShortOnTheServerIsRefusedAndNamed(t *testing.T) {
	requireServer(t)
	study := listeningStudy(t, "abx", 6)
	beginSession(t, study, 4)
	onTheServer(t, study, `CREATE TABLE aside AS SELECT * FROM entries WHERE number > 4`, `DELETE FROM entries WHERE number > 4`)
	cutShort(t, study, "it went on here as far as entry")
	onTheServer(t, study, `INSERT INTO entries SELECT * FROM aside`, `DROP TABLE aside`)
	saysOf(t, study, 0, "verify")
	answerPlan(t)
	onTheServer(t, study, `DELETE FROM entries WHERE number > 4`)
	cutShort(t, study, "its order was opened here as far as entry")
}

func cutShort(t *testing.T, study, why string) {
	t.Helper()
	for _, c := range []struct {
		exit int
		args []string
	}{{exitRejected, listenArgs}, {0, []string{"results"}}, {exitRejected, []string{"verify"}}} {
		if said := saysOf(t, study, c.exit, c.args...); !strings.Contains(said, why) {
			t.Errorf("%v: %s, want %q", c.args, said, why)
		}
	}
}

// A session that was removed from the server with all its traces is missed; one whose line in the ledger was removed is named, and
// without the key that sealed its order nobody goes on with it.
func TestRemovedTracesAndKeysOnTheServerAreNoticed(t *testing.T) {
	requireServer(t)
	study := listeningStudy(t, "abx", 6)
	before := filepath.Join(t.TempDir(), "before")
	copyOnServer(t, study, before, "heardiff_00000000000000c1")
	beginSession(t, study, 2)
	running := filepath.Join(t.TempDir(), "running")
	copyOnServer(t, study, running, "heardiff_00000000000000c2")
	put := func(from string) {
		t.Helper()
		tables := serverTables(t, study)
		var statements []string
		for _, table := range tables {
			statements = append(statements, "DELETE FROM "+table, "INSERT INTO "+table+" OVERRIDING SYSTEM VALUE SELECT * FROM "+schemaOf(t, from)+"."+table)
		}
		onTheServer(t, study, statements...)
	}
	put(before)
	if said := saysOf(t, study, exitRejected, "verify"); !strings.Contains(said, "begun here on") || !strings.Contains(said, "was removed") {
		t.Errorf("the session is not missed: %s", said)
	}
	put(running)
	saysOf(t, study, 0, "verify")

	keys, other := os.Getenv("HEARDIFF_KEYS"), filepath.Join(t.TempDir(), "keys")
	t.Setenv("HEARDIFF_KEYS", other)
	if said := saysOf(t, study, exitRejected, listenArgs...); !strings.Contains(said, "cannot be resumed here") {
		t.Errorf("with another key: %s", said)
	}
	t.Setenv("HEARDIFF_KEYS", keys)
	lines, err := filepath.Glob(filepath.Join(keys, "ledger", "*.json"))
	if err != nil || len(lines) != 1 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	must(t, os.Remove(lines[0]))
	if said := saysOf(t, study, exitRejected, "verify"); !strings.Contains(said, "the ledger of this account does not know it") {
		t.Errorf("a line was removed: %s", said)
	}
	answerPlan(t)
	wantOneFlag(t, study)
}
