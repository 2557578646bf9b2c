package main

import (
	"bytes"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/wav"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/sqlite"
)

// truthful answers every trial of a plan as an invented listener who knows X with the chance that hears gives for the
// comparison, and guesses otherwise. The order is the system's secret each time; how many guesses are right is not left to
// it, since a share alpha of guessers is said to hear: each comparison has a stream of its own that says which answers are
// right.
func truthful(t *testing.T, plan, listener string, seed uint64, hears func(trials.Comparison) float64) {
	t.Helper()
	streams := map[int]*rand.Rand{}
	sitThrough(t, plan, listener, func(session *trials.Session, p trials.Plan) trials.Answer {
		cue, err := session.Route(trials.LabelX)
		must(t, err)
		k := cue.Comparison()
		if streams[k] == nil {
			streams[k] = rand.New(rand.NewPCG(seed, uint64(11+k)))
		}
		right := streams[k].Float64() < hears(p.Comparisons[k]) || streams[k].IntN(2) == 1
		if right == (cue.Source() == trials.SourceB) {
			return trials.AnswerB
		}
		return trials.AnswerA
	})
}

// inventedBench makes a study of four chains: one clean, one with 300 ns of random jitter, one with noise, and one whose
// record says that its level is 0.3 dB off.
func inventedBench(t *testing.T) string {
	t.Helper()
	dir, study := emptyStudy(t)
	clean := filepath.Join(dir, "clean.wav")
	must(t, wav.Save(clean, music(5), ""))
	for _, c := range []struct{ chain, dose string }{
		{"clean", ""}, {"loose", "--jitter random --jitter-ps 300000"}, {"hissing", "--noise-dbfs -70"}, {"loud", "--noise-dbfs -120"},
	} {
		chain, file := c.chain, filepath.Join(dir, c.chain+".wav")
		if c.dose != "" {
			command(t, 0, append([]string{"impair", clean, "--out", file}, strings.Fields(c.dose)...)...)
		}
		command(t, 0, "chain", "add", chain)
		command(t, 0, "capture", "add", chain, file, "--as", "music")
	}
	command(t, 0, "prepare", "--excerpt", "1:3", "--name", "e")
	db, err := sql.Open("sqlite", filepath.Join(study, sqlite.FileName))
	must(t, err)
	defer db.Close()
	if _, err := db.Exec(`UPDATE presentations SET result = json_set(result, '$.level_error_db', 0.3) WHERE chain = 'loud' AND treatment = ''`); err != nil {
		t.Fatal(err)
	}
	return study
}

// The invented truth: "keen" and "sharp" hear random jitter above 100 ns and level; "plain" hears only level; nobody hears
// noise. One comparison has a level error, and one site's bundle is edited. link must find exactly that.
func TestLinkFindsTheInventedTruth(t *testing.T) {
	study := inventedBench(t)
	dir := t.TempDir()
	command(t, 0, "prepare", "--ladder", "random-jitter", "--from", "3000", "--to", "3000000", "--steps", "5", "--chain", "clean")
	command(t, 0, "plan", "new", "--a", "clean", "--b", "loose", "--also", "clean:hissing", "--also", "clean:loud", "--trials", "40", "--rest", "0")
	command(t, 0, "plan", "new", "--ladder", "random-jitter", "--trials", "30", "--rest", "0")
	hears := func(jitter bool) func(trials.Comparison) float64 {
		return func(c trials.Comparison) float64 {
			var dose float64
			fmt.Sscanf(c.Name, "clean + %f ps RMS random", &dose)
			switch {
			case c.B == "loud", jitter && c.B == "loose", jitter && dose > 1e5:
				return 0.95
			}
			return 0
		}
	}
	for i, who := range []string{"keen", "sharp", "plain"} {
		command(t, 0, "listener", "add", who, "--simulated")
		for _, plan := range []string{"1", "2"} {
			truthful(t, plan, who, uint64(i), hears(who != "plain"))
		}
	}
	rejectsAnEditedSite(t, dir, study, hears(true))

	out, _ := command(t, 0, "link", "--json")
	var r foundTruth
	must(t, wire.Unmarshal([]byte(out), &r))
	if !r.Simulated {
		t.Error("simulated answers are not marked")
	}
	r.checkRows(t)
	r.checkThresholds(t)
	page := filepath.Join(dir, "page.html")
	command(t, 0, "report", "--out", page)
	if data, err := os.ReadFile(page); err != nil || !bytes.Contains(data, []byte("against the dose of random jitter")) {
		t.Errorf("the report shows no dose curve: %v", err)
	}
	// What the bench put behind the record is named, and nothing else.
	out, _ = command(t, exitRejected, "verify", "--json")
	var v verifyJSON
	must(t, wire.Unmarshal([]byte(out), &v))
	if len(v.Problems) != 1 || !strings.HasPrefix(v.Problems[0], "presentation ") || !strings.Contains(v.Problems[0], ": result was") {
		t.Errorf("verify names %q", v.Problems)
	}
}

// foundTruth is what the test reads of link's answer.
type foundTruth struct {
	Simulated bool `json:"simulated"`
	Rows      []struct {
		Comparison, B, Kind, Listener, Treatment, Reason string
		Dose                                             float64 `json:"dose"`
		Verdict                                          link.Verdict
	} `json:"rows"`
	Trends []struct {
		Treatment, Listener, Says string
		Threshold                 float64 `json:"threshold"`
	} `json:"trends"`
}

func (r foundTruth) checkRows(t *testing.T) {
	t.Helper()
	for _, row := range r.Rows {
		if row.Kind != "listener" {
			continue
		}
		jitter := row.Listener != "plain" && (row.B == "loose" || row.Treatment != "" && row.Dose > 1e5)
		switch {
		case row.B == "loud" && (row.Verdict != link.Void || !strings.Contains(row.Reason, "level")):
			t.Errorf("%s, %s: %s, %s; the level error was not named", row.Comparison, row.Listener, row.Verdict, row.Reason)
		case row.B != "loud" && jitter != (row.Verdict == link.HeardIt):
			t.Errorf("%s, %s: %s, %s", row.Comparison, row.Listener, row.Verdict, row.Reason)
		}
	}
}

func (r foundTruth) checkThresholds(t *testing.T) {
	t.Helper()
	thresholds := 0
	for _, v := range r.Trends {
		if v.Treatment == "" || v.Listener == "" || v.Listener == "plain" {
			continue
		}
		// Doses 94.9 ns (not heard) and 533 ns (heard) are on either side of the truth.
		if thresholds++; !(v.Threshold > 94_000 && v.Threshold < 534_000) {
			t.Errorf("%s: %s", v.Listener, v.Says)
		}
	}
	if thresholds != 2 {
		t.Errorf("%d thresholds of listeners who hear jitter", thresholds)
	}
}

// rejectsAnEditedSite has another site answer plan 1, changes one answer in its bundle, and sends both.
func rejectsAnEditedSite(t *testing.T, dir, study string, hears func(trials.Comparison) float64) {
	t.Helper()
	keys := os.Getenv("HEARDIFF_KEYS")
	kit, sent := filepath.Join(dir, "kit.bundle"), filepath.Join(dir, "sent.bundle")
	command(t, 0, "export", "--kit", kit, "--plan", "1")
	at(t, dir, "away")
	command(t, 0, "import", kit)
	command(t, 0, "listener", "add", "guest", "--simulated")
	truthful(t, "1", "guest", 9, hears)
	command(t, 0, "export", "--out", sent)
	t.Setenv("HEARDIFF_KEYS", keys)
	t.Setenv("HEARDIFF_STUDY", study)
	edited := editedBundle(t, sent, `"answer":"a"`, `"answer":"b"`)
	if _, errs := command(t, 3, "import", edited); !strings.Contains(errs, "was changed") {
		t.Errorf("an edited bundle: %s", errs)
	}
	if out, _ := command(t, 0, "link", "--json"); strings.Contains(out, "guest") {
		t.Error("answers of an edited bundle count")
	}
	command(t, 0, "import", sent)
}
