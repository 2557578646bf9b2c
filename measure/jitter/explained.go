package jitter

import (
	"cmp"
	"math"
	"slices"
)

// Lines are fitted in turn up to refits times, or until a round leaves stalled of the residual power or more.
const (
	refits  = 40
	stalled = 0.95
)

// dropExplained restores the lines that their neighbours explain. Two lines some bins apart are first fitted each with the other's side
// lobes in it, and leave traces that pass for a third, or part one of the two into pieces. A line with a near neighbour stays only if
// without it, the others fitted anew, a significant line is where it was. Pieces of one line are tested together
// first, then the lines one by one, the weakest first.
func (p *lineFinder) dropExplained(lines []peak) []peak {
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

// without returns the lines without the doubted ones if the rest, fitted anew, explains them; else all as they were.
func (p *lineFinder) without(lines []peak, doubted []int) []peak {
	others := slices.Clone(lines)
	for _, i := range slices.Backward(doubted) {
		p.add(lines[i], 1)
		others = slices.Delete(others, i, i+1)
	}
	hz := lines[doubted[0]].hz
	near, before := p.near(others, hz, company), slices.Clone(others)
	residual := math.Inf(1)
	for range refits {
		p.refit(others, near)
		most := p.strongest(hz)
		if !p.significant(most) {
			return others
		}
		if power(most.value) > stalled*residual {
			break
		}
		residual = power(most.value)
	}
	for _, i := range near {
		p.add(others[i], 1)
		p.add(before[i], -1)
	}
	for _, i := range doubted {
		p.add(lines[i], -1)
	}
	return lines
}
