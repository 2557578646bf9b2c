package residual

import (
	"math"
	"sort"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// mostBlocks is how many blocks are read a second time at the most: the loudest, where the peaks are.
const mostBlocks = 500

// NonlinearCurves reads the captures a second time and returns, by channel, the curves of the residual without what one fixed filter makes of A.
// Blocks for which skip, given their frames of A, is true are left out, and so are those that cannot be read this time.
func (r *Record) NonlinearCurves(skip func(from, to int) bool) []Curve {
	curves := make([]Curve, len(r.sums))
	filter := make([][]complex128, len(r.sums))
	for c := range filter {
		filter[c] = r.filter(c)
	}
	t := newTransformer(newRecord(r.Rate, len(r.sums), r.N, r.Gain), r.source)
	inverse := spectrum.NewPlan(r.N)
	plain, back := pcm.Planes(len(r.sums), r.N), make([]float64, r.N)
	for _, at := range r.loudest(skip) {
		j, err := r.source.read(at, r.N)
		if err != nil {
			continue
		}
		r.source.residualOf(t.y, j, t.shift, r.Gain)
		for c := range j.a {
			copy(plain[c], j.a[c])
			audible.Window(j.a[c], t.window)
			audible.Window(t.y[c], t.window)
		}
		fa, fr := t.planA.Forward(j.a), t.planR.Forward(t.y)
		for c := range fa {
			r.unfilter(fr[c], fa[c], filter[c])
			inverse.Inverse(back, fr[c])
			lo, hi := r.N/4, 3*r.N/4
			for i := lo; i < hi; i++ {
				back[i] /= t.window[i]
			}
			curves[c].Add(plain[c][lo:hi], back[lo:hi], r.source.peak)
		}
	}
	return curves
}

// unfilter subtracts from rem what the filter makes of a, and clears what is not audible, where the interpolator is not exact.
func (r *Record) unfilter(rem, a, filter []complex128) {
	lo, hi := r.Bins(audible.LowHz, audible.HighHz)
	clear(rem[:lo])
	clear(rem[hi:])
	for k := lo; k < hi; k++ {
		rem[k] -= filter[k] * a[k]
	}
}

// filter returns the part of A in R at each bin of channel c, averaged over a twelfth of an octave, and three bins at
// the least.
func (r *Record) filter(c int) []complex128 {
	n := len(r.sums[c])
	aa, ar := make([]float64, n+1), make([]complex128, n+1)
	for k := range n {
		aa[k+1], ar[k+1] = aa[k]+r.sums[c][k].aa, ar[k]+r.sums[c][k].ar
	}
	out := make([]complex128, n)
	for k := range out {
		reach := 1 + int(float64(k)*(math.Exp2(1.0/24)-1))
		lo, hi := max(0, k-reach), min(n, k+reach+1)
		if power := aa[hi] - aa[lo]; power > 0 {
			out[k] = (ar[hi] - ar[lo]) / complex(power, 0)
		}
	}
	return out
}

// loudest returns where blocks begin that overlap by half and are not to be skipped, the loudest where there are very many.
func (r *Record) loudest(skip func(from, to int) bool) []int {
	var places []int
	for at := r.source.first; at+r.N <= r.source.end; at += r.N / 2 {
		places = append(places, at)
	}
	level := make([]float64, len(places))
	for _, stretches := range r.Stretches {
		for _, h := range stretches {
			// The middle half of a block counts.
			if i := (h.At - r.source.first - r.N/4) / (r.N / 2); i >= 0 && i < len(level) {
				level[i] = max(level[i], float64(h.A+h.B))
			}
		}
	}
	order := make([]int, 0, len(places))
	for i, at := range places {
		if level[i] > 0 && !skip(at, at+r.N) {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return level[order[i]] > level[order[j]] })
	order = order[:min(len(order), mostBlocks)]
	sort.Ints(order)
	out := make([]int, len(order))
	for i, k := range order {
		out[i] = places[k]
	}
	return out
}
