package jitter

import (
	"cmp"
	"math"
	"slices"
)

// Distances in bins of the record.
const (
	splinter = 0.9 // so near one line may stand in pieces
	crowd    = 5   // so near a neighbour makes a line doubtful
	company  = 12  // so far lines are fitted again without it
)

// Lines are fitted in turn so often, at the most, and no longer when a round leaves more than this of the power left before.
const (
	refits  = 40
	stalled = 0.95
)

// needless puts back the lines that their neighbours explain. Two lines some bins apart are first fitted each with the other's side
// lobes in it, and leave traces that pass for a third, or part one of the two into pieces. A line with a near neighbour stays only if
// without it, the others fitted again, something stands out of the noise where it was. Pieces of one line are asked together
// first, then the lines one by one, the weakest first.
func (p *peeler) needless(lines []peak) []peak {
	slices.SortFunc(lines, func(a, b peak) int { return cmp.Compare(power(b.value), power(a.value)) })
	for i := 0; i < len(lines); i++ {
		pieces := p.near(lines, lines[i].hz, splinter)
		if pieces = pieces[slices.Index(pieces, i)+1:]; len(pieces) > 0 {
			lines = p.without(lines, pieces)
		}
	}
	for i := len(lines) - 1; i >= 0; i-- {
		if len(p.near(lines, lines[i].hz, crowd)) > 1 {
			lines = p.without(lines, []int{i})
		}
	}
	return lines
}

// without returns the lines without the doubted ones if the rest, fitted again, explains them; else all as they were.
func (p *peeler) without(lines []peak, doubted []int) []peak {
	rest := slices.Clone(lines)
	for _, i := range slices.Backward(doubted) {
		p.add(lines[i], 1)
		rest = slices.Delete(rest, i, i+1)
	}
	hz := lines[doubted[0]].hz
	near, before := p.near(rest, hz, company), slices.Clone(rest)
	left := math.Inf(1)
	for range refits {
		p.refit(rest, near)
		most := p.strongest(hz)
		if !p.stands(most) {
			return rest
		}
		if power(most.value) > stalled*left {
			break
		}
		left = power(most.value)
	}
	for _, i := range near {
		p.add(rest[i], 1)
		p.add(before[i], -1)
	}
	for _, i := range doubted {
		p.add(lines[i], -1)
	}
	return lines
}

// strongest fits a line to the largest peak within crowd bins of hz.
func (p *peeler) strongest(hz float64) peak {
	from, to := p.lobe(hz, crowd)
	from, to = max(from, p.lowest), min(to, p.high)
	best := from
	for k := from; k <= to; k++ {
		if power(p.bins[k]) > power(p.bins[best]) {
			best = k
		}
	}
	return p.fit(float64(best) * p.binHz)
}

// near returns which lines stand so many bins of the record from hz, or less.
func (p *peeler) near(lines []peak, hz, bins float64) []int {
	var out []int
	for i, l := range lines {
		if math.Abs(l.hz-hz) <= bins/p.seconds {
			out = append(out, i)
		}
	}
	return out
}
