package report_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
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

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/stats/wire"
)

// browser opens the page in a headless Chromium, which must be installed: without a browser this test fails, for a page
// nobody has opened is not tested. It returns a function that gives what scripts have complained of so far.
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
	if n := evaluate[int](t, ctx, `[...document.querySelectorAll("[aria-labelledby]")].filter(e => !e.getAttribute("aria-labelledby").split(" ").every(id => document.getElementById(id)?.textContent)).length`); n != 0 {
		t.Errorf("%d elements are labelled by what is not there", n)
	}
	if n := evaluate[int](t, ctx, `[...document.querySelectorAll("svg")].filter(e => document.getElementById(e.getAttribute("aria-labelledby").split(" ")[0]) !== e.querySelector("title")).length`); n != 0 {
		t.Errorf("%d pictures are labelled by something else than their titles", n)
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

// expected are expressions for the page to evaluate, and what they must come to.
type expected struct {
	js         []string
	want, near []float64
}

func (e *expected) add(want string, relative float64, js string, args ...any) error {
	v, err := strconv.ParseFloat(want, 64)
	if err != nil {
		return err
	}
	e.js, e.want, e.near = append(e.js, fmt.Sprintf(js, args...)), append(e.want, v), append(e.near, relative*math.Max(math.Abs(v), 1e-300))
	return nil
}

// tabled are the reference tables of stats of which the page computes something, and what of each row.
var tabled = map[string]func(e *expected, r map[string]string) error{
	"binom_pvalues.csv": func(e *expected, r map[string]string) error {
		return errors.Join(e.add(r["p_upper"], 1e-9, "tail(%s, %s, %s)", r["k"], r["n"], r["p0"]),
			e.add(r["p_lower"], 1e-9, "Math.exp(lnLower(%s, %s, %s))", r["k"], r["n"], r["p0"]))
	},
	"binom_ci.csv": func(e *expected, r map[string]string) error {
		if r["method"] != "clopper_pearson" {
			return nil
		}
		return errors.Join(e.add(r["lower"], 1e-9, "interval(%s, %s, %s)[0]", r["k"], r["n"], r["conf"]),
			e.add(r["upper"], 1e-9, "interval(%s, %s, %s)[1]", r["k"], r["n"], r["conf"]))
	},
	"extreme_tails.csv": func(e *expected, r map[string]string) error {
		return e.add(r["log10_p"], 1e-12, "lnUpper(%s, %s, %s) / Math.LN10", r["k"], r["n"], r["p0"])
	},
	"binom_critical.csv": func(e *expected, r map[string]string) error {
		return e.addCount(r["k_crit"], r["n"], r["p0"], r["alpha"])
	},
	"iso10399_table_a1.csv": func(e *expected, r map[string]string) error {
		return e.addCount(r["computed_k"], r["n"], "1/2", r["alpha"])
	},
	"triangle_table.csv": func(e *expected, r map[string]string) error {
		return e.addCount(r["computed_k"], r["n"], "1/3", r["alpha"])
	},
	"pd_upper_bounds.csv": func(e *expected, r map[string]string) error {
		return errors.Join(e.add(r["pc_upper"], 1e-9, "upperLimit(%s, %s, %s)", r["k"], r["n"], r["one_sided_level"]),
			e.add(r["pc_lower"], 1e-9, "lowerLimit(%s, %s, %s)", r["k"], r["n"], r["one_sided_level"]),
			e.add(r["pd_upper"], 1e-9, "discriminators(upperLimit(%s, %s, %s), 1/2)", r["k"], r["n"], r["one_sided_level"]))
	},
	"similarity_kmax.csv": func(e *expected, r map[string]string) error {
		return e.add(r["k_max_similar"], 0, "mostRulingOut(%s, fromDiscriminators(%s, %s), Math.log(%s))", r["n"], r["pd"], r["p0"], r["beta"])
	},
	"eprocess_paths.csv": func(e *expected, r map[string]string) error {
		return e.add(r["uniform_half_to_1"], 1e-9, "Math.exp(evidenceAbove(%s, %s, 0.5))", r["k"], r["n"])
	},
}

// addCount expects a critical count, −1 where none reaches the level.
func (e *expected) addCount(want, n, chance, alpha string) error {
	return e.add(want, 0, "(k => k > %s ? -1 : k)(critical(%s, %s, %s))", n, n, chance, alpha)
}

// holm adjusts claims of equal shares, which is Holm's own procedure.
const holm = "(p => { const claims = p.map(v => ({lnP: Math.log(v), share: 1 / p.length, planned: true})); holm({complete: true}, claims); return claims.map(c => Math.exp(c.adjusted)); })([%s])[%d]"

// What the page computes is what the reference tables of the statistics hold, every row of each that it computes anything of
// (their sources: testdata/statistics).
func TestThePagesStatisticsAreTheReferenceTables(t *testing.T) {
	ctx, complaints := browser(t, write(t, study(t)))
	var all expected
	for name, of := range tabled {
		for _, row := range reference(t, name) {
			if err := of(&all, row); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
	// Fisher's own example, the lady tasting tea: 3 of 4 right, p = 17/70 (The Design of Experiments, 1935, chapter II).
	for js, want := range map[string]float64{"fisher([3, 1, 1, 3])": 17.0 / 70, "fisher([4, 0, 0, 4])": 1.0 / 70} {
		all.js, all.want, all.near = append(all.js, js), append(all.want, want), append(all.near, 1e-12)
	}
	for _, name := range []string{"p_adjust_bh1995.csv", "p_adjust_unsorted.csv"} {
		rows := reference(t, name)
		var p []string
		for _, r := range rows {
			p = append(p, r["p"])
		}
		for i, r := range rows {
			if err := all.add(r["holm"], 1e-9, holm, strings.Join(p, ","), i); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
	got := evaluate[[]float64](t, ctx, "["+strings.Join(all.js, ",\n")+"]")
	for i, js := range all.js {
		if !(math.Abs(got[i]-all.want[i]) <= all.near[i]) {
			t.Errorf("%s = %.15g, want %.15g", js, got[i], all.want[i])
		}
	}
	if c := complaints(); len(c) > 0 || len(all.js) < 5000 {
		t.Errorf("%d figures, scripts complained: %q", len(all.js), c)
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

// A word that cannot be broken, such as a name that a machine made, must neither widen the page nor leave its picture; and
// no script but the page's own may run.
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
	in.Captures = []report.Warned{{Means: word, Where: []string{word}, InFull: []string{word}}}
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

// textsInside demands that every text ends within its picture, wide and narrow: the width that a browser gives a text is not
// known beforehand.
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
