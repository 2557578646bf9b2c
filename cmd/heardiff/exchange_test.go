package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/study"
)

// answerPlan works through plan 1 of the current study as listener L1, always with the first answer.
func answerPlan(t *testing.T) {
	t.Helper()
	answerAs(t, "L1")
}

// answerAs is answerPlan as another listener.
func answerAs(t *testing.T, listener string) {
	t.Helper()
	sitThrough(t, "1", listener, alwaysFirst)
}

// alwaysFirst answers with the design's first answer.
func alwaysFirst(session *trials.Session, _ trials.Plan) trials.Answer {
	return session.View().Design.Answers()[0]
}

// sitThrough works through a plan of the current study, each trial answered as answer says.
func sitThrough(t *testing.T, plan, listener string, answer func(*trials.Session, trials.Plan) trials.Answer) {
	t.Helper()
	sitFor(t, plan, listener, -1, answer)
}

// sitFor is sitThrough that leaves after n answers; all where n is negative.
func sitFor(t *testing.T, plan, listener string, n int, answer func(*trials.Session, trials.Plan) trials.Answer) {
	t.Helper()
	sitWhen(t, time.Now, study.SitOptions{Plan: plan, Listener: listener}, n, answer)
}

// sitWhen is sitFor at another time.
func sitWhen(t *testing.T, now func() time.Time, o study.SitOptions, n int, answer func(*trials.Session, trials.Plan) trials.Answer) {
	t.Helper()
	a := &app{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}, now: now, getenv: os.Getenv}
	ctx := context.Background()
	s, err := a.openStudy(ctx)
	must(t, err)
	defer s.Close()
	p, err := s.Plan(ctx, o.Plan)
	must(t, err)
	seat, err := s.Sit(ctx, o)
	must(t, err)
	defer seat.Close()
	session, err := seat.Start(ctx, "default, 48000 Hz", false)
	must(t, err)
	for ; n != 0 && session.View().Phase != trials.Done; n-- {
		for _, l := range session.View().Design.Labels() {
			session.Heard(l, 1)
		}
		must(t, session.Ask(answer(session, p), 0))
		must(t, session.Confirm())
	}
}

// at runs what follows as another site: its own key, its own study.
func at(t *testing.T, dir, site string) {
	t.Helper()
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, site+"-keys"))
	t.Setenv("HEARDIFF_STUDY", filepath.Join(dir, site))
}

// awayAndBack sends plan 1 to another site, where L1, added with the given flags, works through it, and returns what the
// site sends back.
func awayAndBack(t *testing.T, flags ...string) string {
	t.Helper()
	return sentBack(t, func() { answerPlan(t) }, flags...)
}

// sentBack sends plan 1 to another site, where L1 is added with the given flags and something is done, and returns what the site sends back.
func sentBack(t *testing.T, do func(), flags ...string) string {
	t.Helper()
	home, keys, dir := os.Getenv("HEARDIFF_STUDY"), os.Getenv("HEARDIFF_KEYS"), t.TempDir()
	kit, back := filepath.Join(dir, "kit"), filepath.Join(dir, "back")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	at(t, dir, "north")
	command(t, 0, "import", kit)
	command(t, 0, append([]string{"listener", "add", "L1"}, flags...)...)
	do()
	command(t, 0, "export", "--out", back)
	t.Setenv("HEARDIFF_STUDY", home)
	t.Setenv("HEARDIFF_KEYS", keys)
	return back
}

func TestResultsOfManySitesComeTogether(t *testing.T) {
	home := listeningStudy(t, "abx", 5)
	keys := os.Getenv("HEARDIFF_KEYS")
	dir := t.TempDir()
	kit := filepath.Join(dir, "kit.bundle")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	var bundles []string
	for _, site := range []string{"north", "south"} {
		at(t, dir, site)
		command(t, 0, "import", kit)
		command(t, 0, "listener", "add", "L1", "--group", "untrained", "--hearing", "fine")
		answerPlan(t)
		out := filepath.Join(dir, site+".bundle")
		command(t, 0, "export", "--out", out, "--anonymous")
		bundles = append(bundles, out)
	}
	if data, err := os.ReadFile(bundles[0]); err != nil || !bytes.Contains(data, []byte(`"escrow":`)) {
		t.Errorf("a session of a kit is not sealed to the site it came from: %v", err)
	}
	data, err := os.ReadFile(bundles[0])
	if err != nil || bytes.Contains(data, []byte("fine")) {
		t.Errorf("the anonymous bundle holds what the listener said: %v", err)
	}
	t.Setenv("HEARDIFF_KEYS", keys)
	copied := filepath.Join(dir, "copy")
	must(t, os.CopyFS(copied, os.DirFS(home)))
	merge := func(study string, order ...string) string {
		t.Setenv("HEARDIFF_STUDY", study)
		for _, b := range order {
			command(t, 0, "import", b)
		}
		command(t, 0, "verify")
		out, _ := command(t, 0, "results", "--json")
		return out
	}
	one := merge(home, bundles[0], bundles[1])
	other := merge(copied, bundles[1], bundles[0], bundles[1])
	if !reflect.DeepEqual(sessionsOf(t, one), sessionsOf(t, other)) || len(sessionsOf(t, one)) != 2 {
		t.Errorf("the order of merging, or merging twice, makes a difference:\n%s\n%s", one, other)
	}
	out, _ := command(t, 0, "import", bundles[0])
	if !strings.Contains(out, "here already: 1") {
		t.Errorf("a bundle that comes again: %s", out)
	}
}

// sessionsOf returns the sessions of a results object by id.
func sessionsOf(t *testing.T, text string) map[string]any {
	t.Helper()
	var r struct {
		Sessions []map[string]any `json:"sessions"`
	}
	must(t, json.Unmarshal([]byte(text), &r))
	all := map[string]any{}
	for _, s := range r.Sessions {
		all[s["session"].(string)] = s
	}
	return all
}

// editedBundle returns a copy of a bundle in which the first place that reads was reads is.
func editedBundle(t *testing.T, bundle, was, is string) string {
	t.Helper()
	data, err := os.ReadFile(bundle)
	must(t, err)
	edited := filepath.Join(t.TempDir(), "edited.bundle")
	must(t, os.WriteFile(edited, bytes.Replace(data, []byte(was), []byte(is), 1), 0o600))
	return edited
}

func TestForeignAndEditedBundlesLeaveTheStudyAsItWas(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	answerPlan(t)
	dir := t.TempDir()
	good := filepath.Join(dir, "good.bundle")
	command(t, 0, "export", "--out", good)
	edited := editedBundle(t, good, `"answer":"a"`, `"answer":"b"`)
	before, _ := command(t, 0, "study", "show", "--json")
	_, errs := command(t, 3, "import", edited)
	if !strings.Contains(errs, "was changed") {
		t.Errorf("edited: %s", errs)
	}
	command(t, 3, "import", good, "--from", "0000000000000000")
	command(t, 3, "import", filepath.Join(dir, "missing"))
	command(t, 2, "import")
	command(t, 2, "export")
	command(t, 2, "export", "--kit", filepath.Join(dir, "k"))
	if after, _ := command(t, 0, "study", "show", "--json"); after != before {
		t.Errorf("the study changed:\n%s\n%s", before, after)
	}
	elsewhere := filepath.Join(dir, "elsewhere")
	command(t, 0, "study", "new", elsewhere, "--title", "another")
	t.Setenv("HEARDIFF_STUDY", elsewhere)
	if _, errs = command(t, 3, "import", good); !strings.Contains(errs, "another study") {
		t.Errorf("foreign: %s", errs)
	}
	t.Setenv("HEARDIFF_STUDY", study)
}

// A copy of the study is no kit: nothing of its sessions was sealed to this site before they began.
func TestResultsOfACopyAreRefusedAndNamed(t *testing.T) {
	home, keys, dir := listeningStudy(t, "abx", 3), os.Getenv("HEARDIFF_KEYS"), t.TempDir()
	elsewhere, back := filepath.Join(dir, "elsewhere"), filepath.Join(dir, "back.bundle")
	must(t, os.CopyFS(elsewhere, os.DirFS(home)))
	t.Setenv("HEARDIFF_STUDY", elsewhere)
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, "keys"))
	command(t, 0, "listener", "add", "L9")
	sitThrough(t, "1", "L9", oracleAnswer)
	command(t, 0, "export", "--out", back)
	t.Setenv("HEARDIFF_STUDY", home)
	t.Setenv("HEARDIFF_KEYS", keys)
	if said := refused(t, exitRejected, "import", back); !strings.Contains(said, "in a copy of the study") || !strings.Contains(said, "send a kit") {
		t.Errorf("said %q", said)
	}
}

func TestTablesAreTidy(t *testing.T) {
	listeningStudy(t, "same-different", 6)
	answerPlan(t)
	dir := filepath.Join(t.TempDir(), "tables")
	command(t, 0, "export", "--csv", dir)
	known := map[string]bool{}
	for _, name := range []string{"data_dictionary.csv", "sessions.csv", "trials.csv", "results.csv", "measurements.csv"} {
		f, err := os.Open(filepath.Join(dir, name))
		must(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		must(t, err)
		switch name {
		case "data_dictionary.csv":
			for _, r := range rows[1:] {
				known[r[0]+" "+r[1]] = true
			}
			continue
		case "trials.csv":
			if len(rows) != 7 {
				t.Errorf("%d rows for 6 trials", len(rows)-1)
			}
		}
		for _, c := range rows[0] {
			if !known[name+" "+c] {
				t.Errorf("%s: column %q is not in the dictionary", name, c)
			}
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".tables-*")); left != nil {
		t.Errorf("left behind: %v", left)
	}
}

func TestPoolOfTheStudyCountsEverySession(t *testing.T) {
	listeningStudy(t, "abx", 5)
	command(t, 3, "pool")
	answerPlan(t)
	var p struct {
		Total struct {
			Trials  int `json:"trials"`
			Correct int `json:"correct"`
		} `json:"total"`
		Listeners []struct {
			Listener string `json:"listener"`
		} `json:"listeners"`
	}
	decode(t, &p, "pool", "--json")
	if r := results(t); p.Total.Trials != 5 || p.Total.Correct != r.Correct || len(p.Listeners) != 1 || p.Listeners[0].Listener != "L1" {
		t.Errorf("pooled %+v, the session had %d of %d", p, r.Correct, r.Trials)
	}
	command(t, 2, "pool", "--comparison", "nothing")
	command(t, 0, "pool", "--comparison", "left – right")
	command(t, 2, "pool", "a.csv", "b.csv")
}

func TestAForgottenListenerStaysForgotten(t *testing.T) {
	listeningStudy(t, "abx", 3)
	back := awayAndBack(t, "--hearing", "left ear rings")
	command(t, 0, "import", back)
	list, _ := command(t, 0, "listener", "list", "--json")
	if !strings.Contains(list, "rings") {
		t.Fatalf("the bundle brought nothing: %s", list)
	}
	_, name, _ := strings.Cut(list, `"L1@`)
	command(t, 0, "listener", "forget", "L1@"+name[:8])
	command(t, 0, "import", back)
	if list, _ = command(t, 0, "listener", "list", "--json"); strings.Contains(list, "rings") {
		t.Errorf("the bundle brought back what was forgotten: %s", list)
	}
}
