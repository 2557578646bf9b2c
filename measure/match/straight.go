package match

import (
	"math"
	"sort"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// straight reads the captures again and returns the curves of what is left when what one fixed filter makes of A is taken
// out, by channel, where nothing happens for a while only. Of long captures it reads the loudest blocks, where the peaks
// are; what could be read before and cannot now is left out.
func (r *remainder) straight(events []event) []curve {
	curves := make([]curve, len(r.aa))
	filter := make([][]complex128, len(r.aa))
	for c := range filter {
		filter[c] = r.filter(c)
	}
	t := newTransformer(newRemainder(r.rate, len(r.aa), r.n, r.gain), r.src)
	inverse := spectrum.NewPlan(r.n)
	plain, back := pcm.Planes(len(r.aa), r.n), make([]float64, r.n)
	for _, at := range r.loudest(events) {
		j, err := r.src.read(at, r.n)
		if err != nil {
			continue
		}
		r.src.rest(t.y, j, t.shift, r.gain)
		for c := range j.a {
			copy(plain[c], j.a[c])
			windowed(j.a[c], t.window)
			windowed(t.y[c], t.window)
		}
		fa, fr := t.planA.forward(j.a), t.planR.forward(t.y)
		for c := range fa {
			r.unfilter(fr[c], fa[c], filter[c])
			inverse.Inverse(back, fr[c])
			lo, hi := r.n/4, 3*r.n/4
			for i := lo; i < hi; i++ {
				back[i] /= t.window[i]
			}
			curves[c].add(plain[c][lo:hi], back[lo:hi], r.src.peak)
		}
	}
	return curves
}

// unfilter takes what the filter makes of a out of rem, and what is not heard, where the interpolator is not exact.
func (r *remainder) unfilter(rem, a, filter []complex128) {
	lo, hi := r.bins(lowHz, highHz)
	clear(rem[:lo])
	clear(rem[hi:])
	for k := lo; k < hi; k++ {
		rem[k] -= filter[k] * a[k]
	}
}

// filter returns what of A stands in R at each bin of channel c, averaged over a twelfth of an octave, and three bins at
// the least.
func (r *remainder) filter(c int) []complex128 {
	n := len(r.aa[c])
	aa, ar := make([]float64, n+1), make([]complex128, n+1)
	for k := range n {
		aa[k+1], ar[k+1] = aa[k]+r.aa[c][k], ar[k]+r.ar[c][k]
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

// loudest returns where blocks begin that overlap by half and hold no event, the loudest where there are very many.
func (r *remainder) loudest(events []event) []int {
	const most = 500
	var places []int
	for at := r.src.from; at+r.n <= r.src.to; at += r.n / 2 {
		places = append(places, at)
	}
	level := make([]float64, len(places))
	for _, heights := range r.heights {
		for _, h := range heights {
			// The middle half of a block counts.
			if i := (h.at - r.src.from - r.n/4) / (r.n / 2); i >= 0 && i < len(level) {
				level[i] = max(level[i], float64(h.a+h.b))
			}
		}
	}
	for _, e := range events {
		for i, at := range places {
			if at < e.to && at+r.n > e.from {
				level[i] = 0
			}
		}
	}
	order := make([]int, 0, len(places))
	for i := range places {
		if level[i] > 0 {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return level[order[i]] > level[order[j]] })
	order = order[:min(len(order), most)]
	sort.Ints(order)
	out := make([]int, len(order))
	for i, k := range order {
		out[i] = places[k]
	}
	return out
}
