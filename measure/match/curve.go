package match

import "math"

// curve shows how what is left depends on the height of the wave: captures that clip fall behind at its peaks.
type curve [levels]struct{ count, height, behind, square, sum, signs float64 }

const levels = 32

// add takes samples of A and of R = A − corrected B. Their height is that of the mean of A and B, so that noise in
// either favours none, in parts of peak.
func (c *curve) add(a, rem []float64, peak float64) {
	if !(peak > 0) {
		return
	}
	scale := levels / peak
	for i, v := range a {
		m := v - rem[i]/2
		h := math.Abs(m)
		r := math.Copysign(rem[i], rem[i]*m)
		p := &c[min(levels-1, int(h*scale))]
		p.count++
		p.height += h
		p.behind += r
		p.square += r * r
		p.sum += rem[i]
		p.signs += math.Copysign(1, m)
	}
}

func (c *curve) merge(d curve) {
	for i, p := range d {
		c[i].count += p.count
		c[i].height += p.height
		c[i].behind += p.behind
		c[i].square += p.square
		c[i].sum += p.sum
		c[i].signs += p.signs
	}
}

// likeEnough is the correlation from which on channels are so much alike that peaks of one should be peaks of the other.
const likeEnough = 0.9

// compressed says which capture falls behind at the peaks, in the channel where it does so most. Channels are looked at
// one by one: where one is louder than in A, the peaks are mostly its own. A filter makes peaks of its own, and so does a
// channel that drops out: what seems to fall behind must still do so with the linear part taken out, clear of events.
func (r *remainder) compressed(own []channel, events []event, say func(string, ...any)) {
	most := furthestBehind(r.curves, own)
	if most != 0 {
		most = furthestBehind(r.straight(events), own)
	}
	switch {
	case most > 0:
		say("B falls behind by %.0f %% at the peaks of A: B clips or is compressed", 100*most)
	case most < 0:
		say("A falls behind by %.0f %% at the peaks of B: A clips or is compressed", -100*most)
	}
}

func furthestBehind(curves []curve, own []channel) float64 {
	most := 0.0
	for i, c := range curves {
		if own[i].correlation < likeEnough {
			continue
		}
		if d := c.behind(); math.Abs(d) > math.Abs(most) {
			most = d
		}
	}
	return most
}

// behind returns by what share B falls behind at the peaks, negative where A does; 0 unless it is more than 2 % against
// the middle and five standard errors.
func (c *curve) behind() float64 {
	top := levels - 1
	for top > 0 && c[top].count < 10 {
		top--
	}
	if top < 8 {
		return 0
	}
	direct := c.direct() // a difference in direct voltage is none at the peaks
	behind := func(from, to int) (share, error float64) {
		var height, rem, square float64
		for _, p := range c[from:to] {
			height, rem, square = height+p.height, rem+p.behind-direct*p.signs, square+p.square
		}
		return rem / height, math.Sqrt(square) / height
	}
	high, error := behind(top-top/8, top+1)
	middle, _ := behind(top/4, top/2)
	if d := high - middle; math.Abs(d) >= math.Max(0.02, 5*error) {
		return d
	}
	return 0
}

// direct returns the direct voltage of what is left.
func (c *curve) direct() float64 {
	var sum, count float64
	for _, p := range c {
		sum, count = sum+p.sum, count+p.count
	}
	return sum / (count + 1e-300)
}
