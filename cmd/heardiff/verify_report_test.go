package main

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/trials"
)

// provenPage writes the report of a study with two listeners, two designs, both orders, controls, practice, void trials and
// a session that was given up.
func provenPage(t *testing.T) (page string) {
	t.Helper()
	listeningStudy(t, "abx", 12)
	command(t, 0, "listener", "add", "Wren", "--group", "trained")
	command(t, 0, "listener", "add", "Mole", "--group", "un<b> & trained")
	command(t, 0, "plan", "new", "--design", "same-different", "--a", "left", "--b", "right", "--trials", "10", "--order", "balanced", "--layout", "blocked", "--practice", "2", "--positive", "3", "--negative", "4")
	random := rand.New(rand.NewPCG(5, 6))
	voids := 0
	some := func(s *trials.Session, _ trials.Plan) trials.Answer {
		if voids++; voids%5 == 0 {
			must(t, s.Void("a train went by"))
			for _, l := range s.View().Design.Labels() {
				s.Heard(l, 1)
			}
		}
		return s.View().Design.Answers()[random.IntN(2)]
	}
	for _, who := range []string{"L1", "Wren", "Mole"} {
		sitThrough(t, "1", who, some)
		sitThrough(t, "2", who, some)
	}
	page = filepath.Join(t.TempDir(), "page.html")
	command(t, 0, "report", "--out", page)
	return contentOf(t, page)
}

// edit is one edit of a page, and what the fault must name.
type edit struct{ html, names string }

// targeted edits what a reader looks at first, each in one place.
func targeted(t *testing.T, page string) []edit {
	t.Helper()
	var all []edit
	swap := func(pattern, with, names string) {
		t.Helper()
		at := regexp.MustCompile(pattern).FindStringSubmatchIndex(page)
		if len(at) < 4 {
			t.Fatalf("the page does not hold %s", pattern)
		}
		if page[at[2]:at[3]] == with {
			t.Fatalf("%s is no edit", pattern)
		}
		all = append(all, edit{page[:at[2]] + with + page[at[3]:], names})
	}
	swap(`<h1 id="title">(.*?)</h1>`, "A finer title", "title")
	swap(`id="record-short">(.*?)<`, "12345 12345 12345 12345 12345", "short form")
	swap(`id="record-head">(.)`, "g", "head printed")
	swap(`<strong class="v [a-z-]+" data-f="verdict">(.*?)</strong>`, "proven beyond doubt", "proven beyond doubt")
	swap(`<span class="of">(trained)</span>`, "golden ears", "golden ears")
	for _, f := range []string{"correct", "trials", "proportion", "low", "high", "p", "study", "upper"} {
		swap(`data-f="`+f+`" data-v="[^"]*">(.*?)<`, "0.987", "results: ")
		swap(`data-f="`+f+`" data-v="([^"]*)"`, "0.987", "results: ")
	}
	swap(`"kind":"answer","trial":3,"answer":"([ab])"`, "c", "session ")
	swap(`"kind":"end"[^\n]*"note":"(.)`, "x", "session ")
	swap(`data-f="verdict">(.*?)<`, "a triumph", "the verdict is printed as")
	swap(`data-f="evalue" data-v="[^"]*">(.*?)<`, "0.987", "edited: heard")
	swap(`"questions":\[\{"share":([0-9.]+)`, "1", "")
	swap(`"claim":\{"question":(0)`, "7", `"question":7`)
	swap(`data-f="seal">(....)`, "0123", "seal")
	swap(`data-f="head">(....)`, "0123", "head")
	swap(`"id":"1","design":"abx"[^\n]*?"alpha":(0.05)`, "0.5", "plan")
	swap(`"kind":"chain","subject":"(left)"`, "gold", "record")
	swap(`"row":\{"about":(""),"cost":null,"fed_by":"","name":"left"`, `"gold"`, "record")
	swap(`(?s)(<li>Scores are exact.*?</li>)`, "", "removed")
	swap(`<p id="lie">|(<h2>Method</h2>)`, "<h2>Method</h2><p>and all is well</p>", "and all is well")
	swap(`(<section id="heard">)`, `<!-- a remark --><section id="heard">`, "a remark")
	swap(`"p_study":([^,]*),`, "0.00001", "p_study")
	return all
}

var digit = regexp.MustCompile(`[0-9]`)

// closing is before the digit of a heading's end, which ends the heading whatever the digit: that edit changes nothing.
const closing = "</h"

// scattered changes single digits all over the page: half of them where a reader looks, half in what proves it.
func scattered(page string, n int) []edit {
	random := rand.New(rand.NewPCG(3, 4))
	body, carried := strings.Index(page, "<body>"), strings.Index(page, `<script type="application/json" id="link-json">`)
	end := strings.Index(page, `<script type="application/json" id="form">`)
	var all []edit
	for i := range n {
		from, to := body, carried
		if i%2 == 1 {
			from, to = carried, end
		}
		at := digit.FindAllStringIndex(page[from:to], -1)
		k := from + at[random.IntN(len(at))][0]
		for strings.HasSuffix(page[:k], closing) {
			k = from + at[random.IntN(len(at))][0]
		}
		all = append(all, edit{page[:k] + string('0'+(page[k]-'0'+1)%10) + page[k+1:], ""})
	}
	return all
}

// A true page passes; each of several hundred single edits is found, and named.
func TestEditedReportsAreFound(t *testing.T) {
	page := provenPage(t)
	c, err := report.Check([]byte(page))
	must(t, err)
	if len(c.Faults) > 0 || len(c.Sessions) != 6 || c.Rows < 8 || c.Judged != c.Rows {
		t.Fatalf("%d sessions, %d rows, %d judged, and of a true page %q", len(c.Sessions), c.Rows, c.Judged, c.Faults)
	}
	few := 60
	if *wide {
		few = 600
	}
	for _, e := range append(targeted(t, page), scattered(page, few)...) {
		c, err := report.Check([]byte(e.html))
		if err != nil {
			t.Errorf("%v", err)
		} else if !faultNames(c.Faults, e.names) {
			t.Errorf("not named %q: %.300q", e.names, c.Faults)
		}
	}
}

func faultNames(faults []string, names string) bool {
	for _, f := range faults {
		if strings.Contains(f, names) {
			return true
		}
	}
	return false
}

// The button on the page finds the same.
func TestEditedReportsAreFoundInABrowser(t *testing.T) {
	page := provenPage(t)
	few := 12
	if *wide {
		few = 300
	}
	edits := append(targeted(t, page), scattered(page, few)...)
	ctx := browser(t)
	file := filepath.Join(t.TempDir(), "page.html")
	if f := pressCheck(t, ctx, file, page); len(f) > 0 {
		t.Fatalf("of a true page: %q", f)
	}
	for i, e := range edits {
		if f := pressCheck(t, ctx, file, e.html); !faultNames(f, e.names) || faultNames(f, "could not be done") {
			t.Errorf("edit %d not named %q: %.300q", i, e.names, f)
		}
	}
}

// browser starts a headless browser, which ends with the test.
func browser(t *testing.T) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	must(t, chromedp.Run(ctx))
	return ctx
}

// pressed presses the button and resolves to what the page then says: one line a fault. It fails on a page whose button does
// nothing.
const pressed = `new Promise((done, failed) => {
	const result = document.getElementById("check-result");
	new MutationObserver(() => done([...result.querySelectorAll("#check-result.bad ul:first-of-type li")].map(l => l.textContent))).observe(result, {childList: true, attributes: true});
	setTimeout(() => failed("the button did nothing"), 20000);
	document.getElementById("check-button").click();
})`

// pressCheck opens a page, presses its button and returns the faults that are then listed. Each page has a bound of its own, so
// that one that hangs is named and the rest are still tried.
func pressCheck(t *testing.T, ctx context.Context, file, html string) (faults []string) {
	t.Helper()
	must(t, os.WriteFile(file, []byte(html), 0o600))
	bounded, stop := context.WithTimeout(ctx, 30*time.Second)
	defer stop()
	await := func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }
	if err := chromedp.Run(bounded, chromedp.Navigate("file://"+file), chromedp.Evaluate(pressed, &faults, await)); err != nil {
		t.Errorf("press the button: %v", err)
	}
	return faults
}
