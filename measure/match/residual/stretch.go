package residual

// Stretch holds the energies of one channel over 5 ms: of A, of B as corrected, and of the audible part of R = A − B, free of direct voltage;
// and of A's second difference, which shows the treble. Single precision, since there are hundreds a second.
type Stretch struct {
	At                 int
	A, B, Rem, Bending float32
}

// timingSums holds sums over a 5 ms stretch, in the audible band: the energies of A and of R, and R·A, R·A′ and A′² with A′
// the slope of A.
type timingSums struct {
	at                    int
	a, rem, ra, rd, slope float64
}

// add takes a stretch of A and of R, and the direct voltages of A and B.
func (h *Stretch) add(a, rem []float64, directA, directB float64) {
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
	h.A, h.B, h.Bending = float32(aa), float32(bb), float32(bending)
}

// add takes a stretch of A and of R with one more sample at either end.
func (f *timingSums) add(a, rem []float64) {
	for i := 1; i+1 < len(a); i++ {
		r, d := rem[i], a[i+1]-a[i-1]
		f.a += a[i] * a[i]
		f.rem += r * r
		f.ra += r * a[i]
		f.rd += r * d
		f.slope += d * d
	}
}
