package report

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/study"
)

// Checked is a page that was checked against what it carries.
type Checked struct {
	Title string
	Head  study.Head
	// Faults names each edit that was found, one a line.
	Faults []string
	// Sessions are those that the page carries, in its order.
	Sessions []CheckedSession
	// Texts counts the texts and tags that were compared, Rows the rows of results that were counted again.
	Texts, Rows int
	// Judged counts the rows whose p over the study, bound and verdict were computed again.
	Judged int
	// Summary marks a page of so many listeners that it carries their counts and not their journals.
	Summary bool
}

// CheckedSession is one session of a page.
type CheckedSession struct {
	ID, Plan string
	Entries  []trials.Entry
	// Faults names what is wrong with it.
	Faults []string
	// counts are by the comparisons of its plan, nil where it could not be dealt again.
	counts []trials.Answers
	seat   Seat
	result trials.Result
	came   string // the outcome, on a page without journals
}

// ErrNoPage is returned for what is no page of this kind.
var ErrNoPage = errors.New("not a report that carries its own evidence")

// Check checks a page against what it carries: the chain of its record, the journals and seals of its sessions, the rows of
// its results, and each text against the digests that were taken when it was written. It returns ErrNoPage, wrapped, for
// another kind of file. Whoever edits a page and all that it carries alike is not found: the head, written down elsewhere,
// finds that.
func Check(page []byte) (Checked, error) {
	d, err := dissect(page)
	if err != nil {
		return Checked{}, err
	}
	for _, id := range []string{"form", "record", "counted"} {
		if _, ok := d.attributes[id]; !ok {
			return Checked{}, fmt.Errorf("%w: it has no element %q", ErrNoPage, id)
		}
	}
	c := &checking{page: d, Checked: Checked{Title: squeeze(d.texts["title"]), Texts: len(d.units), Summary: d.attributes["record"]["data-part"] == "end"}}
	c.readRecord()
	c.checkHead()
	c.readPlans()
	c.readSessions()
	for i := range c.Sessions {
		if c.Summary {
			c.readOutcome(i)
		} else {
			c.checkSession(i)
		}
	}
	c.checkRows()
	c.Rows = len(c.counted)
	c.judge()
	c.Faults = append(c.Faults, d.checkForm()...)
	return c.Checked, nil
}

// checking is a page while it is checked.
type checking struct {
	Checked
	page   dissected
	record study.Published
	whole  bool // the record is there from its beginning
	plans  map[string]*trials.Plan
	// counted are the rows that could be counted again.
	counted []countedRow
}

func (c *checking) fault(format string, args ...any) {
	c.Faults = append(c.Faults, fmt.Sprintf(format, args...))
}

// The fields of a line of the record, of the sessions (a further field says where a session came from, if from elsewhere) and
// of the journals.
const recordFields, sessionFields, journalFields = 3, 3, 3

// lines returns the fields of each line of an element.
func (c *checking) lines(id string) [][]string {
	var out [][]string
	for l := range strings.SplitSeq(c.page.texts[id], "\n") {
		if l != "" {
			out = append(out, strings.Split(l, "\t"))
		}
	}
	return out
}

func (c *checking) readRecord() {
	var all []study.RecordEntry
	before := ""
	for i, f := range c.lines("record") {
		for len(f) < recordFields {
			f = append(f, "")
		}
		e, err := study.ReadRecordEntry(restored(f[1], before), f[0], f[2])
		before = f[0]
		if err != nil {
			c.fault("record: entry %d %v", i+1, err)
			continue
		}
		all = append(all, e)
	}
	if c.whole = !c.Summary && len(all) > 0; c.whole {
		c.record = study.Follow(all)
		c.Faults = append(c.Faults, c.record.Faults...)
	} else if len(all) == 1 {
		c.record = study.FollowEnd(all[0])
		c.Faults = append(c.Faults, c.record.Faults...)
	}
	c.Head = c.record.Head
}

func (c *checking) checkHead() {
	if c.page.texts["record-head"] != c.Head.Hash {
		c.fault("the head printed is not the one to which the record leads")
	}
	if c.page.texts["record-short"] != c.Head.Short {
		c.fault("the short form printed is not the head’s")
	}
	if c.whole && squeeze(c.record.Title()) != c.Title {
		c.fault("the title is not the one that the record knows: “%s”", c.record.Title())
	}
}

func (c *checking) readPlans() {
	c.plans = map[string]*trials.Plan{}
	for _, f := range c.lines("plans") {
		var p trials.Plan
		if len(f) != 2 || json.Unmarshal([]byte(f[1]), &p) != nil {
			c.fault("plan %q cannot be read", f[0])
			continue
		}
		exact, err := json.Marshal(p)
		if err != nil || string(exact) != f[1] {
			c.fault("plan %q is not written as a plan is", f[0])
			continue
		}
		if c.plans[f[0]] = &p; c.whole {
			c.Faults = append(c.Faults, c.record.Plan(f[0], f[1])...)
		}
	}
}

func (c *checking) readSessions() {
	for _, f := range c.lines("sessions") {
		s := CheckedSession{ID: f[0]}
		if len(f) > 1 {
			s.Plan = f[1]
		}
		if len(f) < sessionFields || json.Unmarshal([]byte(f[2]), &s.seat) != nil {
			s.Faults = append(s.Faults, "who sat cannot be read")
		}
		if len(f) > sessionFields {
			s.came = f[sessionFields]
		}
		c.Sessions = append(c.Sessions, s)
	}
	for _, f := range c.lines("journals") {
		at, err := strconv.Atoi(f[0])
		if err != nil || len(f) != journalFields || at < 0 || at >= len(c.Sessions) {
			c.fault("journals: a line cannot be read")
			continue
		}
		s := &c.Sessions[at]
		before := ""
		if n := len(s.Entries); n > 0 {
			before = s.Entries[n-1].Hash
		}
		e, err := trials.ReadHashed(restored(f[2], before), f[1])
		if err != nil {
			s.Faults = append(s.Faults, fmt.Sprintf("entry %d %v", len(s.Entries)+1, err))
		} else if !e.Intact() {
			s.Faults = append(s.Faults, fmt.Sprintf("entry %d was changed after it was written", e.Number))
		}
		s.Entries = append(s.Entries, e)
	}
}

// checkSession deals a session again.
func (c *checking) checkSession(i int) {
	s := &c.Sessions[i]
	if len(s.Faults) == 0 && c.whole {
		s.Faults = c.record.Session(s.Entries)
		if known := c.record.PlanOf(s.ID); len(s.Faults) == 0 && known != s.Plan {
			s.Faults = []string{"its plan is not the one that the record knows"}
		}
	}
	if len(s.Faults) == 0 {
		s.reveal(c.plans[s.Plan])
	}
	for _, f := range s.Faults {
		c.fault("session %.12s: %s", s.ID, f)
	}
	row, ok := c.page.rows[fmt.Sprintf("session %d", i)]
	if !ok {
		c.fault("sessions: the row of %.12s was removed", s.ID)
		return
	}
	if len(s.Entries) == 0 {
		return
	}
	for field, value := range map[string]string{"seal": s.Entries[0].Note, "head": s.Entries[len(s.Entries)-1].Hash} {
		if text := row[field].text; text == "" || !strings.HasPrefix(value, text) {
			c.fault("sessions: %.12s: its %s is printed as %s", s.ID, field, text)
		}
	}
}

// readOutcome reads the outcome of a session whose journal the page does not carry.
func (c *checking) readOutcome(i int) {
	s := &c.Sessions[i]
	var o outcome
	plan := c.plans[s.Plan]
	if plan == nil || json.Unmarshal([]byte(s.came), &o) != nil {
		c.fault("session %.12s: what it came to cannot be read", s.ID)
		return
	}
	sum := trials.Summary{Answers: o.Answers, GivenUp: o.GivenUp, Silent: o.Silent}
	if o.Ended != nil {
		sum.Ended = *o.Ended
	}
	r, err := sum.Result(s.ID, *plan)
	if err != nil {
		c.fault("session %.12s: %v", s.ID, err)
		return
	}
	n, k := 0, 0
	for _, t := range r.Tallies {
		if t.Comparison.Kind == trials.Scored {
			n, k = n+t.Trials, k+t.Correct
		}
	}
	r.Stopped = plan.Stop(n, k)
	s.counts, s.result = o.Answers, r
}

func (s *CheckedSession) reveal(p *trials.Plan) {
	if p == nil {
		s.Faults = []string{"its plan is not on the page"}
		return
	}
	r, err := trials.Reveal(*p, s.Entries)
	if err != nil {
		s.Faults = []string{err.Error()}
		return
	}
	if r.Session != s.ID {
		s.Faults = []string{fmt.Sprintf("its entries belong to session %q", r.Session)}
		return
	}
	s.counts, s.result = r.Summary().Answers, r
}

// checkRows counts each printed row again from the sessions that it adds up.
func (c *checking) checkRows() {
	for _, f := range c.lines("counted") {
		var row countedRow
		if err := json.Unmarshal([]byte(f[0]), &row); err != nil || !row.Design.Known() {
			c.fault("results: what a row counts cannot be read")
			continue
		}
		if sum, ok := c.sum(row); ok {
			c.checkRow(row, sum)
			c.counted = append(c.counted, row)
		}
	}
}

// sum adds up the answers of a row; false where one of its sessions is broken, which is named already.
func (c *checking) sum(row countedRow) (sum trials.Answers, ok bool) {
	sum = row.Design.NoAnswers()
	for _, p := range row.Parts {
		if p.Session < 0 || p.Session >= len(c.Sessions) || c.Sessions[p.Session].counts == nil {
			return sum, false
		}
		for _, k := range p.Comparisons {
			if counts := c.Sessions[p.Session].counts; k >= 0 && k < len(counts) {
				sum.Add(counts[k])
			}
		}
	}
	return sum, true
}

func (c *checking) checkRow(row countedRow, sum trials.Answers) {
	name := row.Comparison + ", " + row.Who
	cells, ok := c.page.rows[fmt.Sprintf("row %d", row.Row)]
	if !ok {
		c.fault("results: the row of %s was removed", name)
		return
	}
	c.compare(name, cells, rowFigures(row, sum))
}

// A value by which a column is sorted is written with nine digits; below leastSorted its last place counts.
const sortedWithin, leastSorted = 1e-7, 1e-3

// compare compares cells with figures, by the names of their fields.
func (c *checking) compare(name string, cells map[string]cell, want map[string]float64) {
	for _, field := range slices.Sorted(maps.Keys(want)) {
		value, is := want[field], cells[field]
		said := columnOf(field)
		exact, err := strconv.ParseFloat(is.value, 64)
		switch {
		case !agrees(is.text, value):
			c.fault("results: %s: %s is printed as %s, and the answers come to %.4g", name, said, is.text, value)
		case !math.IsNaN(value) && (err != nil || math.Abs(exact*scaleOf(field)-value) > sortedWithin*math.Max(math.Abs(value), leastSorted)):
			c.fault("results: %s: %s is sorted as %s, and the answers come to %.4g", name, said, is.value, value)
		}
	}
}

// columnOf is what a reader calls the column of a field.
func columnOf(field string) string {
	if said, ok := map[string]string{"low": "95 % from", "high": "95 % to", "p": "p uncorrected", "study": "over the study", "upper": "ruled out above", "evalue": "e-value"}[field]; ok {
		return said
	}
	return field
}

// scaleOf is the ratio of the printed figure to the value by which the column is sorted: proportions are printed in per cent.
func scaleOf(field string) float64 {
	if slices.Contains([]string{"proportion", "low", "high", "upper"}, field) {
		return 100
	}
	return 1
}

// rowFigures are the figures of a row by the names of their cells, as they are printed.
func rowFigures(row countedRow, sum trials.Answers) map[string]float64 {
	n, k := sum.Totals()
	out := map[string]float64{"correct": float64(k), "trials": float64(n), "proportion": 100 * float64(k) / float64(n), "low": math.NaN(), "high": math.NaN(), "p": math.NaN()}
	if n == 0 {
		return out
	}
	if iv, err := stats.ProportionIntervals(k, n, 0.95); err == nil {
		out["low"], out["high"] = 100*iv.ClopperPearson[0], 100*iv.ClopperPearson[1]
	}
	pairs, rates := sum.Pairs(), row.Design.ByRates()
	if !rates {
		out["evalue"], _ = stats.EValue(k, n, row.Design.Chance())
	}
	both := pairs.Hits+pairs.Misses > 0 && pairs.FalseAlarms+pairs.CorrectRejections > 0
	switch {
	case (rates || row.Balanced) && both:
		out["p"] = math.Exp(stats.ConditionalP([]stats.Pairs{pairs}))
	case !rates:
		if b, err := stats.BinomialTest(k, n, row.Design.Chance()); err == nil {
			out["p"] = b.P
		}
	}
	return out
}

// agrees reports whether what is printed is the rounding of a value, within half a unit of its last digit.
func agrees(printed string, value float64) bool {
	text := strings.TrimSuffix(strings.ReplaceAll(printed, "−", "-"), " %")
	if text == "–" {
		return math.IsNaN(value) || math.IsInf(value, 0)
	}
	if bound, ok := strings.CutPrefix(text, "<"); ok {
		v, err := strconv.ParseFloat(bound, 64)
		return err == nil && value < v
	}
	if digits, power, ok := strings.Cut(text, "·10"); ok {
		return agrees(digits, value/math.Pow10(trials.Lowered(power)))
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return false
	}
	_, fraction, _ := strings.Cut(text, ".")
	return math.Abs(v-value) <= 0.5*math.Pow10(-len(fraction))+stats.TailAccuracy
}
