package main

import (
	"fmt"
	"io"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// mostVerdicts is how many rows of single listeners are printed; beyond, "link" and the report show them.
const mostVerdicts = 40

func writeVerdicts(w io.Writer, all []study.VerdictReport, family link.FamilySummary) {
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
		fmt.Fprintf(w, "  %s (p uncorrected %s, over the study %s)\n", v.Says, link.Probability(v.PValue), link.Probability(v.PStudy))
	}
	if shown > mostVerdicts {
		fmt.Fprintf(w, "  and %s more: \"heardiff link\"\n", trials.Counted(shown-mostVerdicts, "listener"))
	}
	fmt.Fprintf(w, "%s\n", family.Words())
}
