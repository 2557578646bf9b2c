package interpolate

import "gonum.org/v1/gonum/floats"

// doubling makes a sequence of twice the rate out of another: its values at whole and at half frames. The weights of samples equally far
// from a place are the same.
type doubling struct {
	whole []float64 // weights of the samples around a frame, nil where it is the sample itself
	half  []float64 // of those around the middle between two
	reach int       // frames to either side
}

func (s shape) doubling() *doubling {
	d := &doubling{reach: s.half}
	for j := 1 - s.half; j <= s.half; j++ {
		d.half = append(d.half, s.at(float64(j)-0.5))
		if s.cutoff != 1 && j < s.half { // as many to either side
			d.whole = append(d.whole, s.at(float64(j)))
		}
	}
	return d
}

// apply fills dst with the doubled sequence of x, from the first frame on that has reach − 1 frames before it.
func (d *doubling) apply(dst, x []float64) {
	weigh(dst[1:], x, d.half)
	if d.whole != nil {
		weigh(dst, x, d.whole)
		return
	}
	for i := range len(dst) / 2 {
		dst[2*i] = x[i+d.reach-1]
	}
}

// evaluate fills each channel of dst with the values of x at instants that are all whole frames.
func (d *doubling) evaluate(dst, x [][]float64, at []instant) {
	for c, out := range dst {
		for i, s := range at {
			if d.whole == nil {
				out[i] = x[c][s.at]
			} else {
				out[i] = floats.Dot(d.whole, x[c][s.at-d.reach+1:s.at+d.reach])
			}
		}
	}
}

// weigh fills every other value of dst with the weighted sum of the samples of x from each on. Samples that weigh the same are added first,
// and four sums go through the samples together, which loads each sample once for all four.
func weigh(dst, x, weights []float64) {
	n := len(weights)
	pairs := weights[:n/2]
	i, last := 0, len(dst)-7 // for four sums
	for ; 2*i <= last; i += 4 {
		v := x[i : i+n+3]
		left, right := v[3:][:len(pairs)], v[n-len(pairs) : n][:len(pairs)]
		l0, l1, l2 := v[0], v[1], v[2]
		r1, r2, r3 := v[n], v[n+1], v[n+2]
		var s0, s1, s2, s3 float64
		for j, w := range pairs {
			l3, r0 := left[j], right[len(right)-1-j]
			s0 += w * (l0 + r0)
			s1 += w * (l1 + r1)
			s2 += w * (l2 + r2)
			s3 += w * (l3 + r3)
			l0, l1, l2 = l1, l2, l3
			r1, r2, r3 = r0, r1, r2
		}
		if n%2 == 1 {
			w := weights[n/2]
			s0, s1, s2, s3 = s0+w*l0, s1+w*l1, s2+w*l2, s3+w*v[n/2+3]
		}
		dst[2*i], dst[2*i+2], dst[2*i+4], dst[2*i+6] = s0, s1, s2, s3
	}
	for ; 2*i < len(dst); i++ {
		dst[2*i] = floats.Dot(weights, x[i:i+n])
	}
}
