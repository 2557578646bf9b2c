package residual

import "math"

// Curve is the residual against the instantaneous height of the wave: captures that clip fall behind at its peaks.
type Curve [curveSteps]struct{ Count, Height, Behind, Square, sum, Signs float64 }

const curveSteps = 32

// Add takes samples of A and of R = A − corrected B. Their height, as a part of peak, is that of the mean of A and
// B, so that noise in either favours neither.
func (c *Curve) Add(a, rem []float64, peak float64) {
	if !(peak > 0) {
		return
	}
	scale := curveSteps / peak
	for i, v := range a {
		m := v - rem[i]/2
		h := math.Abs(m)
		r := math.Copysign(rem[i], rem[i]*m)
		p := &c[min(curveSteps-1, int(h*scale))]
		p.Count++
		p.Height += h
		p.Behind += r
		p.Square += r * r
		p.sum += rem[i]
		p.Signs += math.Copysign(1, m)
	}
}

func (c *Curve) merge(d Curve) {
	for i, p := range d {
		c[i].Count += p.Count
		c[i].Height += p.Height
		c[i].Behind += p.Behind
		c[i].Square += p.Square
		c[i].sum += p.sum
		c[i].Signs += p.Signs
	}
}

// Direct returns the direct voltage of the residual.
func (c *Curve) Direct() float64 {
	var sum, count float64
	for _, p := range c {
		sum, count = sum+p.sum, count+p.Count
	}
	return sum / (count + 1e-300)
}
