package match

import "gonum.org/v1/gonum/floats"

// height holds what one channel does over a stretch of 5 ms: the energies of A, of B as corrected, and of the audible part
// of R = A − B, free of direct voltage; and that of A's second difference, which shows the treble. Single precision, since
// there are hundreds a second.
type height struct {
	at                 int
	a, b, rem, bending float32
}

// frame holds sums over a 5 ms stretch, in the audible band: the energies of A and of R, and R·A, R·A′ and A′² with A′
// the slope of A.
type frame struct {
	at                    int
	a, rem, ra, rd, slope float64
}

// heights notes the energies of the part of a block that no other block holds, and how what is left depends on the
// height of the wave.
func (t *transformer) heights(j job) {
	from, to := j.fresh[0], j.fresh[1]
	count := max(1, (to-from)*200/int(t.sum.rate))
	direct, directB := make([]float64, len(t.y)), make([]float64, len(t.y))
	for c, rem := range t.y {
		direct[c], directB[c] = steady(j.a[c], rem, count)
	}
	t.src.heard(t.low, t.padded, t.y, direct, t.every)
	for c := range t.y {
		a, rem, low := j.a[c], t.y[c], t.low[c]
		t.sum.curves[c].add(a[from:to], rem[from:to], t.src.peak)
		for i := range count {
			lo, hi := from+i*(to-from)/count, from+(i+1)*(to-from)/count
			h := height{at: j.at + lo}
			h.add(a[lo:hi], rem[lo:hi], directB[c]+direct[c], directB[c])
			for _, r := range low[lo/t.every : min(len(low), hi/t.every)] {
				h.rem += float32(r * r * float64(t.every))
			}
			t.sum.heights[c] = append(t.sum.heights[c], h)
		}
	}
}

// add takes a stretch of A and of R, and the direct voltages of A and B.
func (h *height) add(a, rem []float64, directA, directB float64) {
	var aa, bb, bending float64
	for i, v := range a {
		x, y := v-directA, v-rem[i]-directB
		aa += x * x
		bb += y * y
		if i >= 2 {
			d := v - 2*a[i-1] + a[i-2]
			bending += d * d
		}
	}
	h.a, h.b, h.bending = float32(aa), float32(bb), float32(bending)
}

// steady returns the direct voltages of rem and of a − rem, the median of the means of so many parts: what happens in a few of
// them does not move it.
func steady(a, rem []float64, parts int) (ofRem, ofB float64) {
	means, rest := make([]float64, parts), make([]float64, parts)
	for i := range means {
		lo, hi := i*len(a)/parts, (i+1)*len(a)/parts
		means[i] = floats.Sum(rem[lo:hi]) / float64(hi-lo)
		rest[i] = floats.Sum(a[lo:hi])/float64(hi-lo) - means[i]
	}
	return median(means), median(rest)
}

// frames notes the sums of the middle half of a block from its spectra, of which it takes what is heard: beyond the
// band edge the interpolator is not exact, and what it leaves of the music there is none of the captures'. So the block is had back
// at no higher a rate than that takes. The window is taken out again. It mutates the spectra.
func (t *transformer) frames(at int, fa, fr [][]complex128) {
	m := t.inverse.Len()
	every := t.sum.n / m
	step := max(1, int(t.sum.rate)/(200*every))
	first := len(t.sum.frames)
	for c := range fa {
		a, r := t.heard(t.back[0], fa[c]), t.heard(t.back[1], fr[c])
		for k, from := 0, m/4; from+step <= 3*m/4; k, from = k+1, from+step {
			if c == 0 {
				t.sum.frames = append(t.sum.frames, frame{at: at + from*every})
			}
			t.sum.frames[first+k].add(a[from-1:from+step+1], r[from-1:from+step+1])
		}
	}
}

// heard writes the middle half of the block of which bins is the spectrum, and a sample more at either end, to dst.
func (t *transformer) heard(dst []float64, bins []complex128) []float64 {
	m, every := t.inverse.Len(), t.sum.n/t.inverse.Len()
	lo, hi := t.sum.bins(lowHz, highHz)
	clear(bins[:lo])
	clear(bins[hi:])
	t.inverse.Inverse(dst, bins[:m/2+1])
	for i := m/4 - 1; i <= 3*m/4; i++ {
		dst[i] /= t.window[i*every]
	}
	return dst
}

// add takes a stretch of A and of R with one more sample at either end.
func (f *frame) add(a, rem []float64) {
	for i := 1; i+1 < len(a); i++ {
		r, d := rem[i], a[i+1]-a[i-1]
		f.a += a[i] * a[i]
		f.rem += r * r
		f.ra += r * a[i]
		f.rd += r * d
		f.slope += d * d
	}
}
