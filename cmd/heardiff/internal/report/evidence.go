package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// Evidence is what proves the results of a page: it carries the exact text of everything that was hashed.
type Evidence struct {
	// Record is the study's record, empty where none is kept.
	Record []study.RecordEntry
	// Plans by their ids in the study.
	Plans map[string]trials.Plan
	// Sessions that have ended, in the order in which they began.
	Sessions []Proof
}

// Proof is the journal of one session.
type Proof struct {
	ID, Plan string
	Entries  []trials.Entry
	// Outcome is what the session came to. It replaces the journal on the pages of many listeners.
	Outcome trials.Summary
	Seat    Seat
}

// Seat is who sat, and what else of a session bears on how it is judged: see link.Heard.
type Seat struct {
	Listener  string      `json:"listener"`
	Group     string      `json:"group,omitempty"`
	Simulated bool        `json:"simulated,omitempty"`
	Arrived   int         `json:"arrived,omitempty"`
	Marks     []link.Mark `json:"marks,omitempty"`
}

// mostEvidence is how many bytes of journals and record a page carries. Of a larger study it carries counts, and says where the
// rest is.
const mostEvidence = 2 << 20

// Large reports whether a study of so many sessions and entries of its record is too large for its journals to be carried.
func Large(sessions, record int) bool {
	const session, entry = 20 << 10, 450 // bytes, as measured of sessions of forty trials
	return sessions*session+record*entry > 2*mostEvidence
}

// blocks are the lines of evidence as the page carries them: fields separated by tabs, which JSON holds only escaped.
type blocks struct {
	Record, Plans, Sessions, Journals, Counted template.HTML
	Designs, Study                             template.JS
	// Part is "end" where the page holds the last entry of the record alone, "" where it holds all.
	Part string
	// Summary marks a page that holds counts instead of journals.
	Summary bool
}

// countedRow is one printed row of results, and what it adds up.
type countedRow struct {
	Row        int           `json:"row"`
	Comparison string        `json:"comparison"`
	Who        string        `json:"who"`
	Design     trials.Design `json:"design"`
	Balanced   bool          `json:"balanced,omitempty"`
	Claim      claim         `json:"claim"`
	// Parts are pairs of the index of a session and the indices of its plan's comparisons.
	Parts []countedPart `json:"parts,omitempty"`
}

// unlisted are rows that a page of many listeners leaves out, though the verdicts of the others depend on them: all rows that
// are judged alike, except for their shares of the risk.
type unlisted struct {
	Design   trials.Design `json:"design"`
	Balanced bool          `json:"balanced,omitempty"`
	Claim    claim         `json:"claim"`
	// Rows holds the share and the parts of each.
	Rows []unlistedRow `json:"rows"`
}

type unlistedRow struct {
	share float64
	parts []countedPart
}

// MarshalJSON writes [share, parts].
func (r unlistedRow) MarshalJSON() ([]byte, error) { return json.Marshal([]any{r.share, r.parts}) }

// outcome is what a session without its journal came to.
type outcome struct {
	// Answers are the counts by the comparisons of its plan: see trials.Tally.
	Answers []trials.Answers `json:"answers"`
	GivenUp bool             `json:"given_up,omitempty"`
	Silent  bool             `json:"silent,omitempty"`
	Ended   *time.Time       `json:"ended,omitempty"` // set where the order of the sessions depends on it
}

// claim is how a row is judged.
type claim struct {
	link.ClaimShare
	Kind     string  `json:"kind"`
	Smallest float64 `json:"smallest"`
}

// judgement is what the rows are judged by.
type judgement struct {
	Alpha         float64              `json:"alpha"`
	ListenerAlpha float64              `json:"listenerAlpha"`
	Questions     []link.QuestionShare `json:"questions"`
	Family        link.Family          `json:"family"`
	// Rows is how many rows there are, of which the page may leave some out; Whole says that it carries what every session came to.
	Rows     int        `json:"rows"`
	Whole    bool       `json:"whole"`
	Unlisted []unlisted `json:"unlisted,omitempty"`
	// Replay holds the jitter and noise of each replay chain, which hide smaller differences.
	Replay []replayed `json:"replay,omitempty"`
}

// replayed is what the verdicts need to know of a replay chain.
type replayed struct {
	Name    string                  `json:"name"`
	Figures map[link.Metric]float64 `json:"figures"`
}

// hidingMetrics are those in which a replay chain can hide what is tested.
var hidingMetrics = []link.Metric{link.RandomJitter, link.DeterministicJitter, link.Noise}

func replays(chains []link.Chain) []replayed {
	var out []replayed
	for _, c := range chains {
		if c.Role != "replay" {
			continue
		}
		r := replayed{c.Name, map[link.Metric]float64{}}
		for _, m := range hidingMetrics {
			if own := c.Mean(m); !math.IsNaN(own) {
				r.Figures[m] = own
			}
		}
		out = append(out, r)
	}
	return out
}

// dealer is a design as the page deals and scores it.
type dealer struct {
	Answers []trials.Answer `json:"answers"`
	Right   []trials.Answer `json:"right"`
	Chance  float64         `json:"chance"`
	Rates   bool            `json:"rates"`
}

func dealers() map[string]dealer {
	all := map[string]dealer{}
	for _, d := range trials.Designs() {
		all[d.String()] = dealer{d.Answers(), d.Dealt(), d.Chance(), d.ByRates()}
	}
	return all
}

type countedPart struct {
	Session     int
	Comparisons []int
}

// MarshalJSON writes [session, [comparisons]].
func (p countedPart) MarshalJSON() ([]byte, error) {
	return json.Marshal([]any{p.Session, p.Comparisons})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (p *countedPart) UnmarshalJSON(data []byte) error {
	return json.Unmarshal(data, &[]any{&p.Session, &p.Comparisons})
}

// evidence lays out what proves the rows.
func evidence(in Input, rows, hidden []link.Row) (blocks, error) {
	var b blocks
	e := in.Evidence
	record := recordLines(e.Record)
	journals := journalLines(e.Sessions)
	if len(record)+len(journals) > mostEvidence || withoutJournals(e.Sessions) {
		b.Summary, b.Part = true, "end"
		if n := len(e.Record); n > 0 {
			record = recordLines(e.Record[n-1:])
		}
		journals = ""
	}
	var plans strings.Builder
	index := map[string]int{}
	for i, s := range e.Sessions {
		index[s.ID] = i
	}
	sessions, err := sessionLines(e.Sessions, b.Summary)
	if err != nil {
		return b, err
	}
	for _, id := range slices.Sorted(maps.Keys(e.Plans)) {
		text, err := json.Marshal(e.Plans[id])
		if err != nil {
			return b, fmt.Errorf("encode plan %q: %w", id, err)
		}
		fmt.Fprintf(&plans, "%s\t%s\n", tight(id), text)
	}
	counted, err := countedLines(e, rows, index)
	if err != nil {
		return b, err
	}
	b.Record, b.Plans, b.Sessions, b.Journals, b.Counted = safe(record), safe(plans.String()), safe(sessions), safe(journals), safe(counted)
	return b, b.judged(in, hidden, index)
}

// judged adds what the rows are judged by.
func (b *blocks) judged(in Input, hidden []link.Row, index map[string]int) error {
	family := in.Link.Asked
	one, _ := family.ListenerAlpha()
	left, whole := unlistedOf(in.Evidence, hidden, index)
	whole = whole && len(in.Evidence.Sessions) > 0
	for _, part := range []struct {
		to   *template.JS
		text any
	}{{&b.Designs, dealers()}, {&b.Study, judgement{family.Alpha, one, in.Link.Questions, family, len(in.Link.Rows), whole, left, replays(in.Chains)}}} {
		text, err := json.Marshal(part.text)
		if err != nil {
			return fmt.Errorf("encode what rows are judged by: %w", err)
		}
		*part.to = template.JS(text)
	}
	return nil
}

// unlistedOf gathers the rows that are left out; false where the evidence of one is missing.
func unlistedOf(e Evidence, hidden []link.Row, index map[string]int) ([]unlisted, bool) {
	var out []unlisted
	at := map[unlistedKey]int{}
	for _, r := range hidden {
		design, err := trials.ParseDesign(r.Design)
		parts, ok := partsOf(e, r, index)
		if err != nil || !ok {
			return nil, false
		}
		alike := claim{r.Claim, r.Kind, r.Smallest}
		alike.Share = 0
		key := unlistedKey{design, r.Balanced, alike}
		i, seen := at[key]
		if !seen {
			i, at[key] = len(out), len(out)
			out = append(out, unlisted{Design: design, Balanced: r.Balanced, Claim: alike})
		}
		out[i].Rows = append(out[i].Rows, unlistedRow{r.Claim.Share, parts})
	}
	return out, true
}

// unlistedKey is what rows have in common that are judged alike.
type unlistedKey struct {
	design   trials.Design
	balanced bool
	claim    claim
}

// withoutJournals reports whether no journals were handed over, as for studies that are too large.
func withoutJournals(all []Proof) bool {
	for _, s := range all {
		if len(s.Entries) > 0 {
			return false
		}
	}
	return len(all) > 0
}

// safe marks text that cannot end its element. Only the names in it could hold a "<", and tight takes that out of them.
func safe(text string) template.HTML { return template.HTML(strings.ReplaceAll(text, "</", "<\\/")) }

// tight replaces in an id what would separate fields or begin a tag.
func tight(id string) string { return strings.NewReplacer("\t", " ", "\n", " ", "<", " ").Replace(id) }

func recordLines(all []study.RecordEntry) string {
	var b strings.Builder
	before := ""
	for _, e := range all {
		fmt.Fprintf(&b, "%s\t%s", e.Hash, elided(e.Hashed(), before))
		if e.Public() && e.Body != "" {
			fmt.Fprintf(&b, "\t%s", e.Body)
		}
		b.WriteByte('\n')
		before = e.Hash
	}
	return b.String()
}

func journalLines(all []Proof) string {
	var b strings.Builder
	for i, s := range all {
		before := ""
		for _, e := range s.Entries {
			fmt.Fprintf(&b, "%d\t%s\t%s\n", i, e.Hash, elided(e.Hashed(), before))
			before = e.Hash
		}
	}
	return b.String()
}

// elided takes out of the text of an entry the hash of the entry before it, which the page carries already.
func elided(text, before string) string {
	return strings.Replace(text, previous(before), previous("^"), 1)
}

// restored puts back what elided takes out. No text within an entry holds the same: its quotation marks are escaped.
func restored(text, before string) string {
	return strings.Replace(text, previous("^"), previous(before), 1)
}

func previous(hash string) string { return `"previous":"` + hash + `"` }

// sessionLines lists the sessions and who sat; of a page without journals also what each came to.
func sessionLines(all []Proof, summary bool) (string, error) {
	var b strings.Builder
	for _, s := range all {
		seat, err := json.Marshal(s.Seat)
		if err != nil {
			return "", fmt.Errorf("encode who sat: %w", err)
		}
		fmt.Fprintf(&b, "%s\t%s\t%s", tight(s.ID), tight(s.Plan), seat)
		if summary {
			o := outcome{Answers: s.Outcome.Answers, GivenUp: s.Outcome.GivenUp, Silent: s.Outcome.Silent}
			if s.Seat.Arrived == 0 && !s.Outcome.Ended.IsZero() {
				o.Ended = &s.Outcome.Ended
			}
			text, err := json.Marshal(o)
			if err != nil {
				return "", fmt.Errorf("encode what a session came to: %w", err)
			}
			fmt.Fprintf(&b, "\t%s", text)
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}

func countedLines(e Evidence, rows []link.Row, index map[string]int) (string, error) {
	var b strings.Builder
	for i, r := range rows {
		design, err := trials.ParseDesign(r.Design)
		if err != nil {
			return "", err
		}
		parts, ok := partsOf(e, r, index)
		if !ok {
			return "", nil
		}
		line, err := json.Marshal(countedRow{Row: i, Comparison: r.Comparison, Who: who(r), Design: design, Balanced: r.Balanced, Claim: claim{r.Claim, r.Kind, r.Smallest}, Parts: parts})
		if err != nil {
			return "", fmt.Errorf("encode a row: %w", err)
		}
		b.Write(append(line, '\n'))
	}
	return b.String(), nil
}

// partsOf are the sessions of a row; false where no evidence of one was handed over.
func partsOf(e Evidence, r link.Row, index map[string]int) ([]countedPart, bool) {
	var parts []countedPart
	for _, p := range r.Parts {
		at, ok := index[p.Session]
		if !ok {
			return nil, false
		}
		parts = append(parts, countedPart{at, indices(e.Plans[e.Sessions[at].Plan], p.Comparisons)})
	}
	return parts, true
}

func indices(p trials.Plan, names []string) []int {
	var out []int
	for i, c := range p.Comparisons {
		for _, n := range names {
			if c.Name == n {
				out = append(out, i)
			}
		}
	}
	return out
}
