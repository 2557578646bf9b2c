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

// doubt is what is known of the next best place.
type doubt struct {
	share float64 // of what this place explains: the most that one explains that was not followed to its end
	left  float64 // what is left, see outcome.unexplained, at the best of those that were; +Inf where none was
	times float64 // how many times as much as here is left at the best repetition that was glanced at; 0 where none was
}

// doubtOf returns what the anchors say of the places that are not tried in full.
func (s *search) doubtOf(p placed) doubt {
	d := doubt{left: math.Inf(1), times: s.beside}
	for _, q := range s.places {
		if s.elsewhere(p, q) && !s.near(q) {
			d.share = max(d.share, q.explained/p.explained)
		}
	}
	return d
}

// followed notes what is left at another place.
func (d *doubt) followed(o outcome) { d.left = min(d.left, o.unexplained()) }

// unexplained returns the power of the null, relative, and with it the share of the overlap that had to be left out: of
// a steady tone any stretch nulls anywhere, once attack and end are taken for jumps.
func (o outcome) unexplained() float64 { return math.Pow(10, o.NullDB/10) + o.found.skipped }

// confidence returns 1 − left/(left at the next best place). A place with q left explains 1/(1 + q) of B.
func (d doubt) confidence(left float64) float64 {
	next := d.left
	if d.share > 0 {
		next = min(next, (1+left)/d.share-1)
	}
	if d.times > 0 {
		next = min(next, left*d.times)
	}
	if next <= left {
		return 0
	}
	return 1 - (left+nothing)/(next+nothing)
}

// nothing is what is left at the least: two places at which less than this is, −90 dB, are as good as each other. No chain's own noise
// is that low in all of the band, and the rounding of 24 bits alone may leave more. A judgement, no source.
const nothing = 1e-9

// reconsider looks again at a place whose null is shallow. On a sustained tone every whole period is nearly as good to
// the anchors, which weigh alike; only attack and decay tell, and they count when the whole stretch is correlated at
// once. The deeper null of the two is taken, and how well the next best place does is noted.
func (s *search) reconsider(r outcome) (outcome, error) {
	if r.NullDB < surelyPlaced {
		if err := r.found.beside(s, s.rivalReach()); err != nil {
			return r, err
		}
		return s.again(r), nil
	}
	lag, ratio, err := rivalOf(s.a, s.b, r.found, r.found.overlap, s.rivalReach())
	if err != nil {
		return r, fmt.Errorf("match: %w", err)
	}
	if math.Abs(float64(lag)) <= 3 {
		r.found.share = max(r.found.share, ratio*ratio)
		return s.again(r), nil
	}
	second := r.found
	second.offset += float64(lag)
	second.jump = "" // said of the place that is given up
	if err := second.refine(s); err != nil {
		return r, err
	}
	other, err := s.settle(second)
	if err != nil {
		return r, err
	}
	if other.NullDB < r.NullDB {
		r, other = other, r
	}
	r.found.followed(other)
	return s.again(r), nil
}

// beside notes how well the best place within reach does where both captures go on all the while: a file's ends are no
// attack and no decay.
func (f *aligned) beside(s *search, reach int) error {
	lag, ratio, err := rivalOf(s.a, s.b, *f, [2]int{f.overlap[0] + reach, f.overlap[1] - reach}, reach)
	if err != nil {
		return fmt.Errorf("match: %w", err)
	}
	if math.Abs(float64(lag)) > 3 {
		ratio = 1
	}
	f.share = max(f.share, ratio*ratio)
	return nil
}

func (s *search) rivalReach() int { return int(rivalReachS * s.rate.Hz()) }

// rivalOf correlates the captures over a stretch of A, its frames against B's as the line places them, over all displacements
// within reach. It returns the best displacement, and how well the best of the others does relative to it, 0 to 1:
// others are local peaks more than three frames away.
func rivalOf(a, b pcm.Reader, f aligned, stretch [2]int, reach int) (lag int, ratio float64, err error) {
	n := min(rivalFrames, stretch[1]-stretch[0])
	if n < 4*reach {
		return 0, 0, nil
	}
	x, err := mono(a, stretch[0], n, false)
	if err != nil {
		return 0, 0, err
	}
	// B is read at the nearest frame of the line: a fraction of a frame is no matter here, drift over seconds is.
	start := stretch[0] + int(math.Round(f.shift(float64(stretch[0])))) - reach
	drifted := int(math.Ceil(math.Abs(f.drift)*float64(n+2*reach))) + 1
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
// peak relative to it, each between frames.
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
			ratio = math.Max(ratio, vertex(c, k)/vertex(c, best))
		}
	}
	return best - reach, math.Min(1, ratio)
}

// vertex returns the top of the parabola through c[k] and its neighbours.
func vertex(c []float64, k int) float64 {
	if k == 0 || k == len(c)-1 {
		return c[k]
	}
	slope, bend := (c[k+1]-c[k-1])/2, 2*c[k]-c[k-1]-c[k+1]
	if !(bend > 0) {
		return c[k]
	}
	return c[k] + slope*slope/(2*bend)
}
