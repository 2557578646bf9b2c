package align

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// SamePlaceFrames is how far a displacement may be from the line for both to be one place. A judgement, no source; TestSustainedTonesAreNotPlacedAPeriodApart holds it.
const SamePlaceFrames = 3

// RivalFrames is the longest stretch that is correlated at once, and reachesInStretch its least length as a multiple of the reach: in a
// shorter one the ends decide. A judgement, no source; TestAShortStretchIsNotCorrelated holds the second.
const RivalFrames, reachesInStretch = 1 << 20, 4

// BestRival correlates the captures over a stretch of A, its frames against B's as the line places them, over all displacements
// within reach. It returns the best displacement, the best of the others, and how well that does relative to it, 0 to 1:
// others are local peaks more than SamePlaceFrames away.
func (s *Search) BestRival(f Line, stretch [2]int, reach int) (lag, other int, ratio float64, err error) {
	n := min(RivalFrames, stretch[1]-stretch[0])
	if n < reachesInStretch*reach {
		return 0, 0, 0, nil
	}
	x, err := readMix(s.a, stretch[0], n, asRecorded)
	if err != nil {
		return 0, 0, 0, err
	}
	// B is read at the nearest frame of the line: a fraction of a frame does not matter here, drift over seconds does.
	start := stretch[0] + int(math.Round(f.Shift(float64(stretch[0])))) - reach
	drifted := int(math.Ceil(math.Abs(f.Drift)*float64(n+2*reach))) + 1
	y, err := readMix(s.b, start-drifted, n+2*(reach+drifted), f)
	if err != nil {
		return 0, 0, 0, err
	}
	for i := range n + 2*reach { // in place: a frame comes from itself or a later one
		y[i] = y[i+drifted+int(math.Round(f.Drift*float64(i-reach)))]
	}
	lag, other, ratio = peaks(correlate(x, y[:n+2*reach], reach), reach)
	return lag, other, ratio, nil
}

// asRecorded is the wiring of A.
var asRecorded = Line{Sign: 1}

// readMix reads n frames from the one given, silence outside the file, channels wired as a line says and mixed.
func readMix(r pcm.Reader, from, n int, wired Line) ([]float64, error) {
	planes, out := pcm.Planes(r.Format().Channels, n), make([]float64, n)
	return out, wired.readMix(out, planes, r, from)
}

// readMix fills dst with the mix of channels wired as l says; planes is room for as many frames.
func (l Line) readMix(dst []float64, planes [][]float64, r pcm.Reader, from int) error {
	if err := pcm.ReadAround(r, planes, from); err != nil {
		return err
	}
	if l.Swapped {
		planes[0], planes[1] = planes[1], planes[0]
	}
	for c, x := range planes {
		floats.Scale(l.signOf(c), x)
	}
	audible.Mix(dst, planes, 0)
	return nil
}

// correlate returns Σ x[i]·y[i+k] for k from 0 to 2·reach, each relative to the energies of both.
func correlate(x, y []float64, reach int) []float64 {
	m := spectrum.NewMatcher(x, spectrum.PowerOfTwo(max(2, len(y))))
	c := make([]float64, 2*reach+1)
	for k, yy := range m.Match(y)[:len(c)] {
		if m.Energy > 0 && yy > 0 {
			c[k] = m.Products[k] / math.Sqrt(m.Energy*yy)
		}
	}
	return c
}

// peaks returns the displacement of the largest value of c, whose middle is displacement 0, and of the largest other local
// peak, and how large that is relative to it, each between frames.
func peaks(c []float64, reach int) (lag, other int, ratio float64) {
	best, next := floats.MaxIdx(c), 0
	if !(c[best] > 0) {
		return 0, 0, 0
	}
	for k := 1; k+1 < len(c); k++ {
		if c[k] >= c[k-1] && c[k] >= c[k+1] && (k < best-SamePlaceFrames || k > best+SamePlaceFrames) {
			if r := vertex(c, k) / vertex(c, best); r > ratio {
				next, ratio = k, r
			}
		}
	}
	return best - reach, next - reach, math.Min(1, ratio)
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
