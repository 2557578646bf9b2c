package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/study"
)

// playedStudy makes a study with two sessions of an ABX plan: one whose listener always answers X is A, and one
// left after a single answer. It returns its folder.
func playedStudy(t *testing.T, order trials.Order) string {
	t.Helper()
	ctx, dir := context.Background(), filepath.Join(t.TempDir(), "study")
	s, err := sqlite.Create(ctx, dir, study.About{Title: "invented for a test"}, time.Now)
	must(t, err)
	defer s.Close()
	plan := trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5, Order: order}
	excerpt := study.Excerpt{Name: "opening", Music: "study", Seconds: 1, RateHz: 48000, Result: []byte("{}")}
	c := trials.Comparison{Name: "plain – long", A: "plain", B: "long", Excerpt: "opening", Trials: 16}
	for i, chain := range []string{"plain", "long"} {
		must(t, s.AddChain(ctx, study.Chain{Name: chain, Role: "source"}))
		content := []byte("not really audio: " + chain)
		sum := sha256.Sum256(content)
		p := study.Presentation{Chain: chain, Path: "audio/" + chain + ".wav", SHA256: hex.EncodeToString(sum[:]), Result: []byte("{}")}
		must(t, os.WriteFile(s.Path(p.Path), content, 0o644))
		excerpt.Presentations = append(excerpt.Presentations, p)
		*[]*string{&c.AudioA, &c.AudioB}[i] = p.SHA256
	}
	must(t, s.SaveExcerpt(ctx, excerpt))
	plan.Comparisons = []trials.Comparison{c}
	must(t, s.AddPlan(ctx, plan))
	must(t, s.AddListener(ctx, study.Listener{ID: "ear", Simulated: true}))
	play(t, s, "whole", plan, 16)
	play(t, s, "begun", plan, 1)
	return dir
}

// openCurrent opens the study that HEARDIFF_STUDY names.
func openCurrent(t testing.TB) *study.Study {
	t.Helper()
	return openIn(t, os.Getenv("HEARDIFF_STUDY"))
}

// openIn opens the study of a folder.
func openIn(t testing.TB, folder string) *study.Study {
	t.Helper()
	s, err := study.Open(context.Background(), folder, nil)
	must(t, err)
	return s
}

// openRecord opens the record of a study, to write into it what the command would not.
func openRecord(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), dir, time.Now)
	must(t, err)
	return s
}

// play begins a session and answers "X is A" n times.
func play(t *testing.T, s *store.Store, id string, p trials.Plan, n int) {
	t.Helper()
	ctx, seed := context.Background(), trials.Seed{1, 2, 3}
	sealed, err := trials.Key{}.Seal(seed, id)
	must(t, err)
	must(t, s.AddSession(ctx, study.Session{ID: id, Plan: p.ID, Listener: "ear", Sealed: sealed}))
	session, err := trials.Begin(id, trials.Seat{}, p, seed, s.Journal(ctx), time.Now)
	must(t, err)
	must(t, session.Open(""))
	for range n {
		session.Heard(trials.LabelX, 1)
		session.Heard(trials.LabelA, 1)
		must(t, session.Ask(trials.AnswerA, 0))
		must(t, session.Confirm())
	}
}

// reported writes the report of the study, and returns its file and text.
func reported(t *testing.T) (page, text string) {
	t.Helper()
	page = filepath.Join(t.TempDir(), "report.html")
	command(t, 0, "report", "--out", page)
	return page, contentOf(t, page)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// contentOf returns what a file holds.
func contentOf(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	must(t, err)
	return string(data)
}

// inStudyFolder runs a command on the study and decodes its JSON into v.
func inStudyFolder(t *testing.T, dir string, v any, args ...string) (code int, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), append(args, "--json", "--study", dir), strings.NewReader(""), &out, &errs)
	if err := json.Unmarshal(out.Bytes(), v); err != nil {
		t.Fatalf("%v: %v\n%s%s", args, err, out.String(), errs.String())
	}
	return code, errs.String()
}

type resultsJSON struct {
	Sessions []struct {
		State       string
		Answered    int
		Comparisons []struct {
			Trials, Correct int
			ABX             struct {
				P float64 `json:"p_value"`
			} `json:"abx"`
			Conditional *float64 `json:"p_value_conditional"`
		}
		Trials []trials.TrialResult
	}
}

func TestResultsShowNothingOfASessionThatRuns(t *testing.T) {
	var r resultsJSON
	if code, stderr := inStudyFolder(t, playedStudy(t, trials.Independent), &r, "results"); code != 0 {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	whole, begun := r.Sessions[0], r.Sessions[1]
	if whole.State != "completed" || len(whole.Comparisons) != 1 || whole.Comparisons[0].Trials != 16 || len(whole.Trials) != 16 {
		t.Errorf("the session that ended: %+v", whole)
	}
	if begun.State != "running" || begun.Answered != 1 || len(begun.Comparisons) != 0 || len(begun.Trials) != 0 {
		t.Errorf("the session that runs shows more than its progress: %+v", begun)
	}
}

// In balanced order 8 of 16 X are A: who always says A is right 8 times, whatever the order, so the answers hold no
// evidence at all and the conditional p is 1.
func TestBalancedOrderIsTestedGivenTheAnswers(t *testing.T) {
	var r resultsJSON
	inStudyFolder(t, playedStudy(t, trials.Balanced), &r, "results")
	c := r.Sessions[0].Comparisons[0]
	if c.Correct != 8 || c.Conditional == nil || *c.Conditional != 1 {
		t.Errorf("got %d right, conditional p %v; want 8 and 1", c.Correct, c.Conditional)
	}
}

type verifyJSON struct {
	OK       bool
	Files    int
	Problems []string
}

func TestVerifyNamesWhatWasChanged(t *testing.T) {
	for _, tt := range []struct {
		name   string
		tamper func(t *testing.T, dir string)
		want   string // in the problem; "" for a sound study
	}{
		{"nothing changed", func(*testing.T, string) {}, ""},
		{"audio changed", func(t *testing.T, dir string) {
			must(t, os.WriteFile(filepath.Join(dir, "audio", "long.wav"), []byte("other"), 0o644))
		}, "audio/long.wav was changed"},
		{"audio missing", func(t *testing.T, dir string) {
			must(t, os.Remove(filepath.Join(dir, "audio", "plain.wav")))
		}, "audio/plain.wav is missing"},
		{"an answer changed", sqlTamper(`UPDATE entries SET body = replace(body, '"answer":"a"', '"answer":"b"')
			WHERE session = 'whole' AND number = 5`), "session whole: entry 5 was changed"},
		{"an answer removed", sqlTamper(`DELETE FROM entries WHERE session = 'whole' AND number = 5`),
			"session whole: entry 6 is in the place of entry 5"},
		{"two answers swapped", sqlTamper(`UPDATE entries SET number = CASE number WHEN 5 THEN -6 ELSE -5 END
			WHERE session = 'whole' AND number IN (5, 6); UPDATE entries SET number = -number WHERE number < 0`),
			"session whole: entry 6 is in the place of entry 5"},
		{"the plan changed after the session", sqlTamper(`UPDATE plans SET body = replace(body, '"alpha":0.05', '"alpha":0.2')`),
			"session whole: the seed and the plan do not agree with the seal"},
		{"a session removed", sqlTamper(`DROP TRIGGER sessions_remain; DELETE FROM entries WHERE session = 'whole';
			DELETE FROM sessions WHERE id = 'whole'`), `session "whole": was removed`},
		{"the counts kept of a session changed", sqlTamper(`UPDATE outcomes SET body = replace(body, '"voids":0', '"voids":1')`),
			"session whole: the counts kept of it"},
		{"counts made up of a session that runs", sqlTamper(`INSERT INTO outcomes (session, version, body) SELECT 'begun', version, body FROM outcomes`),
			"session begun: counts are kept of it, and it has not ended"},
		{"the record removed", sqlTamper(`DROP TRIGGER record_remains; DELETE FROM record`), "the record was removed"},
		{"entries moved to another session", sqlTamper(`DELETE FROM entries WHERE session = 'begun';
			UPDATE entries SET session = 'begun' WHERE session = 'whole'`), `session begun: its entries belong to session "whole"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := playedStudy(t, trials.Independent)
			tt.tamper(t, dir)
			var r verifyJSON
			code, stderr := inStudyFolder(t, dir, &r, "verify")
			if tt.want == "" {
				if code != 0 || !r.OK || r.Files != 2 || len(r.Problems) != 0 {
					t.Errorf("exit %d, %+v, %s", code, r, stderr)
				}
				return
			}
			if code != exitRejected || r.OK || len(r.Problems) == 0 || !strings.Contains(strings.Join(r.Problems, "\n"), tt.want) {
				t.Errorf("exit %d, problems %q; want %q named", code, r.Problems, tt.want)
			}
		})
	}
}

// sqlTamper changes the database behind the store's back, as somebody with an editor would.
func sqlTamper(statement string) func(t *testing.T, dir string) {
	return func(t *testing.T, dir string) {
		t.Helper()
		db, err := sql.Open("sqlite", filepath.Join(dir, sqlite.FileName))
		must(t, err)
		defer db.Close()
		for _, trigger := range []string{"entries_stay", "entries_remain", "plans_stay"} {
			_, err = db.Exec("DROP TRIGGER " + trigger)
			must(t, err)
		}
		_, err = db.Exec(statement)
		must(t, err)
	}
}

// A sequential session that its boundary stopped has no p, and is heard because the boundary says so.
func TestSequentialResultIsDecidedByItsBoundary(t *testing.T) {
	looks := stats.Looks{Trials: []int{4, 16}, Heard: []int{4, 13}, RuledOut: []int{-1, 12}}
	plan := trials.Plan{Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.5, Looks: &looks}
	tally := trials.Tally{Comparison: trials.Comparison{Name: "one"}, Trials: 4, Correct: 4}
	for _, stopped := range []trials.Stop{trials.StopHeard, trials.StopRuledOut, ""} {
		row, err := study.ScoreRow(trials.Result{Plan: plan, Stopped: stopped}, tally)
		if err != nil || row.Reached != (stopped == trials.StopHeard) || !math.IsNaN(row.PValue()) {
			t.Errorf("stopped %q: reached %v, p %v, error %v", stopped, row.Reached, row.PValue(), err)
		}
	}
}
