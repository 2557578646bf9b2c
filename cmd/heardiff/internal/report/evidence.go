package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"maps"
	"slices"
	"strings"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// Evidence is what proves the results of a page: it carries the exact text of everything that was hashed.
type Evidence struct {
	// Record is the study's record, empty where none is kept.
	Record []store.RecordEntry
	// Plans by their ids in the study.
	Plans map[string]trials.Plan
	// Sessions that have ended, in the order in which they began.
	Sessions []Proof
}

// Proof is the journal of one session.
type Proof struct {
	ID, Plan string
	Entries  []trials.Entry
	// Answers are the counts of the session by the comparisons of its plan: see trials.Tally. They stand for the journal on
	// the pages of many listeners.
	Answers []trials.Answers
}

// mostEvidence is how many bytes of journals and record a page carries. Of a larger study it carries counts, and says where the
// rest is.
const mostEvidence = 2 << 20

// Large reports whether a study of so many sessions and entries of its record is too large for its journals to be carried.
func Large(sessions, record int) bool {
	const session, entry = 20 << 10, 450 // bytes, as measured of sessions of forty trials
	return sessions*session+record*entry > 2*mostEvidence
}

// blocks are the lines of evidence as the page carries them: fields parted by tabs, which no JSON holds in the clear.
type blocks struct {
	Record, Plans, Sessions, Journals, Counted template.HTML
	// Part is "end" where the page holds the last entry of the record alone, "" where it holds all.
	Part string
	// Summary marks a page that holds counts instead of journals.
	Summary bool
	Size    int
}

// countedRow is one printed row of results, and what it adds up.
type countedRow struct {
	Row        int           `json:"row"`
	Comparison string        `json:"comparison"`
	Who        string        `json:"who"`
	Design     trials.Design `json:"design"`
	Balanced   bool          `json:"balanced"`
	// Parts are pairs of the index of a session and the indices of its plan's comparisons.
	Parts []countedPart `json:"parts,omitempty"`
	// Counts, on a page without journals, are the answers of each session by what was right: see trials.Tally.
	Counts []trials.Answers `json:"counts,omitempty"`
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
func evidence(e Evidence, rows []link.Row) (blocks, error) {
	var b blocks
	record := recordLines(e.Record)
	journals := journalLines(e.Sessions)
	if len(record)+len(journals) > mostEvidence || withoutJournals(e.Sessions) {
		b.Summary, b.Part = true, "end"
		if n := len(e.Record); n > 0 {
			record = recordLines(e.Record[n-1:])
		}
		journals = ""
	}
	var plans, sessions strings.Builder
	index := map[string]int{}
	for i, s := range e.Sessions {
		if index[s.ID] = i; !b.Summary {
			fmt.Fprintf(&sessions, "%s\t%s\n", tight(s.ID), tight(s.Plan))
		}
	}
	for _, id := range slices.Sorted(maps.Keys(e.Plans)) {
		text, err := json.Marshal(e.Plans[id])
		if err != nil {
			return b, fmt.Errorf("encode plan %q: %w", id, err)
		}
		fmt.Fprintf(&plans, "%s\t%s\n", tight(id), text)
	}
	counted, err := countedLines(e, rows, index, b.Summary)
	b.Record, b.Plans, b.Sessions, b.Journals, b.Counted = safe(record), safe(plans.String()), safe(sessions.String()), safe(journals), safe(counted)
	b.Size = len(record) + len(journals) + plans.Len() + sessions.Len() + len(counted)
	return b, err
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

// safe marks text that no element is ended by: of what stands in it, only names could hold a "<", and tight takes them.
func safe(text string) template.HTML { return template.HTML(strings.ReplaceAll(text, "</", "<\\/")) }

// tight takes out of an id what would part fields.
func tight(id string) string { return strings.NewReplacer("\t", " ", "\n", " ", "<", " ").Replace(id) }

func recordLines(all []store.RecordEntry) string {
	var b strings.Builder
	for _, e := range all {
		fmt.Fprintf(&b, "%s\t%s", e.Hash, e.Hashed())
		if e.Public() && e.Body != "" {
			fmt.Fprintf(&b, "\t%s", e.Body)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func journalLines(all []Proof) string {
	var b strings.Builder
	for i, s := range all {
		for _, e := range s.Entries {
			fmt.Fprintf(&b, "%d\t%s\t%s\n", i, e.Hash, e.Hashed())
		}
	}
	return b.String()
}

func countedLines(e Evidence, rows []link.Row, index map[string]int, summary bool) (string, error) {
	var b strings.Builder
	for i, r := range rows {
		design, err := trials.ParseDesign(r.Design)
		if err != nil {
			return "", err
		}
		c := countedRow{Row: i, Comparison: r.Comparison, Who: who(r), Design: design, Balanced: r.Balanced}
		for _, p := range r.Parts {
			at, ok := index[p.Session]
			if !ok {
				return "", nil // no evidence was handed over
			}
			part := countedPart{Session: at, Comparisons: indices(e.Plans[e.Sessions[at].Plan], p.Comparisons)}
			if !summary {
				c.Parts = append(c.Parts, part)
				continue
			}
			sum := design.NoAnswers()
			for _, k := range part.Comparisons {
				if k < len(e.Sessions[at].Answers) {
					sum.Add(e.Sessions[at].Answers[k])
				}
			}
			c.Counts = append(c.Counts, sum)
		}
		line, err := json.Marshal(c)
		if err != nil {
			return "", fmt.Errorf("encode a row: %w", err)
		}
		b.Write(append(line, '\n'))
	}
	return b.String(), nil
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
