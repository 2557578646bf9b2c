package report_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"heardiff/cmd/heardiff/internal/wire"
)

// browser opens the page in a headless Chromium, which must be installed: without a browser this test fails, for a page
// nobody has opened is not tested. It returns what scripts complained of so far.
func browser(t *testing.T, html string) (context.Context, func() []string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "report.html")
	if err := os.WriteFile(file, []byte(html), 0o600); err != nil {
		t.Fatal(err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profile(t)))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, stop := chromedp.NewContext(alloc)
	ctx, cancel := context.WithTimeout(ctx, 60*time.Second)
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Logf("close the browser: %v", err)
		}
		cancel()
		stop()
		stopAlloc()
	})
	var mu sync.Mutex
	var complaints []string
	chromedp.ListenTarget(ctx, func(event any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := event.(type) {
		case *runtime.EventExceptionThrown:
			complaints = append(complaints, e.ExceptionDetails.Error())
		case *runtime.EventConsoleAPICalled:
			complaints = append(complaints, string(e.Type))
		}
	})
	if err := chromedp.Run(ctx, chromedp.EmulateViewport(1200, 900), chromedp.Navigate("file://"+file)); err != nil {
		t.Fatalf("open the page (is chromium installed?): %v", err)
	}
	return ctx, func() []string {
		mu.Lock()
		defer mu.Unlock()
		return slices.Clone(complaints)
	}
}

// profile returns a folder for the browser's own files. The browser's children may write there a moment longer than the
// browser lives, so that t.TempDir, which fails the test of a folder it cannot empty at once, will not do.
func profile(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "browser")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		err := os.RemoveAll(dir)
		for tries := 0; err != nil && tries < 50; tries++ {
			time.Sleep(100 * time.Millisecond)
			err = os.RemoveAll(dir)
		}
		if err != nil {
			t.Logf("remove the browser's files: %v", err)
		}
	})
	return dir
}

func evaluate[T any](t *testing.T, ctx context.Context, js string) T {
	t.Helper()
	var v T
	if err := chromedp.Run(ctx, chromedp.Evaluate(js, &v)); err != nil {
		t.Fatalf("%s: %v", js, err)
	}
	return v
}

func TestThePageInABrowser(t *testing.T) {
	in := study(t)
	ctx, complaints := browser(t, write(t, in))

	titles := picturesIn(t, ctx)
	// Every id once, every table with scoped headings, nothing wider than the window.
	if n := evaluate[int](t, ctx, `(() => {const ids = [...document.querySelectorAll("[id]")].map(e => e.id); return ids.length - new Set(ids).size})()`); n != 0 {
		t.Errorf("%d ids stand twice", n)
	}
	if n := evaluate[int](t, ctx, `document.querySelectorAll("th:not([scope])").length`); n != 0 {
		t.Errorf("%d headings without scope", n)
	}

	sorted := func(direction string) []float64 {
		if err := chromedp.Run(ctx, chromedp.Evaluate(`document.querySelectorAll("#results thead button")[3].click()`, nil)); err != nil {
			t.Fatal(err)
		}
		if got := evaluate[string](t, ctx, `document.querySelectorAll("#results thead th")[3].getAttribute("aria-sort")`); got != direction {
			t.Errorf("aria-sort %q, want %q", got, direction)
		}
		return evaluate[[]float64](t, ctx, `[...document.querySelectorAll("#results tbody tr")].map(r => +r.cells[3].dataset.v)`)
	}
	if up := sorted("ascending"); !sort.Float64sAreSorted(up) || len(up) != len(in.Link.Rows) {
		t.Errorf("not ascending, or not %d rows: %v", len(in.Link.Rows), up)
	}
	down := sorted("descending")
	for i := 1; i < len(down); i++ {
		if down[i] > down[i-1] {
			t.Fatalf("not descending: %v", down)
		}
	}

	sameNumbers(t, ctx, in.Link)
	if evaluate[bool](t, ctx, `(document.getElementById("show-json").click(), document.getElementById("json-view").hidden)`) {
		t.Error("the numbers do not show")
	}
	if err := chromedp.Run(ctx, chromedp.EmulateViewport(390, 844)); err != nil {
		t.Fatal(err)
	}
	if over := evaluate[float64](t, ctx, `document.documentElement.scrollWidth - window.innerWidth`); over > 0 {
		t.Errorf("at 390 pixels the page is %g too wide", over)
	}
	if n := evaluate[int](t, ctx, `[...document.querySelectorAll("figure .slim svg")].filter(s => s.getBoundingClientRect().width > 300).length`); n != len(titles) {
		t.Errorf("%d narrow pictures, %d wide", n, len(titles))
	}
	textsInside(t, ctx)
	printed(t, ctx)
	if c := complaints(); len(c) > 0 {
		t.Errorf("scripts complained: %q", c)
	}
}

// What the page computes is what the reference tables of the statistics hold, row by row (their sources: testdata/statistics).
func TestThePagesStatisticsAreTheReferenceTables(t *testing.T) {
	ctx, complaints := browser(t, write(t, study(t)))
	rows := 0
	near := func(js string, want, tolerance float64) {
		t.Helper()
		rows++
		if got := evaluate[float64](t, ctx, js); !(math.Abs(got-want) <= tolerance*math.Max(want, 1e-300)) {
			t.Errorf("%s = %.12g, want %.12g", js, got, want)
		}
	}
	for _, r := range reference(t, "binom_pvalues.csv") {
		near(fmt.Sprintf("tail(%s, %s, %s)", r["k"], r["n"], r["p0"]), numberOf(t, r["p_upper"]), 1e-9)
	}
	for _, r := range reference(t, "binom_ci.csv") {
		if r["method"] != "clopper_pearson" {
			continue
		}
		for i, side := range []string{"lower", "upper"} {
			near(fmt.Sprintf("interval(%s, %s, %s)[%d]", r["k"], r["n"], r["conf"], i), numberOf(t, r[side]), 1e-9)
		}
	}
	// Fisher's own example, the lady tasting tea: 3 of 4 right, p = 17/70 (The Design of Experiments, 1935, chapter II).
	near("fisher([3, 1, 1, 3])", 17.0/70, 1e-12)
	near("fisher([4, 0, 0, 4])", 1.0/70, 1e-12)
	if c := complaints(); len(c) > 0 || rows < 100 {
		t.Errorf("%d rows, scripts complained: %q", rows, c)
	}
}

// reference reads a table of stats.
func reference(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "..", "testdata", "statistics", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, l := range lines[1:] {
		row := map[string]string{}
		for i, v := range l {
			row[lines[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func numberOf(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A word that cannot be broken, such as a name out of a machine, must neither widen the page nor leave its picture; and of
// scripts the page's own alone may run.
func TestAHostilePageInABrowser(t *testing.T) {
	in := study(t)
	word := strings.Repeat("w", 300)
	for i := range in.Link.Rows {
		r := &in.Link.Rows[i]
		r.Comparison, r.A, r.Group = word, word, word
		if r.Kind == "listener" {
			r.Listener = word + strconv.Itoa(i)
		}
	}
	for i := range in.Chains {
		in.Chains[i].Name, in.Chains[i].About = word, word
	}
	for i := range in.Excerpts {
		in.Excerpts[i].Name, in.Excerpts[i].Music = word, word
	}
	in.Captures = []string{word}
	ctx, _ := browser(t, write(t, in))
	for _, width := range []int64{1200, 390} {
		if err := chromedp.Run(ctx, chromedp.EmulateViewport(width, 844)); err != nil {
			t.Fatal(err)
		}
		if over := evaluate[float64](t, ctx, `document.documentElement.scrollWidth - window.innerWidth`); over > 0 {
			t.Errorf("at %d pixels the page is %g too wide", width, over)
		}
	}
	textsInside(t, ctx)
	if evaluate[bool](t, ctx, `(() => {const s = document.createElement("script"); s.textContent = "window.ran = 1"; document.body.append(s); return "ran" in window})()`) {
		t.Error("a script from elsewhere ran")
	}
}

// picturesIn returns the titles of the wide pictures, of which every kind must be there.
func picturesIn(t *testing.T, ctx context.Context) []string {
	t.Helper()
	titles := evaluate[[]string](t, ctx, `[...document.querySelectorAll("figure .wide svg")].filter(s => s.getBoundingClientRect().width > 300 && s.querySelector("title") && s.querySelector("desc")).map(s => s.querySelector("title").textContent)`)
	for _, want := range []string{"bus against optical: who told them apart", "bus against isolator: who", "What 16 trials", "Jitter of the chains", "Noise of the chains", "Jitter of bus that optical", "Difference in response",
		"Null by octave", "Told apart, against the difference in random jitter", "Told apart, against the difference in deterministic jitter"} {
		found := false
		for _, title := range titles {
			found = found || strings.HasPrefix(title, want)
		}
		if !found {
			t.Errorf("no picture %q among %q", want, titles)
		}
	}

	return titles
}

// textsInside holds the end of every text against its picture, wide and narrow: the width that a browser gives a text is
// known to nobody before.
func textsInside(t *testing.T, ctx context.Context) {
	t.Helper()
	outside := evaluate[[]string](t, ctx, `(() => {
		document.querySelectorAll("figure div").forEach(d => d.style.display = "block");
		const found = [...document.querySelectorAll("figure text")].filter(x => {
			const b = x.getBBox(), v = x.ownerSVGElement.viewBox.baseVal;
			return b.width === 0 || b.x < 0 || b.x + b.width > v.width;
		});
		document.querySelectorAll("figure div").forEach(d => d.style.display = "");
		return found.map(x => x.textContent);
	})()`)
	if len(outside) > 0 {
		t.Errorf("texts stand outside their pictures: %q", outside)
	}
}

// printed checks that paper gets light inks and wide pictures, even from a dark screen.
func printed(t *testing.T, ctx context.Context) {
	t.Helper()
	dark := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}
	colour := `getComputedStyle(document.querySelector("figure .wide svg text")).fill`
	media := func(name string) string {
		err := chromedp.Run(ctx, chromedp.EmulateViewport(1000, 1400), emulation.SetEmulatedMedia().WithMedia(name).WithFeatures(dark))
		if err != nil {
			t.Fatal(err)
		}
		return evaluate[string](t, ctx, colour)
	}
	if got := media("screen"); got != "rgb(236, 239, 237)" {
		t.Errorf("on a dark screen text is %s", got)
	}
	if got := media("print"); got != "rgb(29, 35, 41)" {
		t.Errorf("on paper text is %s", got)
	}
	if *look == "" {
		return
	}
	var picture []byte
	if err := chromedp.Run(ctx, chromedp.FullScreenshot(&picture, 100)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(*look+".print.png", picture, 0o600); err != nil {
		t.Fatal(err)
	}
}

// sameNumbers compares what the browser parses from the page with the library's own JSON.
func sameNumbers(t *testing.T, ctx context.Context, result any) {
	t.Helper()
	data, err := wire.Marshal(result)
	if err != nil {
		t.Fatal(err)
	}
	var got, want any
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	text := evaluate[string](t, ctx, `JSON.stringify(JSON.parse(document.getElementById("link-json").textContent))`)
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Error("the page's numbers are not those of link --json")
	}
}
