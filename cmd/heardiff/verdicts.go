package main

import (
	"fmt"
	"io"

	"heardiff/trials/link"
)

// verdictReport is what the whole study says of one row, as "link" says it.
type verdictReport struct {
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
	says    string
}

// verdictsOf takes the verdicts out of a link: of one comparison, or with "" of all.
func verdictsOf(r link.Result, comparison string) []verdictReport {
	all := []verdictReport{}
	for _, v := range r.Rows {
		if comparison != "" && v.Comparison != comparison {
			continue
		}
		all = append(all, verdictReport{v.Comparison, v.Design, v.Kind, v.Listener, v.Group, v.Silent, v.P, v.PStudy, v.Verdict, v.Reason, v.HeardBy, v.UpperPD, v.Says()})
	}
	return all
}

// mostVerdicts is how many rows of single listeners are printed; beyond, "link" and the report show them.
const mostVerdicts = 40

func writeVerdicts(w io.Writer, all []verdictReport, family link.Said) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\nThe study says:\n")
	shown := 0
	for _, v := range all {
		if v.Kind == "listener" {
			if shown++; shown > mostVerdicts {
				continue
			}
		}
		fmt.Fprintf(w, "  %s (p uncorrected %s, over the study %s)\n", v.says, probability(v.PValue), probability(v.PStudy))
	}
	if shown > mostVerdicts {
		fmt.Fprintf(w, "  and %d listeners more: \"heardiff link\"\n", shown-mostVerdicts)
	}
	fmt.Fprintf(w, "%s\n", family.Words())
}
