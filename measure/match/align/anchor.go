package align

import (
	"math"
	"math/cmplx"
	"runtime"
	"sync"

	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/floats"
)

// anchor is a short stretch of A found in B, to half a frame.
type anchor struct {
	at    float64    // middle of the stretch, frames of A
	shift float64    // its displacement in B
	match float64    // normalized correlation there, 0 to 1
	level float64    // of A, relative
	mid   float64    // correlation of the sums of the two channels, with its sign
	side  float64    // and of their differences
	each  []float64  // correlation of every channel, with its sign
	cross [2]float64 // of channel 1 with 2 of B, and of 2 with 1
}

// maxAnchors is how many stretches are sought at a place.
const maxAnchors = 24

// silentPower is the mean square of a window in which there is nothing to find: −120 dBFS, below any recorder's noise. A judgement, no source;
// TestOneWordThatDiffersIsNotIdentical holds it.
const silentPower = 1e-12

// anchorSearch is how stretches of A are sought in B: n frames each, within reach frames of a line, in mixes of the channels.
type anchorSearch struct {
	a, b     pcm.Reader
	offset   float64
	n, reach int
	assumption
}

// assumption is what a search takes for granted.
type assumption struct {
	second float64 // the sign that B's second channel has in its mix
	drift  float64 // of the clocks, give or take driftReach
	treble bool    // what falls with frequency is levelled: sharper, but white noise is not much softer than music then
}

// find finds A at each place in B, in the order of the places; silent ones are left out. One goroutine reads at a time, all processors
// search.
func (h anchorSearch) find(places []int) ([]anchor, error) {
	anchors, audible := make([]anchor, len(places)), make([]bool, len(places))
	workers := min(runtime.GOMAXPROCS(0), len(places))
	var g errgroup.Group
	var turn sync.Mutex
	for w := range workers {
		g.Go(func() error {
			s := newSeeker(h)
			for i := w; i < len(places); i += workers {
				turn.Lock()
				err := s.read(places[i])
				turn.Unlock()
				if err != nil {
					return err
				}
				anchors[i], audible[i] = s.seek(places[i])
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	var found []anchor
	for i, k := range anchors {
		if audible[i] {
			found = append(found, k)
		}
	}
	return found, nil
}

type anchorSeeker struct {
	anchorSearch
	plan, finer      *spectrum.Plan // of twice the size
	windowA, windowB [][]float64
	raw              [][]float64 // of B, before it is stretched
	from             int         // the first frame of windowB
	ma, mb, mean     []float64
	cross            []complex128 // of the mixes, for finer
	c                []float64    // the correlation, every half frame
}

func newSeeker(h anchorSearch) *anchorSeeker {
	size, channels := spectrum.PowerOfTwo(h.n+2*h.reach), h.a.Format().Channels
	length := h.n + 2*h.reach
	return &anchorSeeker{
		raw:          pcm.Planes(channels, length+int(math.Abs(h.drift)*float64(length))+2),
		anchorSearch: h, plan: spectrum.NewPlan(size), finer: spectrum.NewPlan(2 * size), cross: make([]complex128, size+1), c: make([]float64, 2*size),
		windowA: pcm.Planes(channels, h.n), windowB: pcm.Planes(channels, h.n+2*h.reach),
		ma: make([]float64, h.n), mb: make([]float64, h.n+2*h.reach), mean: make([]float64, h.n),
	}
}

// read reads the n frames of A at at, and the frames of B in which they are sought.
func (s *anchorSeeker) read(at int) error {
	if err := pcm.ReadAround(s.a, s.windowA, at); err != nil {
		return err
	}
	s.from = at + int(math.Round(s.offset+s.drift*float64(at))) - s.reach
	if s.drift == 0 {
		return pcm.ReadAround(s.b, s.windowB, s.from)
	}
	if err := pcm.ReadAround(s.b, s.raw, s.from+min(0, s.stretched(len(s.windowB[0])))); err != nil {
		return err
	}
	for c, ch := range s.windowB {
		for i := range ch {
			ch[i] = s.raw[c][i+s.stretched(i)-min(0, s.stretched(len(ch)))]
		}
	}
	return nil
}

// stretched returns by how many frames frame i of the window of B is displaced, for the drift that is taken for granted: to the nearest,
// since a fraction of a frame does not matter here.
func (s *anchorSeeker) stretched(i int) int { return int(math.Round(s.drift * float64(i))) }

// seek finds what was read of A in what was read of B. ok is false where A is silent.
func (s *anchorSeeker) seek(at int) (anchor, bool) {
	audible.Mix(s.ma, s.windowA, 0)
	audible.Mix(s.mb, s.windowB, 0)
	if s.second < 0 {
		floats.Sub(s.mb, s.windowB[1]) // Mix has added half of it
	}
	if s.treble {
		emphasize(s.ma)
		emphasize(s.mb)
	}
	power := floats.Dot(s.ma, s.ma) / float64(s.n)
	if power < silentPower {
		return anchor{}, false
	}
	displaced := s.best()
	best := int(displaced)
	k := anchor{
		at:    float64(at) + float64(s.n)/2,
		shift: float64(s.from-at) + displaced + s.drift*(displaced+float64(s.n)/2),
		match: math.Abs(spectrum.Correlation(s.ma, s.mixAt(displaced))),
		level: math.Sqrt(power),
	}
	k.mid, k.side = s.wiring(best)
	for c := range s.windowA {
		k.each = append(k.each, spectrum.Correlation(s.windowA[c], s.windowB[c][best:best+s.n]))
	}
	if len(s.windowA) > 1 {
		k.cross = [2]float64{spectrum.Correlation(s.windowA[0], s.windowB[1][best:best+s.n]), spectrum.Correlation(s.windowA[1], s.windowB[0][best:best+s.n])}
	}
	return k, true
}

// farTaper is what is taken off a correlation at the ends of the search: of equal peaks, where a sustained tone repeats, the nearest is chosen.
const farTaper = 0.1

// best returns the displacement at which the mixes agree best, to half a frame: between two frames the true peak of a
// correlation that reaches up to Nyquist would look lower than that of another period of a sustained tone.
func (s *anchorSeeker) best() float64 {
	fa, fb := s.plan.Forward(nil, s.ma), s.plan.Forward(nil, s.mb)
	for i := range fa {
		z := cmplx.Conj(fa[i]) * fb[i]
		// Half-whitened: sharper than plain correlation, less ruled by noise than a full phase transform.
		s.cross[i] = z / complex(math.Sqrt(cmplx.Abs(z))+1e-30, 0)
	}
	s.finer.Inverse(s.c, s.cross)
	best, top := 0, 0.0
	for d := range 4*s.reach + 1 {
		v := math.Abs(s.c[d]) * (1 - farTaper*math.Abs(float64(d)/2-float64(s.reach))/float64(s.reach))
		if v > top {
			best, top = d, v
		}
	}
	return float64(best) / 2
}

// mixAt returns the mix of B at a displacement: between two frames their mean, whose phase is right at any frequency.
func (s *anchorSeeker) mixAt(displaced float64) []float64 {
	d := int(displaced)
	if displaced == float64(d) {
		return s.mb[d : d+s.n]
	}
	floats.AddTo(s.mean, s.mb[d:d+s.n], s.mb[d+1:d+1+s.n])
	floats.Scale(0.5, s.mean)
	return s.mean
}

// wiring returns the correlations of sum and difference of the first two channels at a displacement.
func (s *anchorSeeker) wiring(d int) (mid, side float64) {
	if len(s.windowA) == 1 {
		return spectrum.Correlation(s.windowA[0], s.windowB[0][d:d+s.n]), 0
	}
	both := func(join func(dst, x, y []float64) []float64) float64 {
		a := join(make([]float64, s.n), s.windowA[0], s.windowA[1])
		return spectrum.Correlation(a, join(make([]float64, s.n), s.windowB[0][d:d+s.n], s.windowB[1][d:d+s.n]))
	}
	return both(floats.AddTo), both(floats.SubTo)
}

// emphasize replaces x by its first difference: music falls with frequency, the difference about levels it.
func emphasize(x []float64) {
	last := x[0]
	x[0] = 0
	for i := 1; i < len(x); i++ {
		last, x[i] = x[i], x[i]-last
	}
}
