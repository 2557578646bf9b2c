package report

import (
	"heardiff/stats"
	"heardiff/trials/link"
)

// spread says whether the listeners of a comparison differ from one another.
type spread struct {
	Row       link.Row
	Listeners int
	stats.Heterogeneity
	Rho float64
}

// spreads has one for each comparison of two listeners or more whose answers count.
func spreads(cards []answer) []spread {
	var out []spread
	for _, a := range cards {
		var counts []stats.Count
		for _, v := range []link.Verdict{link.HeardIt, link.RuledOut, link.Undecided} {
			for _, r := range a.By[v] {
				counts = append(counts, stats.Count{Correct: r.Correct, Trials: r.Trials})
			}
		}
		if len(counts) < 2 {
			continue
		}
		out = append(out, spread{a.Row, len(counts), stats.TestHeterogeneity(counts), stats.FitBetaBinomial(counts, 0.95).Rho})
	}
	return out
}
