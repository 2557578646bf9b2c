package match

import (
	"fmt"
	"math"

	"heardiff/measure/interpolate"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// rivalReachS is how far around a place a better one is looked for, in seconds: several periods of the lowest notes.
const rivalReachS = 0.1

// rivalFrames is the longest stretch that is looked at, from where the captures begin to overlap.
const rivalFrames = 1 << 20

// surelyPlaced is the null that no neighbouring place of a steady tone could give: a period of 100 Hz in fifteen minutes
// makes −50 dB.
const surelyPlaced = -50

// reconsider looks again at a place whose null is shallow. On a sustained tone every whole period is nearly as good to
// the anchors, which weigh alike; only attack and decay tell, and they count when the whole stretch is correlated at
// once. The deeper null of the two is taken, and how well the next best place does sets the confidence.
func (s *search) reconsider(first aligned, r outcome) (outcome, error) {
	if r.NullDB < surelyPlaced {
		return r, nil
	}
	lag, ratio, err := rivalOf(s.a, s.b, first)
	if err != nil {
		return r, fmt.Errorf("match: %w", err)
	}
	first.confidence = math.Min(first.confidence, 1-ratio)
	if math.Abs(float64(lag)) > 3 {
		second := first
		second.offset += float64(lag)
		second.jump = "" // said of the place that is given up
		if err := second.refine(s); err != nil {
			return r, err
		}
		again, err := s.settle(second)
		if err != nil {
			return r, err
		}
		if again.NullDB < r.NullDB {
			return again, nil
		}
	}
	r.Result = report(s.a.Format(), first, r.left) // with the doubt about the place
	return r, nil
}

// rivalOf correlates the captures, A's frames against B's as the line places them, over all displacements within
// rivalReachS. It returns the best displacement, and how well the best of the others does relative to it, 0 to 1:
// others are local peaks more than three frames away.
func rivalOf(a, b pcm.Reader, f aligned) (lag int, ratio float64, err error) {
	rate := a.Format().Rate
	reach := int(rivalReachS * rate.Hz())
	n := min(rivalFrames, f.overlap[1]-f.overlap[0])
	if n < 4*reach {
		return 0, 0, nil
	}
	x, err := mono(a, f.overlap[0], n, false)
	if err != nil {
		return 0, 0, err
	}
	// B is read at the nearest frame of the line: a fraction of a frame is no matter here, drift over seconds is.
	start := f.overlap[0] + int(math.Round(f.shift(float64(f.overlap[0])))) - reach
	drifted := int(math.Ceil(math.Abs(f.drift)*float64(n))) + 1
	raw, err := mono(b, start-drifted, n+2*(reach+drifted), f.swapped)
	if err != nil {
		return 0, 0, err
	}
	y := make([]float64, n+2*reach)
	for i := range y {
		y[i] = f.sign * raw[i+drifted+int(math.Round(f.drift*float64(i-reach)))]
	}
	c := correlate(x, y, reach)
	lag, ratio = peaks(c, reach)
	return lag, ratio, nil
}

// mono reads n frames from the one given, silence outside the file, channels mixed.
func mono(r pcm.Reader, from, n int, swapped bool) ([]float64, error) {
	planes := pcm.Planes(r.Format().Channels, n)
	if err := interpolate.ReadAround(r, planes, from); err != nil {
		return nil, err
	}
	if swapped {
		planes[0], planes[1] = planes[1], planes[0]
	}
	out := make([]float64, n)
	mix(out, planes, 0)
	return out, nil
}

// correlate returns Σ x[i]·y[i+k] for k from 0 to 2·reach, each relative to the energies of both.
func correlate(x, y []float64, reach int) []float64 {
	size := 2
	for size < len(y) {
		size *= 2
	}
	plan := spectrum.NewPlan(size)
	fx, fy := plan.Forward(nil, x), plan.Forward(nil, y)
	for k := range fx {
		fx[k] = complex(real(fx[k]), -imag(fx[k])) * fy[k]
	}
	all := plan.Inverse(nil, fx)
	c := make([]float64, 2*reach+1)
	// The energy of the part of y that x meets, kept up to date as it slides.
	xx, yy := energy(x), energy(y[:len(x)])
	for k := range c {
		if xx > 0 && yy > 0 {
			c[k] = all[k] / math.Sqrt(xx*yy)
		}
		if k < 2*reach {
			yy += y[k+len(x)]*y[k+len(x)] - y[k]*y[k]
		}
	}
	return c
}

// peaks returns the displacement of the largest value of c, whose middle is displacement 0, and the largest other local
// peak relative to it.
func peaks(c []float64, reach int) (lag int, ratio float64) {
	best := 0
	for k, v := range c {
		if v > c[best] {
			best = k
		}
	}
	if !(c[best] > 0) {
		return 0, 0
	}
	for k := 1; k+1 < len(c); k++ {
		if c[k] >= c[k-1] && c[k] >= c[k+1] && (k < best-3 || k > best+3) {
			ratio = math.Max(ratio, c[k]/c[best])
		}
	}
	return best - reach, ratio
}
