package report_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// tenThousand is a study of ten thousand guessers, each of whom answered sixteen trials, without their journals.
func tenThousand(t testing.TB) report.Input {
	t.Helper()
	plan := trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3,
		Comparisons: []trials.Comparison{{Name: "left – right", A: "left", B: "right", Excerpt: "e", AudioA: "a", AudioB: "b", Trials: 16}}}
	in := link.Input{Title: "Ten thousand", Family: link.NewFamily([]trials.Plan{plan}, make([]string, 10_000))}
	page := report.Input{Plans: []trials.Plan{plan}, Made: time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)}
	page.Evidence.Plans = map[string]trials.Plan{"1": plan}
	for i := range 10_000 {
		id, who := fmt.Sprintf("session-%05d", i), fmt.Sprintf("listener-%05d", i)
		k := 4 + i*7%9
		summary := trials.Summary{Answers: []trials.Answers{{{k / 2, 8 - k/2}, {8 - (k - k/2), k - k/2}}}}
		r, err := summary.Result(id, plan)
		if err != nil {
			t.Fatal(err)
		}
		in.Results = append(in.Results, link.Heard{Listener: who, Result: r})
		page.Sessions = append(page.Sessions, report.Session{ID: id, Listener: who, Answers: 16})
		page.Evidence.Sessions = append(page.Evidence.Sessions, report.Proof{ID: id, Plan: "1", Outcome: summary, Seat: report.Seat{Listener: who}})
	}
	e := store.RecordEntry{Number: 70_000, At: "2026-03-01T18:00:00Z", Kind: "outcome", Subject: "x", Digest: "00", Previous: "00"}
	sum := sha256.Sum256([]byte(e.Hashed()))
	e.Hash = hex.EncodeToString(sum[:])
	page.Evidence.Record, page.Head, page.Short = []store.RecordEntry{e}, e.Hash, trials.ShortHead(e.Hash)
	var err error
	if page.Link, err = link.Build(in); err != nil {
		t.Fatal(err)
	}
	return page
}

// A page of ten thousand listeners carries the counts of each, which add up to what it prints, and says where the rest is.
func TestALargePageCarriesACheckableSummary(t *testing.T) {
	html := write(t, tenThousand(t))
	if len(html) > 5_000_000 {
		t.Errorf("%d bytes", len(html))
	}
	if !strings.Contains(html, "too large for one page") {
		t.Error("the page does not say where the full record is")
	}
	c, err := report.Check([]byte(html))
	if err != nil || len(c.Faults) > 0 || !c.Summary || c.Rows < 400 {
		t.Fatalf("%d rows, %v, %.300q", c.Rows, err, c.Faults)
	}
	if c.Judged != c.Rows {
		t.Errorf("%d rows judged again, of %d", c.Judged, c.Rows)
	}
	// One count of one listener is edited, among those that the sum of all adds up.
	edited := strings.Replace(html, `"answers":[[[2,`, `"answers":[[[9,`, 1)
	if c, err := report.Check([]byte(edited)); err != nil || len(c.Faults) < 2 || !strings.HasPrefix(c.Faults[0], "results: ") {
		t.Errorf("%v, %.300q", err, c.Faults)
	}
}

// The page's script counts and judges ten thousand listeners, too, and finds what was edited.
func TestALargePageIsCheckedInABrowser(t *testing.T) {
	html := write(t, tenThousand(t))
	const press = `(async () => {const began = performance.now(), c = await check(); return {Faults: c.faults, Proved: c.proved, MS: performance.now() - began}})()`
	pressed := func(html string) (c struct {
		Faults, Proved []string
		MS             float64
	}) {
		ctx, _ := browser(t, html)
		await := func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }
		if err := chromedp.Run(ctx, chromedp.Evaluate(press, &c, await)); err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := pressed(html)
	t.Logf("checked in %.1f s", c.MS/1000)
	if !strings.Contains(strings.Join(c.Proved, "\n"), "of these 401 rows p over the study") || len(c.Faults) > 0 {
		t.Errorf("%q, %.500q", c.Proved, c.Faults)
	}
	if c := pressed(strings.Replace(html, `"answers":[[[2,`, `"answers":[[[9,`, 1)); len(c.Faults) < 2 || !strings.HasPrefix(c.Faults[0], "results: ") {
		t.Errorf("%.500q", c.Faults)
	}
}
