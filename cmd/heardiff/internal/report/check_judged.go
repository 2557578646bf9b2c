package report

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"heardiff/trials/link"
)

// carriedRow is what a page carries of a row that bears on its verdict and follows from measurements.
type carriedRow struct {
	Confounds []link.Confound `json:"confounds"`
	Masked    []string        `json:"masked_by_replay"`
}

// judge judges the whole study again, as link does, from the sessions that were dealt again: p over the study, what is ruled out,
// and the verdict. It is left undone where the page does not carry every session and row, or one of them is broken.
func (c *checking) judge() {
	var study judgement
	if err := json.Unmarshal([]byte(c.page.texts["study"]), &study); err != nil {
		c.fault("what the rows are judged by cannot be read")
		return
	}
	if !study.Whole || c.Rows != study.Rows {
		return
	}
	in := link.Input{Family: study.Family}
	for _, s := range c.Sessions {
		in.Results = append(in.Results, link.Heard{Listener: s.seat.Listener, Group: s.seat.Group, Simulated: s.seat.Simulated, Arrived: s.seat.Arrived, Marks: s.seat.Marks, Result: s.result})
	}
	again, err := link.Build(in)
	if err != nil || len(again.Rows) != study.Rows {
		c.fault("results: the sessions come to %d rows, and %d are printed", len(again.Rows), study.Rows)
		return
	}
	var carried struct {
		Rows []carriedRow `json:"rows"`
	}
	if err := json.Unmarshal([]byte(c.page.texts["link-json"]), &carried); err != nil || len(carried.Rows) != study.Rows {
		c.fault("numbers: they cannot be read")
		return
	}
	judged := byKey(again.Rows)
	for _, row := range c.counted {
		key := rowKey{row.Comparison, row.Who, row.Claim.Kind, row.Design.String()}
		if len(judged[key]) == 0 {
			c.fault("results: %s, %s: the sessions come to no such row", row.Comparison, row.Who)
			continue
		}
		if row.Row >= 0 && row.Row < len(carried.Rows) {
			c.judgeRow(row.Row, judged[key][0], carried.Rows[row.Row])
		}
		judged[key] = judged[key][1:]
		c.Judged++
	}
}

// rowKey tells rows apart, but for those of one listener with sound and without, which stand in the same order everywhere.
type rowKey struct{ comparison, who, kind, design string }

func byKey(rows []link.Row) map[rowKey][]link.Row {
	all := map[rowKey][]link.Row{}
	for _, r := range rows {
		key := rowKey{r.Comparison, who(r), r.Kind, r.Design}
		all[key] = append(all[key], r)
	}
	return all
}

// judgeRow holds a row as it is printed against one that was judged again without what was measured.
func (c *checking) judgeRow(i int, r link.Row, carried carriedRow) {
	name, cells := r.Comparison+", "+who(r), c.page.rows[fmt.Sprintf("row %d", i)]
	c.compare(name, cells, map[string]float64{"study": r.PStudy, "upper": 100 * r.UpperPD})
	printed := cells["verdict"].text
	switch {
	case printed == string(r.Verdict):
	case printed == string(link.Void) && r.Verdict == link.HeardIt && voids(carried.Confounds):
	case printed == string(link.Undecided) && r.Verdict == link.RuledOut && len(carried.Masked) > 0:
	default:
		c.fault("results: %s: the verdict is printed as “%s”, and the answers come to “%s”", name, printed, r.Verdict)
	}
}

func voids(all []link.Confound) bool {
	for _, c := range all {
		if c.Voids {
			return true
		}
	}
	return false
}

// lowered reads what raised writes.
func lowered(exponent string) int {
	digits := strings.Map(func(r rune) rune {
		for i, d := range []rune("⁰¹²³⁴⁵⁶⁷⁸⁹") {
			if d == r {
				return rune('0' + i)
			}
		}
		return r
	}, exponent)
	n, err := strconv.Atoi(digits)
	if err != nil {
		return 0
	}
	return n
}
