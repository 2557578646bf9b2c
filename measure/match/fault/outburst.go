package fault

import (
	"math"
	"sort"

	"heardiff/measure/match/residual"
	"heardiff/measure/spectrum"
)

// The residual of two captures rises with the music, in the treble or in the bass, and rings on with it: a large residual in a stretch of
// 5 ms alone is no fault. In an outburst it exceeds that of stretches as loud, of stretches with as much treble, and of its neighbours,
// each by more than such stretches scatter.
//
// The scatter is taken to fall off as exp(−x/ξ) in decibels, ξ estimated for similar stretches from the distance of the median
// from the uppermost tenth. For Gaussian noise, whose own falls off faster, that is on the safe side.
const (
	// falseOutbursts is how many outbursts chance alone would show in a channel of a pair: one in a thousand pairs.
	falseOutbursts = 1e-3
	// leastOutburst is the least ratio of the power of an outburst to what is usual: 10 dB. A judgement, no source;
	// TestWhatHappensForAWhileIsTimed holds it.
	leastOutburst = 10
	// leastHeights are 2 s: in a shorter capture nothing is known to be usual.
	leastHeights = 400
	// classSize is how many stretches alike are needed to know what is usual of them: an outburst of 100 ms, all of it in
	// one class, is then still no tenth.
	classSize = 240
)

// faint is a power below that of rounding to 24 bits by 20 dB: −160 dBFS. Less counts as nothing.
const faint = 1e-16

// above returns by what power ratio the residual in each stretch exceeds what is usual there, and whether that is an outburst. skip marks
// the stretches that have a fault already and do not count for what is usual.
func above(heights []residual.Stretch, skip []bool, frames float64) (ratio []float64, out []bool) {
	n := len(heights)
	ratio, out = make([]float64, n), make([]bool, n)
	if n < leastHeights {
		return ratio, out
	}
	rest, level, treble := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range heights {
		rest[i] = math.Log(float64(heights[i].Rem) + faint*frames)
		for _, h := range heights[max(0, i-1):min(n, i+2)] { // filters spread what they leave
			level[i] = max(level[i], float64(h.A))
			treble[i] = max(treble[i], float64(h.Bending))
		}
		level[i], treble[i] = math.Log(level[i]+faint*frames), math.Log(treble[i]+faint*frames)
	}
	byLevel, byTreble, near := classes(level, rest, skip), classes(treble, rest, skip), neighbours(rest)
	for i := range heights {
		usualL, scatterL := byLevel.at(level[i])
		usualT, scatterT := byTreble.at(treble[i])
		usual := max(usualL, usualT)
		if !skip[i] { // a fault that lasts is usual in its own neighbourhood
			usual = max(usual, near[i])
		}
		// Exceeded by chance falseOutbursts times in n, where a tenth of them exceeds one scatter.
		limit := max(scatterL, scatterT) * (1 + math.Log(0.1*float64(n)/falseOutbursts)/math.Log(5))
		ratio[i] = math.Exp(rest[i] - usual)
		out[i] = rest[i]-usual > max(limit, math.Log(leastOutburst))
	}
	return ratio, out
}

// class is what is usual of stretches that are alike: the medians of what they are alike in and of the residual, and by
// how much the uppermost tenth is above that median.
type class struct{ like, usual, scatter float64 }

type classList []class

// classes sorts stretches by what they are like into classes of equal size.
func classes(like, rest []float64, skip []bool) classList {
	var order []int
	for i := range like {
		if !skip[i] {
			order = append(order, i)
		}
	}
	sort.Slice(order, func(i, j int) bool { return like[order[i]] < like[order[j]] })
	count := max(1, len(order)/classSize)
	var all classList
	for k := range count {
		part := order[k*len(order)/count : (k+1)*len(order)/count]
		if len(part) == 0 {
			break
		}
		values := make([]float64, len(part))
		for i, j := range part {
			values[i] = rest[j]
		}
		sort.Float64s(values)
		usual := values[len(values)/2]
		all = append(all, class{like[part[len(part)/2]], usual, values[len(values)*9/10] - usual})
	}
	return all
}

// at returns what is usual of a stretch that is like x, between two classes in proportion. Above the last, the residual is
// taken to rise as the music does.
func (all classList) at(x float64) (usual, scatter float64) {
	if len(all) == 0 {
		return 0, math.Inf(1)
	}
	i := sort.Search(len(all), func(i int) bool { return all[i].like >= x })
	switch {
	case i == 0:
		return all[0].usual, all[0].scatter
	case i == len(all):
		last := all[i-1]
		return last.usual + x - last.like, last.scatter
	}
	p, q := all[i-1], all[i]
	share := (x - p.like) / (q.like - p.like + 1e-300)
	return p.usual + share*(q.usual-p.usual), max(p.scatter, q.scatter)
}

// neighbours returns the largest of the medians of the quarter of a second around a stretch and of those before
// and after.
func neighbours(rest []float64) []float64 {
	const size = 50
	var medians []float64
	for from := 0; from < len(rest); from += size {
		medians = append(medians, spectrum.Median(rest[from:min(len(rest), from+size)]))
	}
	out := make([]float64, len(rest))
	for i := range out {
		k := i / size
		out[i] = medians[k]
		for _, m := range medians[max(0, k-1):min(len(medians), k+2)] {
			out[i] = max(out[i], m)
		}
	}
	return out
}
