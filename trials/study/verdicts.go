package study

import (
	"heardiff/trials/link"
)

// VerdictReport is what the whole study says of one row, as trials/link judges it.
type VerdictReport struct {
	Comparison string        `json:"comparison"`
	Design     string        `json:"design"`
	Kind       string        `json:"kind"`
	Listener   string        `json:"listener"`
	Group      string        `json:"group"`
	Silent     bool          `json:"silent"`
	PValue     float64       `json:"p_value"` // uncorrected: it decides nothing
	PStudy     float64       `json:"p_study"`
	Verdict    link.Verdict  `json:"verdict"`
	Reason     string        `json:"reason"`
	HeardBy    *link.HeardBy `json:"heard_by"`
	// UpperPD is the bound above which the row rules out, at the study's level for each row by itself.
	UpperPD float64 `json:"p_d_upper"`
	// Says is the verdict in a sentence.
	Says string `json:"-"`
}

// VerdictsOf takes the verdicts from a link: those of one comparison, or with "" all.
func VerdictsOf(r link.Result, comparison string) []VerdictReport {
	all := []VerdictReport{}
	for _, v := range r.Rows {
		if comparison != "" && v.Comparison != comparison {
			continue
		}
		all = append(all, VerdictReport{v.Comparison, v.Design, v.Kind, v.Listener, v.Group, v.Silent, v.P, v.PStudy, v.Verdict, v.Reason, v.HeardBy, v.UpperPD, v.Says()})
	}
	return all
}
