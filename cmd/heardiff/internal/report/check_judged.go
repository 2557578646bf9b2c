package report

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"heardiff/trials/link"
)

// carriedRow is what a page carries of a row in addition to its counts.
type carriedRow struct {
	A          string                     `json:"a"`
	B          string                     `json:"b"`
	Excerpt    string                     `json:"excerpt"`
	Simulated  bool                       `json:"simulated"`
	Silent     bool                       `json:"silent"`
	Treatment  string                     `json:"treatment"`
	Dose       *float64                   `json:"dose"`
	DoseMetric link.Metric                `json:"dose_metric"`
	Measured   map[string]json.RawMessage `json:"measured"`
}

// judge judges the whole study again, as link does, from the sessions and from the figures that the page prints of the chains: p over
// the study, what is ruled out, and the verdict. It is left undone where the page does not carry every session, or one of them is
// broken.
func (c *checking) judge() {
	var study judged
	if err := json.Unmarshal([]byte(c.page.texts["study"]), &study); err != nil {
		c.fault("what the rows are judged by cannot be read")
		return
	}
	var carried struct {
		Rows []carriedRow `json:"rows"`
	}
	if err := json.Unmarshal([]byte(c.page.texts["link-json"]), &carried); err != nil {
		c.fault("numbers: they cannot be read")
		return
	}
	if !study.Whole || c.Rows != len(carried.Rows) {
		return
	}
	in := link.Input{Family: study.Family, Chains: study.chains(carried.Rows), Pairings: c.pairings(carried.Rows)}
	for _, s := range c.Sessions {
		in.Results = append(in.Results, link.Heard{Listener: s.seat.Listener, Group: s.seat.Group, Simulated: s.seat.Simulated, Arrived: s.seat.Arrived, Marks: s.seat.Marks, Result: s.result})
	}
	again, err := link.Build(in)
	if err != nil || len(again.Rows) != study.Rows {
		c.fault("results: the sessions come to %d rows, and %d are printed", len(again.Rows), study.Rows)
		return
	}
	judged := byKey(again.Rows)
	for _, row := range c.counted {
		if row.Row < 0 || row.Row >= len(carried.Rows) {
			c.fault("results: what a row counts cannot be read")
			continue
		}
		of := carried.Rows[row.Row]
		key := rowKey{row.Comparison, row.Who, row.Claim.Kind, row.Design.String(), of.Simulated, of.Silent}
		if len(judged[key]) == 0 {
			c.fault("results: %s, %s: the sessions come to no such row", row.Comparison, row.Who)
			continue
		}
		c.judgeRow(row.Row, judged[key][0])
		judged[key] = judged[key][1:]
		c.Judged++
	}
}

// judged is what a page carries to be judged by: a judgement without the rows that are left out, which follow from the sessions.
type judged struct {
	Family link.Family `json:"family"`
	Rows   int         `json:"rows"`
	Whole  bool        `json:"whole"`
	Replay []replayed  `json:"replay"`
}

// chains are the replay chains, and the chains under test by what the page prints of them.
func (j judged) chains(rows []carriedRow) []link.Chain {
	var out []link.Chain
	add := func(name, role string, figures map[link.Metric]float64) {
		c := link.Chain{Name: name, Role: role, Cost: math.NaN(), Figures: map[link.Metric][]link.Figure{}}
		for m, v := range figures {
			c.Figures[m] = []link.Figure{{Value: v, Limit: math.NaN()}}
		}
		out = append(out, c)
	}
	for _, r := range j.Replay {
		add(r.Name, "replay", r.Figures)
	}
	seen := map[string]bool{}
	for _, r := range rows {
		a, b := r.figures()
		for _, c := range []struct {
			name    string
			figures map[link.Metric]float64
		}{{r.A, a}, {r.B, b}} {
			if r.Treatment == "" && !seen[c.name] {
				seen[c.name] = true
				add(c.name, "source", c.figures)
			}
		}
	}
	return out
}

// figures are the measured figures of both chains of a row.
func (r carriedRow) figures() (a, b map[link.Metric]float64) {
	a, b = map[link.Metric]float64{}, map[link.Metric]float64{}
	for name, text := range r.Measured {
		var p struct{ A, B *float64 }
		if json.Unmarshal(text, &p) != nil {
			continue // a number
		}
		if p.A != nil {
			a[link.Metric(name)] = *p.A
		}
		if p.B != nil {
			b[link.Metric(name)] = *p.B
		}
	}
	return a, b
}

// number is one of the measured figures of a row that is a single number; NaN where it is not known.
func (r carriedRow) number(name string) float64 {
	var v *float64
	if json.Unmarshal(r.Measured[name], &v) != nil || v == nil {
		return math.NaN()
	}
	return *v
}

// pairings are what the page prints of how the presentations of each comparison differ.
func (c *checking) pairings(rows []carriedRow) []link.Pairing {
	var out []link.Pairing
	for _, row := range c.counted {
		if row.Row < 0 || row.Row >= len(rows) {
			continue
		}
		r := rows[row.Row]
		p := link.Pairing{A: r.A, B: r.B, Excerpt: r.Excerpt, NullDB: r.number("null_db"), ResponseMaxDB: r.number("response_max_db"), LoudnessDifferenceLU: r.number("loudness_difference_lu"),
			LevelErrorDB: r.number("level_error_db"), OffsetErrorUS: r.number("offset_error_us"), Treatment: r.Treatment, Dose: math.NaN(), DoseMetric: r.DoseMetric}
		if r.Dose != nil {
			p.Dose = *r.Dose
		}
		if r.A == r.B {
			p.AudioB = c.audioOf(row)
		}
		for _, excerpt := range strings.Split(r.Excerpt, link.NameSeparator) {
			p.Excerpt = excerpt
			out = append(out, p)
		}
	}
	return out
}

// audioOf is what the second presentation of a row's comparison is known by.
func (c *checking) audioOf(row countedRow) string {
	for _, part := range row.Parts {
		if part.Session < 0 || part.Session >= len(c.Sessions) {
			continue
		}
		if p := c.plans[c.Sessions[part.Session].Plan]; p != nil {
			for _, k := range part.Comparisons {
				if k >= 0 && k < len(p.Comparisons) {
					return p.Comparisons[k].AudioB
				}
			}
		}
	}
	return ""
}

// rowKey identifies a row.
type rowKey struct {
	comparison, who, kind, design string
	simulated, silent             bool
}

func byKey(rows []link.Row) map[rowKey][]link.Row {
	all := map[rowKey][]link.Row{}
	for _, r := range rows {
		key := rowKey{r.Comparison, who(r), r.Kind, r.Design, r.Simulated, r.Silent}
		all[key] = append(all[key], r)
	}
	return all
}

// judgeRow compares a row as it is printed with one that was judged again.
func (c *checking) judgeRow(i int, r link.Row) {
	name, cells := r.Comparison+", "+who(r), c.page.rows[fmt.Sprintf("row %d", i)]
	c.compare(name, cells, map[string]float64{"study": r.PStudy, "upper": 100 * r.UpperPD})
	if printed := cells["verdict"].text; printed != string(r.Verdict) {
		c.fault("results: %s: the verdict is printed as “%s”, and the answers come to “%s”", name, printed, r.Verdict)
	}
}
