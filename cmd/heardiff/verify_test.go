package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"heardiff/stats/wire"
	"heardiff/trials"
)

// provedJSON is what the tests read of "verify".
type provedJSON struct {
	OK       bool
	Sessions []struct{ Session, Head string }
	Problems []string
	Record   struct {
		Entries     int
		Hash, Short string
	}
	Given, Unknown, Fingerprint, Program string
}

// proved runs "verify" with the exit code that is wanted.
func proved(t *testing.T, want int, args ...string) provedJSON {
	t.Helper()
	out, _ := command(t, want, append([]string{"verify", "--json"}, args...)...)
	var v provedJSON
	must(t, wire.Unmarshal([]byte(out), &v))
	if v.OK != (want == 0) || v.OK != (len(v.Problems) == 0) || v.Unknown == "" {
		t.Errorf("exit %d, and %+v", want, v)
	}
	return v
}

// A bundle proves itself before anybody takes it, and a head that its site sent finds the session that it is of; after
// import the same head finds it in the study.
func TestBundlesAreVerifiedAlone(t *testing.T) {
	listeningStudy(t, "abx", 4)
	path := awayAndBack(t)
	alone := proved(t, 0, path)
	if len(alone.Sessions) != 1 || alone.Fingerprint == "" || alone.Program != "heardiff "+thisProgram().String() {
		t.Fatalf("%+v", alone)
	}
	head := alone.Sessions[0].Head
	for _, said := range []string{head, trials.ShortHead(head), alone.Record.Short} {
		if v := proved(t, 0, path, "--head", said); v.Given == "" {
			t.Errorf("head %q is not found", said)
		}
	}
	another := strings.Repeat("ab", 32)
	if v := proved(t, exitRejected, path, "--head", another); !strings.Contains(v.Problems[0], "the head given") {
		t.Errorf("another head: %q", v.Problems)
	}
	command(t, exitUsage, "verify", path, "--head", "12345 67890")
	command(t, 0, "import", path)
	if v := proved(t, 0, "--head", trials.ShortHead(head)); !strings.Contains(v.Given, alone.Sessions[0].Session) {
		t.Errorf("in the study: %q", v.Given)
	}
}

// Of a bundle any byte may be changed, cut or added: the bundle is refused and says why, or (a date in the archive's own
// directory, say) nothing that it says is another.
func TestAnEditedBundleIsNotProved(t *testing.T) {
	listeningStudy(t, "abx", 4)
	path := awayAndBack(t)
	sound := proved(t, 0, path)
	data, err := os.ReadFile(path)
	must(t, err)
	refused := 0
	for at := 40; at < len(data); at += len(data) / 40 {
		now := append([]byte(nil), data...)
		now[at] ^= 1
		must(t, os.WriteFile(path, now, 0o644))
		var out, errs bytes.Buffer
		code := run(context.Background(), []string{"verify", path, "--json"}, strings.NewReader(""), &out, &errs)
		var v provedJSON
		must(t, wire.Unmarshal(out.Bytes(), &v))
		switch {
		case code == exitRejected && !v.OK && len(v.Problems) == 1:
			refused++
		case code != 0 || !reflect.DeepEqual(v, sound):
			t.Errorf("byte %d: exit %d, %+v", at, code, v)
		}
	}
	if refused < 35 {
		t.Errorf("%d edits were refused", refused)
	}
	for _, n := range []int{len(data) - 1, 0} {
		must(t, os.WriteFile(path, data[:n], 0o644))
		proved(t, exitRejected, path)
	}
}

// A head that was written down is still found in the record after later entries.
func TestAHeadStaysInTheRecord(t *testing.T) {
	listeningStudy(t, "abx", 4)
	then := proved(t, 0).Record
	command(t, 0, "listener", "add", "late")
	if now := proved(t, 0, "--head", then.Short); now.Record.Entries <= then.Entries || !strings.Contains(now.Given, "entry") {
		t.Errorf("%+v", now)
	}
	if v := proved(t, exitRejected, "--head", strings.Repeat("0", 64)); !strings.Contains(v.Problems[0], "the head given") {
		t.Errorf("%q", v.Problems)
	}
}

// A report bears the head of the record that it was written from.
func TestTheReportBearsTheHead(t *testing.T) {
	listeningStudy(t, "abx", 4)
	answerPlan(t)
	page := filepath.Join(t.TempDir(), "page.html")
	command(t, 0, "report", "--out", page)
	data, err := os.ReadFile(page)
	must(t, err)
	record := proved(t, 0).Record
	if !bytes.Contains(data, []byte(record.Hash)) || !bytes.Contains(data, []byte(record.Short)) {
		t.Errorf("the page does not hold %+v", record)
	}
}
