package report

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/stats"
	"heardiff/trials/link"
)

// shown returns the rows that a page can show: those of all and of groups, and those of listeners (where there are more
// than maxRows, the ones with the smallest p); and the rows left out.
func shown(rows []link.Row) (listed, hidden []link.Row) {
	var many, listeners []link.Row
	for _, r := range rows {
		if r.Kind == "listener" {
			listeners = append(listeners, r)
		} else {
			many = append(many, r)
		}
	}
	if len(listeners) <= maxRows {
		return rows, nil
	}
	sort.SliceStable(listeners, func(i, k int) bool { return listeners[i].Log10P < listeners[k].Log10P })
	return append(many, listeners[:maxRows]...), listeners[maxRows:]
}

// crowd draws the listeners of one comparison where there are too many to list: as a distribution, with that of a guesser.
func crowd(title string, rows []link.Row) plot.Crowd {
	c := plot.Crowd{Title: title, Notes: []string{crowdNote(rows)}}
	number := map[int]int{} // listeners by their number of trials
	for _, r := range rows {
		number[r.Trials]++
	}
	edges := crowdEdges(number)
	for i := range len(edges) - 1 {
		c.Bins = append(c.Bins, plot.CrowdBin{Lo: math.Max(0, edges[i]), Hi: math.Min(1, edges[i+1])})
	}
	bin := func(correct, trials int) *plot.CrowdBin {
		at, _ := slices.BinarySearch(edges, float64(correct)/float64(trials)+1e-9)
		return &c.Bins[min(max(at-1, 0), len(c.Bins)-1)]
	}
	for _, r := range rows {
		bin(r.Correct, r.Trials).Observed++
	}
	for n, listeners := range number {
		guesser := distuv.Binomial{N: float64(n), P: rows[0].Chance}
		for k := range n + 1 {
			bin(k, n).Guessing += float64(listeners) * guesser.Prob(float64(k))
		}
	}
	return c
}

// mostBars is how many counts of right answers have a bar of their own. A judgement, no source; TestCrowdIsSetAgainstAsManyGuessers holds it.
const mostBars = 60

// crowdEdges divides the proportions: between the counts that can occur where all answered as many trials (and not too
// many to draw), else in steps of 5 %.
func crowdEdges(number map[int]int) []float64 {
	var edges []float64
	if len(number) == 1 {
		for n := range number {
			if n <= mostBars {
				for k := range n + 2 {
					edges = append(edges, (float64(k)-0.5)/float64(n))
				}
				return edges
			}
		}
	}
	for k := range 21 {
		edges = append(edges, float64(k)/20)
	}
	return edges
}

// crowdNote says how many reached the level, how many guessers would, and what the verdicts were.
func crowdNote(rows []link.Row) string {
	alpha := rows[0].Alpha
	reached, guessers := 0, 0.0
	sizes, verdicts := map[int]float64{}, map[link.Verdict]int{}
	for _, r := range rows {
		size, ok := sizes[r.Trials]
		if !ok {
			if _, size, ok = stats.CriticalCount(r.Trials, r.Chance, alpha); !ok {
				size = 0
			}
			sizes[r.Trials] = size
		}
		guessers += size
		if r.Log10P <= math.Log10(alpha)+stats.TailAccuracy {
			reached++
		}
		verdicts[r.Verdict]++
	}
	return fmt.Sprintf("%d listeners; each by themselves, %d reach p ≤ %g: of as many guessers %.0f would, so among so many one such p shows nothing. Verdicts: %d heard, %d ruled out, %d undecided, %d void.",
		len(rows), reached, alpha, guessers, verdicts[link.HeardIt], verdicts[link.RuledOut], verdicts[link.Undecided], verdicts[link.Void])
}
