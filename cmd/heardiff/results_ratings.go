package main

import (
	"fmt"
	"io"

	"heardiff/trials/link"
	"heardiff/trials/study"
)

func ratingNotes(w io.Writer, r study.SessionReport) {
	for _, c := range r.Rows {
		if c.Ratings == nil {
			continue
		}
		tells := "different pairs from same ones"
		if c.Ratings.Type == 2 {
			tells = "right answers from wrong ones"
		}
		fmt.Fprintf(w, "\nsession %s, %s: confidence tells %s with an area under the curve of %s (%s to %s at 95 %%; 0.5 is chance, p %s), from %d trials\n",
			study.ShortID(r.Session), c.Comparison.Name, tells, decimals(c.Ratings.Area), decimals(c.Ratings.Interval[0]), decimals(c.Ratings.Interval[1]),
			withSign(c.Ratings.P), c.Ratings.Rated)
	}
}

// withSign writes a p within a sentence, after = or <.
func withSign(p float64) string {
	if text := link.Probability(p); text[0] == '<' {
		return "< " + text[1:]
	}
	return "= " + link.Probability(p)
}
