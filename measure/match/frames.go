package match

// height holds the energies of A and of B over a 5 ms stretch, as they are.
type height struct {
	at   int
	a, b float64
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
	step := max(1, int(t.sum.rate)/200)
	for from := 0; from+step <= t.sum.hop; from += step {
		h := height{at: j.at + from}
		for c := range t.y {
			for i := from; i < from+step; i++ {
				a, b := j.a[c][i], j.a[c][i]-t.y[c][i]
				h.a += a * a
				h.b += b * b
			}
			t.sum.curves[c].add(j.a[c][from:from+step], t.y[c][from:from+step], t.src.peak)
		}
		t.sum.heights = append(t.sum.heights, h)
	}
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
