package align

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/floats"

	"heardiff/measure/interpolate"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

const (
	// surveyFrames is how many frames of both captures are correlated at once: longer ones are thinned out to fewer frames a second.
	surveyFrames = 1 << 20
	// surveyFiner is how many times as finely their correlation is taken.
	surveyFiner = 4
	// surveyPass and surveyStopDB describe the low-pass applied before frames are left out: the end of its pass band as a share of the band
	// that remains, and its attenuation beyond.
	surveyPass, surveyStopDB = 0.6, 60
	// leastSurveyed is the share of A that B explains in the surveyed band from which on the band represents all the music. A judgement, no source;
	// TestASurveyNeedsHalfOfTheMusic holds it.
	leastSurveyed = 0.5
	// nearlyAll is the share of what the best displacement explains from which on another is looked at. A judgement, no source;
	// TestASustainedChordIsNeverMisplacedSilently holds it.
	nearlyAll = 0.95
	// leastOfOverlap is the share of the overlap, in frames and in either capture's energy, that must remain at another displacement: what is
	// silent fits everywhere. A judgement, no source; TestSilenceSaysNothingOfThePlace holds it.
	leastOfOverlap = 0.25
	// surveyError is the error of what is explained, by the parabola through correlations a quarter of a frame apart (ω⁴/384 at ω a step), and a
	// frame more or less at the ends.
	surveyError = 3e-5
	// mostSurveyed is how many displacements are looked at: a drone may have thousands.
	mostSurveyed = 48
)

// Displaced is another place of B: so many frames later than a line, with the residual of a glance relative to the one at the line itself.
type Displaced struct {
	Frames int
	Ratio  float64
}

// Elsewhere returns the places, over both captures from end to end, at which B nulls nearly as well as where it lies, the deepest null
// first. What swells and repeats, as a pad does, has neither an attack nor a course to be found by.
func (s *Search) Elsewhere(f Alignment) ([]Displaced, error) {
	v, err := s.newSurvey(f)
	if err != nil {
		return nil, err
	}
	peaks := v.peaks(int(s.leastFrames))
	if len(peaks) == 0 {
		return nil, nil
	}
	here, err := s.Glance(f.Line)
	if errors.Is(err, ErrUnrelated) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []Displaced
	for _, p := range peaks {
		residual, err := s.Glance(f.Later(p.frames))
		if errors.Is(err, ErrUnrelated) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, Displaced{p.frames, max(residual/here, p.ratio)})
	}
	slices.SortStableFunc(out, func(a, b Displaced) int { return cmp.Compare(a.Ratio, b.Ratio) })
	return out, nil
}

// survey holds both captures thinned out, their channels mixed and B evaluated along the line, so that one displacement is the same all along.
type survey struct {
	every int       // frames to one that is kept
	a, b  []float64 // frame i of b is at the same instant as frame i + ahead of a
	ahead int
}

func (s *Search) newSurvey(f Alignment) (survey, error) {
	from, to := f.Overlap[0], f.Overlap[1]
	every := (to - from + s.b.Frames() + surveyFrames - 1) / surveyFrames
	v := survey{every: every, ahead: int(math.Ceil((-f.Offset/(1+f.Drift) - float64(from)) / float64(every)))}
	kernel := interpolate.Must(interpolate.Config{Pass: surveyPass, ErrorDB: -100})
	var both errgroup.Group
	both.Go(func() (err error) {
		v.a, err = thinned(s.a, from, (to-from)/every, every, asRecorded)
		return err
	})
	both.Go(func() error {
		margin := kernel.Half() + 1
		n := int(float64(s.b.Frames()) / (1 + f.Drift) / float64(every))
		start := f.Shift(float64(from+v.ahead*every)) + float64(from+v.ahead*every) // frame of B at the first of b
		raw, err := thinned(s.b, -margin*every, s.b.Frames()/every+2*margin+2, every, f.Line)
		if err != nil {
			return err
		}
		shift := make([]float64, n)
		for i := range shift {
			shift[i] = start/float64(every) + f.Drift*float64(i)
		}
		v.b = make([]float64, n)
		kernel.Shift([][]float64{v.b}, [][]float64{raw}, margin, shift)
		return nil
	})
	return v, both.Wait()
}

// thinned returns n frames of the mix of a capture's channels, wired as a line says, less their mean: every every-th from the one given.
func thinned(r pcm.Reader, from, n, every int, wired Line) ([]float64, error) {
	taps := []float64{1}
	if every > 1 {
		rate := 1 / float64(every)
		taps = spectrum.LowPass(spectrum.KaiserLength(surveyStopDB, rate*(1-surveyPass)), rate/2, surveyStopDB)
	}
	const atOnce = 1024
	planes := pcm.Planes(r.Format().Channels, (atOnce-1)*every+len(taps))
	mix, out := make([]float64, len(planes[0])), make([]float64, n)
	for first := 0; first < n; first += atOnce {
		if err := wired.readMix(mix, planes, r, from+first*every-len(taps)/2); err != nil {
			return nil, err
		}
		for i := range min(atOnce, n-first) {
			out[first+i] = floats.Dot(taps, mix[i*every:i*every+len(taps)])
		}
	}
	floats.AddConst(-floats.Sum(out)/float64(max(1, n)), out)
	return out, nil
}

// peak is a displacement at which b explains nearly as much as where it lies best, and its residual relative to the one there, as far as
// correlations between frames show it.
type peak struct {
	frames           int
	explained, ratio float64
}

// peaks returns the displacements that leave least frames and a fair share of the present overlap, the best first.
func (v survey) peaks(least int) []peak {
	shortest := max(least/v.every, int(leastOfOverlap*float64(len(v.a))), 1)
	c, first := v.correlation(shortest)
	explained := func(k int) float64 { r := min(1, max(0, vertex(c, k))); return r * r }
	if len(c) == 0 {
		return nil
	}
	best := slices.Max(c)
	if best *= best; best < leastSurveyed {
		return nil
	}
	var out []peak
	for k := 1; k+1 < len(c); k++ {
		frames := (k*v.every)/surveyFiner + first*v.every
		if c[k] < c[k-1] || c[k] < c[k+1] || max(frames, -frames) <= max(SamePlaceFrames, v.every) {
			continue
		}
		if e := explained(k); e >= nearlyAll*best {
			out = append(out, peak{frames, e, (1 - e) / (1 - min(1, best) + surveyError)})
		}
	}
	slices.SortStableFunc(out, func(a, b peak) int { return cmp.Compare(b.explained, a.explained) })
	return out[:min(len(out), mostSurveyed)]
}

// correlation returns how a and b correlate, relative to the energies of what overlaps, at every displacement that leaves so many frames, and the first
// of them in frames of b. It is 0 where too little of either's energy overlaps.
func (v survey) correlation(shortest int) (c []float64, first int) {
	na, nb := len(v.a), len(v.b)
	if min(na, nb) < shortest {
		return nil, 0
	}
	n := spectrum.PowerOfTwo(na + nb)
	plan := spectrum.NewPlan(n)
	fa, fb := plan.Forward(nil, v.a), plan.Forward(nil, v.b)
	fine := make([]complex128, surveyFiner*n/2+1)
	for k := range fa {
		fine[k] = complex(real(fa[k]), -imag(fa[k])) * fb[k] * surveyFiner
	}
	all := spectrum.NewPlan(surveyFiner*n).Inverse(nil, fine)
	before := func(x []float64) []float64 { // energy before each frame
		sum := make([]float64, len(x)+1)
		accumulate(sum, x)
		return sum
	}
	ea, eb := before(v.a), before(v.b)
	leastA, leastB := leastOfOverlap*ea[na], leastOfOverlap*(eb[max(0, min(nb, na-v.ahead))]-eb[min(nb, max(0, -v.ahead))])
	last := nb - shortest // the displacement of a's first frame in b
	c = make([]float64, 0, surveyFiner*(last+na-shortest)+1)
	for k := surveyFiner * (shortest - na); k <= surveyFiner*last; k++ {
		by := int(math.Round(float64(k) / surveyFiner))
		from, to := max(0, -by), min(na, nb-by)
		energyA, energyB := ea[to]-ea[from], eb[to+by]-eb[from+by]
		if energyA < leastA || energyB < leastB {
			c = append(c, 0)
			continue
		}
		c = append(c, all[(k+surveyFiner*n)%(surveyFiner*n)]/math.Sqrt(energyA*energyB+1e-300))
	}
	return c, shortest - na + v.ahead
}
