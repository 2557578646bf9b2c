// Package report writes a study as one HTML file that needs no network: what was heard, what was measured, how it was
// done, and every number behind it.
package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

//go:embed page.html
var page string

//go:embed style.css
var style string

//go:embed sort.js
var sortScript string

//go:embed statistics.js
var statisticsScript string

//go:embed judge.js
var judgeScript string

//go:embed threshold.js
var thresholdScript string

//go:embed check.js
var checkScript string

// script is what runs on the page: the check lists all texts before anything is sorted.
var script = statisticsScript + judgeScript + thresholdScript + checkScript + sortScript

// Input is what a report is written from.
type Input struct {
	Link     link.Result
	Chains   []link.Chain
	Plans    []trials.Plan
	Excerpts []Excerpt
	Sessions []Session
	Pictures Pictures
	Evidence Evidence
	// Program is the version that writes the report.
	Program string
	Files   []File
	// Captures holds what the measurements of captures warn of.
	Captures []Warned
	Made     time.Time
	// Head is the head of the study's record, hexadecimal, and Short its form for the telephone; "" where none is kept.
	Head, Short string
	// Command is the line that writes the report again, Repeat those that make the study again.
	Command string
	Repeat  []string
}

// Warned is what several captures warn of: what it means for their figures, which they are, and the warnings in full.
type Warned struct {
	Means         string
	Where, InFull []string
}

// File is one capture.
type File struct{ Chain, Kind, SHA256 string }

// Excerpt is one stretch of music that was listened to, what was done to all its presentations alike, how deep they null,
// and which chains' are identical to the first's.
type Excerpt struct {
	Name, Music             string
	StartS, Seconds, RateHz float64
	NullDB                  float64
	Changes, Identical      []string
}

// Session says when and through what a listener listened.
type Session struct {
	ID               string
	Listener, Device string
	Begun, Ended     time.Time
	Simulated        bool
	// Silent marks a session answered, wholly or in part, where no device sounded; Hurried counts its hurried answers.
	Silent  bool
	Hurried int
	// Seal and Head are the first entry's commitment and the last entry's hash, hexadecimal.
	Seal, Head string
	Answers    int
}

// Pictures holds what to draw; what is empty is left out.
type Pictures struct {
	Kinds     []plot.Chart // the measurements of all chains, one chart a kind
	Responses []plot.Curve // B − A, one a comparison
	Nulls     []plot.Null
	Pairs     []plot.Chart // two chains, by what was measured of both
}

// Write writes the report.
func Write(w io.Writer, in Input) error {
	t, err := template.New("report").Funcs(functions).Parse(page)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	v, err := view(in)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	sealed, err := sealForm(b.Bytes())
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if _, err := w.Write(sealed); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}

// paper is what the page shows.
type paper struct {
	Input
	Style  template.CSS
	Script template.JS
	// ScriptHash is the one script that the page's policy lets run.
	ScriptHash string
	Numbers    template.JS
	Summary    []link.Row // all listeners together, one a comparison
	Rows       []link.Row
	Hidden     int // listener rows left out of the page
	Pairs      []pairTable
	Forests    []figure
	Dose       []figure
	Power      []figure
	Measures   []figure
	Method     []string
	Proof      blocks
	Lead       []string
	// Mark says above the lead that it says nothing of people.
	Mark     string
	Answers  []answer
	Controls []controlled
	Spread   []spread
	Obtained string
	// Trends are those of enough comparisons for a correlation to mean anything.
	Trends  []link.Trend
	Form    template.JS
	Caveats []string
}

// pairTable is the measured figures of one comparison.
type pairTable struct {
	Row     link.Row
	Figures []link.MetricPair
}

// figure is one chart at the two widths the page chooses from.
type figure struct {
	Title, Description string
	Wide, Narrow       template.HTML
}

const (
	wideWidth, narrowWidth = 760, 358
	// Beyond this many listeners a page stops being readable.
	maxRows, maxForest = 400, 48
	// Of three points all orders are equally likely, and the smallest exact two-sided p is 2/3! = 0.33; of five it is 2/5! = 0.017.
	leastPoints = 5
)

func view(in Input) (paper, error) {
	v := paper{Input: in, Style: template.CSS(style + plot.Style()), Script: template.JS(script), ScriptHash: policyHash(script)}
	rows, hidden := shown(in.Link.Rows)
	v.Rows, v.Hidden = rows, len(hidden)
	var err error
	if v.Numbers, err = numbers(in.Link, v.Rows, v.Hidden); err != nil {
		return paper{}, err
	}
	for _, r := range in.Link.Rows {
		if r.Kind == "all" {
			v.Summary = append(v.Summary, r)
			if !measuredAlready(v.Pairs, r) {
				v.Pairs = append(v.Pairs, pairTable{r, known(r.Measured)})
			}
		}
	}
	if v.Proof, err = evidence(in, rows, hidden); err != nil {
		return paper{}, err
	}
	v.Form = formPlace
	v.Answers, v.Controls, v.Obtained = answers(in.Link.Rows), controls(v.Rows), obtained(in)
	v.Lead, v.Spread = lead(in.Link.Title, v.Answers, in.Link.Thresholds), spreads(v.Answers)
	switch {
	case in.Link.Simulated:
		v.Mark = "In this simulation:"
	case in.Link.Silent:
		v.Mark = "Without sound from any device, in part or throughout:"
	}
	for _, t := range in.Link.Trends {
		if len(t.Points) >= leastPoints {
			v.Trends = append(v.Trends, t)
		}
	}
	n := &numbering{}
	v.Forests, v.Dose, v.Power, v.Measures = forests(n, in), append(doses(n, in), thresholds(n, in)...), powers(n, in), measures(n, in.Pictures)
	v.Method, v.Caveats = method(in), caveats(in)
	v.Captures = nil
	for _, w := range in.Captures {
		w.InFull = capitalised(w.InFull)
		v.Captures = append(v.Captures, w)
	}
	return v, nil
}

// policyHash returns the source expression by which a Content-Security-Policy allows this very script, and no other.
//
// ref: W3C, Content Security Policy Level 3, section 2.3.1 (hash-source).
func policyHash(script string) string {
	sum := sha256.Sum256([]byte(script))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// numbers returns the JSON that the page carries: the link's, without the listeners that the page leaves out.
func numbers(l link.Result, rows []link.Row, hidden int) (template.JS, error) {
	var all any = l
	if hidden > 0 {
		l.Rows = rows
		all = struct {
			link.Result
			LeftOut int `json:"rows_left_out"`
		}{l, hidden}
	}
	text, err := wire.Marshal(all)
	// A "<" inside the element could end it; as an escape it is the same JSON.
	return template.JS(strings.ReplaceAll(string(text), "<", `\u003c`)), err
}

// measuredAlready reports whether the same comparison is there in another design.
func measuredAlready(pairs []pairTable, r link.Row) bool {
	for _, p := range pairs {
		if p.Row.A == r.A && p.Row.B == r.B && p.Row.Excerpt == r.Excerpt {
			return true
		}
	}
	return false
}

func known(m link.Measured) []link.MetricPair {
	var out []link.MetricPair
	for _, p := range m.Figures {
		if p.CapturesA+p.CapturesB > 0 {
			out = append(out, p)
		}
	}
	return out
}

// numbering gives every figure an id of its own.
type numbering struct{ n int }

func (n *numbering) draw(c plot.Chart) figure {
	n.n++
	words := c.Words()
	id := "fig" + strconv.Itoa(n.n)
	return figure{words.Title, words.Description,
		template.HTML(plot.Inline(c, wideWidth, id+"w")), template.HTML(plot.Inline(c, narrowWidth, id+"n"))}
}

var functions = template.FuncMap{
	"number":       number,
	"places":       places,
	"signedPlaces": func(n int, v float64) string { return withSign(v, places(n, v)) },
	"atMost":       atMost,
	"beyond":       beyond,
	"measured":     measuredAs,
	"rounded":      rounded,
	"level":        func(v float64, unit string) string { return measuredAs(v, math.NaN(), math.NaN(), unit) },
	"smaller":      belowLimit,
	"evalue":       eValue,
	"exact":        exact,
	"proper":       proper,
	"most":         orBound,
	"p":            link.Probability,
	"percent":      func(v float64) string { return ifKnown(v, fmt.Sprintf("%.1f %%", 100*v)) },
	"per100":       func(v float64) string { return ifKnown(v, fmt.Sprintf("%.1f", 100*v)) },
	"metric":       func(m link.Metrics, of link.Metric) string { name, _ := m.Words(of); return name },
	"date":         func(t time.Time) string { return t.UTC().Format("2 January 2006, 15:04 UTC") },
	"join":         strings.Join,
	"sort":         sortKey,
	"capital":      func(s string) string { return strings.ToUpper(s[:1]) + s[1:] },
	"who":          who,
	"average":      average,
	"scaled":       scaled,
	"brief":        func(n int, s string) string { return s[:min(n, len(s))] },
	"day":          func(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") },
	"mark":         link.WordOf,
	"delivered": func(both *bool) string {
		if *both {
			return "by both chains"
		}
		return "not by both chains"
	},
	"class": func(v link.Verdict) string { return strings.ReplaceAll(string(v), " ", "-") },
}

// scaled writes values in the unit of time that suits the largest, after the unit.
func scaled(unit string, values ...float64) []string {
	v, unit := link.Scaled(unit, values...)
	out := []string{unit}
	for _, one := range v {
		out = append(out, number(one))
	}
	return out
}

// average names whose threshold it is: a listener's, or the mean of several.
func average(kind, listener, group string, n int) string {
	switch {
	case kind == "listener":
		return listener
	case n < 2 && kind == "group":
		return group + ": too few for a mean"
	case n < 2:
		return "all: too few for a mean"
	case kind == "group":
		return fmt.Sprintf("mean of %s (%d)", group, n)
	}
	return fmt.Sprintf("mean of %d", n)
}

func who(r link.Row) string {
	switch r.Kind {
	case "all":
		return fmt.Sprintf("all %d", r.Listeners)
	case "group":
		return fmt.Sprintf("%s (%d)", r.Group, r.Listeners)
	}
	return r.Listener
}

func ifKnown(v float64, s string) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strings.ReplaceAll(s, "-", "−")
}

// number writes v with three significant digits, without an exponent below a million.
func number(v float64) string { return rounded(3, v) }

// How numbers are printed: from where on as powers of ten, e-values earlier, as only their order matters; and up to how many digits
// without a space (common practice, no source).
const (
	powersFrom       = 1e6
	eValuePowersFrom = 1000
	unparted         = 4
)

// rounded writes v with so many significant digits, thousands parted by thin spaces from ten thousand on.
func rounded(digits int, v float64) string {
	switch {
	case v == 0:
		return "0"
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "–"
	case math.Abs(v) >= powersFrom:
		return power(v)
	}
	return upTo(digits-1-int(math.Floor(math.Log10(math.Abs(v)))), v)
}

// upTo writes v up to a decimal place; a negative place is before the point.
func upTo(place int, v float64) string {
	if place < 0 {
		unit := math.Pow10(-place)
		v = math.Round(v/unit) * unit
	}
	text := strconv.FormatFloat(v, 'f', min(6, max(0, place)), 64)
	if !strings.ContainsAny(text, "123456789") {
		text = strings.TrimPrefix(text, "-")
	}
	if whole, _, _ := strings.Cut(strings.TrimPrefix(text, "-"), "."); len(whole) > unparted {
		at := len(text) - 3
		if dot := strings.Index(text, "."); dot >= 0 {
			at = dot - 3
		}
		text = text[:at] + "\u202f" + text[at:]
	}
	return ifKnown(v, text)
}

// exact writes v as somebody gave it.
func exact(v float64) string { return ifKnown(v, strconv.FormatFloat(v, 'f', -1, 64)) }

// power writes v with one decimal and a power of ten.
func power(v float64) string {
	e := math.Floor(math.Log10(math.Abs(v)))
	return ifKnown(v, fmt.Sprintf("%.1f·10%s", v/math.Pow(10, e), trials.Raised(int(e))))
}

// eValue writes large ones as powers of ten.
func eValue(v float64) string {
	if v >= eValuePowersFrom && !math.IsInf(v, 0) {
		return power(v)
	}
	return number(v)
}

// byUncertainty writes v to the place of the first digit of its standard error, or of the second where the first is 1; without one,
// to the place that is given.
func byUncertainty(v, se float64, otherwise int) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0) || math.Abs(v) >= powersFrom:
		return number(v)
	case !(se > 0):
		return upTo(otherwise, v)
	}
	e := math.Floor(math.Log10(se))
	place := -int(e)
	if digit := se / math.Pow(10, e); digit < 2 {
		place++
	}
	return upTo(place, v)
}

// placeOf is the last decimal place of a figure whose uncertainty is not known: the third digit, or for a level the first decimal.
// It is negative before the point.
func placeOf(v float64, unit string) int {
	switch {
	case strings.HasPrefix(unit, "dB"):
		return 1
	case v == 0 || math.IsNaN(v) || math.IsInf(v, 0):
		return 2
	}
	return 2 - int(math.Floor(math.Log10(math.Abs(v))))
}

// measuredAs writes a figure as exactly as it is known, or the bound that it does not exceed.
func measuredAs(v, bound, se float64, unit string) string {
	if math.IsNaN(v) && !math.IsNaN(bound) {
		return "≤ " + upTo(placeOf(bound, unit), bound)
	}
	if v == 0 && !(se > 0) {
		return "0"
	}
	return byUncertainty(v, se, placeOf(v, unit))
}

// belowLimit reports whether a difference is smaller than what its figures could have shown.
func belowLimit(p link.MetricPair) bool { return math.Abs(p.Difference) < p.Limit }

// orBound returns the figure, or its bound where that is all that is known.
func orBound(v, bound float64) float64 {
	if math.IsNaN(v) {
		return bound
	}
	return v
}

// atMost writes a figure, or the bound that it does not exceed.
func atMost(v, bound float64) string {
	if math.IsNaN(v) && !math.IsNaN(bound) {
		return "≤ " + number(bound)
	}
	return number(v)
}

// beyond writes a difference as exactly as it is known, or how far from zero it is at the least: never more exactly than the figures
// that differ.
func beyond(p link.MetricPair) string {
	place := min(placeOf(orBound(p.A, p.AAtMost), p.Unit), placeOf(orBound(p.B, p.BAtMost), p.Unit))
	switch bound := p.DifferenceBeyond; {
	case bound > 0:
		return "> " + withSign(bound, upTo(place, bound))
	case bound < 0:
		return "< " + upTo(place, bound)
	}
	return withSign(p.Difference, byUncertainty(p.Difference, p.Uncertainty, place))
}

// withSign puts a plus before what is written of v, if that is above zero.
func withSign(v float64, written string) string {
	if v > 0 && strings.ContainsAny(written, "123456789") {
		return "+" + written
	}
	return written
}

// places writes v with n decimals. What rounds to nothing has no sign.
func places(n int, v float64) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if !strings.ContainsAny(s, "123456789") {
		s = strings.TrimPrefix(s, "-")
	}
	return ifKnown(v, s)
}

// sortKey is v for a script to read, which takes no typographic minus sign for one. What is not known is a dash.
func sortKey(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}
