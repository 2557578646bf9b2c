package match

import (
	"math"
	"math/cmplx"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"heardiff/measure/interpolate"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// anchor is a short stretch of A found again in B, to the frame.
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

const maxAnchors = 24

// placed is a candidate whose waveforms were compared.
type placed struct {
	line
	explained float64 // frames of A that sound and that the line explains
	anchors   []anchor
	matched   int
	hunt      hunt
	glanced   bool    // see repeat: it need not be tried in full
	agreed    float64 // share of the anchors that matched, each as strong as A is there: some may stand in noise
}

// hunt is how stretches of A are sought in B: n frames each, within reach frames of a line, in mixes of the channels.
type hunt struct {
	a, b          pcm.Reader
	offset, drift float64
	n, reach      int
	manner
}

// manner is what a search takes for granted.
type manner struct {
	second float64 // the sign that B's second channel has in its mix
	drift  float64 // of the clocks, give or take driftReach
	treble bool    // what falls with frequency is levelled: sharper, but white noise is not much softer than music then
}

// driftReach is by how much the clocks may run apart from what a manner takes them to.
const driftReach = 5e-4

// place compares waveforms at stretches spread over what sounds in the overlap of the candidate and fits a line to what
// was found, of so many at the most. The candidate is good to a few hundredths of a second.
func (s *search) place(c candidate, m manner, most int) (placed, error) {
	rate := s.rate.Hz()
	l := line{offset: c.lag * (1 + m.drift), drift: m.drift, sign: 1}
	from, to := l.overlap(s.a, s.b, 0)
	n := spectrum.PowerOfTwo(int(rate * 0.2))
	for n > 1024 && n*3 > to-from {
		n /= 2
	}
	if to-from < n {
		return placed{}, nil
	}
	places, share := s.courseA.sounding(from, to, n)
	sounds := share * float64(to-from)
	if sounds < s.least/2 {
		return placed{}, nil
	}
	places = spread(places, most)
	// The candidate is good to 30 ms; beyond that the clocks may stray by 400 ppm more from the middle on.
	reach := int(0.03*rate + 4e-4*float64(to-from)/2)
	h := hunt{a: s.a, b: s.b, offset: math.Round(l.offset), drift: m.drift, n: n, reach: reach, manner: m}
	found, err := h.all(places)
	if err != nil {
		return placed{}, err
	}
	p := fitAnchors(found, m.drift, sounds)
	p.hunt = h
	return p, nil
}

// spread returns n of the places, evenly spread from first to last, or all where they are no more.
func spread(places []int, n int) []int {
	if len(places) <= n {
		return places
	}
	out := make([]int, n)
	for i := range out {
		out[i] = places[i*(len(places)-1)/(n-1)]
	}
	return out
}

// all finds A at each place in B, in the order of the places; silent ones are left out. Reading takes turns, what is read is
// sought on all processors.
func (h hunt) all(places []int) ([]anchor, error) {
	anchors, heard := make([]anchor, len(places)), make([]bool, len(places))
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
				anchors[i], heard[i] = s.seek(places[i])
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	var found []anchor
	for i, k := range anchors {
		if heard[i] {
			found = append(found, k)
		}
	}
	return found, nil
}

type seeker struct {
	hunt
	plan, finer    *spectrum.Plan // of twice the size
	heardA, heardB [][]float64
	raw            [][]float64 // of B, before it is stretched
	from           int         // the first frame of heardB
	ma, mb, mean   []float64
	cross          []complex128 // of the mixes, for finer
	c              []float64    // the correlation, every half frame
}

func newSeeker(h hunt) *seeker {
	size, channels := spectrum.PowerOfTwo(h.n+2*h.reach), h.a.Format().Channels
	heard := h.n + 2*h.reach
	return &seeker{
		raw:  pcm.Planes(channels, heard+int(math.Abs(h.drift)*float64(heard))+2),
		hunt: h, plan: spectrum.NewPlan(size), finer: spectrum.NewPlan(2 * size), cross: make([]complex128, size+1), c: make([]float64, 2*size),
		heardA: pcm.Planes(channels, h.n), heardB: pcm.Planes(channels, h.n+2*h.reach),
		ma: make([]float64, h.n), mb: make([]float64, h.n+2*h.reach), mean: make([]float64, h.n),
	}
}

// read takes the n frames of A at at, and those of B that they are sought in.
func (s *seeker) read(at int) error {
	if err := interpolate.ReadAround(s.a, s.heardA, at); err != nil {
		return err
	}
	s.from = at + int(math.Round(s.offset+s.drift*float64(at))) - s.reach
	if s.drift == 0 {
		return interpolate.ReadAround(s.b, s.heardB, s.from)
	}
	if err := interpolate.ReadAround(s.b, s.raw, s.from+min(0, s.stretched(len(s.heardB[0])))); err != nil {
		return err
	}
	for c, ch := range s.heardB {
		for i := range ch {
			ch[i] = s.raw[c][i+s.stretched(i)-min(0, s.stretched(len(ch)))]
		}
	}
	return nil
}

// stretched returns by how many frames frame i of what is heard of B stands off, for the drift that is taken for granted: to the
// nearest, since a fraction of a frame is no matter here.
func (s *seeker) stretched(i int) int { return int(math.Round(s.drift * float64(i))) }

// seek finds what was read of A in what was read of B. ok is false where A is silent.
func (s *seeker) seek(at int) (anchor, bool) {
	mix(s.ma, s.heardA, 0)
	mix(s.mb, s.heardB, 0)
	if s.second < 0 {
		for i, v := range s.heardB[1] {
			s.mb[i] -= v // mix has added half of it
		}
	}
	if s.treble {
		emphasize(s.ma)
		emphasize(s.mb)
	}
	power := energy(s.ma) / float64(s.n)
	if power < 1e-12 {
		return anchor{}, false
	}
	displaced := s.best()
	best := int(displaced)
	k := anchor{
		at:    float64(at) + float64(s.n)/2,
		shift: float64(s.from-at) + displaced + s.drift*(displaced+float64(s.n)/2),
		match: math.Abs(cosine(s.ma, s.at(displaced))),
		level: math.Sqrt(power),
	}
	k.mid, k.side = s.wiring(best)
	for c := range s.heardA {
		k.each = append(k.each, cosine(s.heardA[c], s.heardB[c][best:best+s.n]))
	}
	if len(s.heardA) > 1 {
		k.cross = [2]float64{cosine(s.heardA[0], s.heardB[1][best:best+s.n]), cosine(s.heardA[1], s.heardB[0][best:best+s.n])}
	}
	return k, true
}

// best returns the displacement at which the mixes agree best, to half a frame: between two frames the true peak of a
// correlation that reaches up to Nyquist would look lower than that of another period of a sustained tone.
func (s *seeker) best() float64 {
	fa, fb := s.plan.Forward(nil, s.ma), s.plan.Forward(nil, s.mb)
	for i := range fa {
		z := cmplx.Conj(fa[i]) * fb[i]
		// Half-whitened: sharper than plain correlation, less ruled by noise than a full phase transform.
		s.cross[i] = z / complex(math.Sqrt(cmplx.Abs(z))+1e-30, 0)
	}
	s.finer.Inverse(s.c, s.cross)
	best, top := 0, 0.0
	for d := range 4*s.reach + 1 {
		// A slight taper chooses the nearest of equal peaks where a sustained tone repeats.
		v := math.Abs(s.c[d]) * (1 - 0.1*math.Abs(float64(d)/2-float64(s.reach))/float64(s.reach))
		if v > top {
			best, top = d, v
		}
	}
	return float64(best) / 2
}

// at returns the mix of B at a displacement: between two frames their mean, whose phase is right at any frequency.
func (s *seeker) at(displaced float64) []float64 {
	d := int(displaced)
	if displaced == float64(d) {
		return s.mb[d : d+s.n]
	}
	for i := range s.mean {
		s.mean[i] = (s.mb[d+i] + s.mb[d+i+1]) / 2
	}
	return s.mean
}

// wiring returns the correlations of sum and difference of the first two channels at a displacement.
func (s *seeker) wiring(d int) (mid, side float64) {
	if len(s.heardA) == 1 {
		return cosine(s.heardA[0], s.heardB[0][d:d+s.n]), 0
	}
	var ma, sa, mb, sb = make([]float64, s.n), make([]float64, s.n), make([]float64, s.n), make([]float64, s.n)
	for i := range s.n {
		ma[i], sa[i] = s.heardA[0][i]+s.heardA[1][i], s.heardA[0][i]-s.heardA[1][i]
		mb[i], sb[i] = s.heardB[0][d+i]+s.heardB[1][d+i], s.heardB[0][d+i]-s.heardB[1][d+i]
	}
	return cosine(ma, mb), cosine(sa, sb)
}

// emphasize replaces x by its first difference: music falls with frequency, the difference about levels it.
func emphasize(x []float64) {
	last := x[0]
	x[0] = 0
	for i := 1; i < len(x); i++ {
		last, x[i] = x[i], x[i]-last
	}
}

func energy(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum
}

// cosine returns the normalized correlation of two equally long sequences, 0 where one is silent.
func cosine(x, y []float64) float64 {
	var xx, yy, xy float64
	for i, v := range x {
		xx += v * v
		yy += y[i] * y[i]
		xy += v * y[i]
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// Two unrelated stretches, searched over a few thousand displacements, seldom reach a third.
const leastMatch = 0.35

// anchored is by how many frames an anchor may miss the line that explains it.
const anchored = 1.5

// fitAnchors finds the line that most anchors lie on, of about this drift.
func fitAnchors(found []anchor, drift, sounds float64) placed {
	p := placed{anchors: found, line: line{sign: 1}}
	var best []anchor
	weight := 0.0
	try := func(l line) {
		var in []anchor
		sum := 0.0
		for _, k := range found {
			if k.match >= leastMatch && l.explains(k) {
				in = append(in, k)
				sum += k.match
			}
		}
		if sum > weight {
			best, weight = in, sum
		}
	}
	for i, k := range found {
		try(line{offset: k.shift - drift*k.at, drift: drift})
		for _, m := range found[i+1:] {
			if d := (m.shift - k.shift) / (m.at - k.at); math.Abs(d-drift) < driftReach {
				try(line{offset: k.shift - d*k.at, drift: d})
			}
		}
	}
	if len(best) == 0 {
		return p
	}
	p.matched = len(best)
	for _, k := range best {
		p.explained += sounds * k.match * k.match / float64(len(found))
		p.agreed += k.level / strength(found)
	}
	p.through(best)
	return p
}

// strength returns the sum of the anchors' levels.
func strength(anchors []anchor) float64 {
	sum := 0.0
	for _, k := range anchors {
		sum += k.level
	}
	return sum
}

// through lays the line through anchors by least squares and reads the wiring off them.
func (p *placed) through(in []anchor) {
	fit := newFit()
	var mid, side float64
	for _, k := range in {
		fit.add(k.at, k.shift, 1)
		mid += k.mid
		side += k.side
	}
	p.offset, p.drift = fit.solve()
	n := float64(len(in))
	mid, side = mid/n, side/n
	lead := mid
	if math.Abs(side) > 2*math.Abs(mid) {
		lead = side
	}
	if lead < 0 {
		p.sign = -1
	}
	if p.crossed(in) {
		return
	}
	// Exchanging two channels leaves their sum and turns their difference over.
	if mid*side < -0.1 {
		p.swapped = true
		p.sign = math.Copysign(1, mid)
		return
	}
	p.inverted(in)
}

// crossed notes that channels 1 and 2 are exchanged and one of them is inverted, where that fits better than any other
// wiring.
func (p *placed) crossed(in []anchor) bool {
	if len(in[0].each) < 2 {
		return false
	}
	var cross [2]float64
	straight := 0.0
	for _, k := range in {
		cross[0] += k.cross[0] / float64(len(in))
		cross[1] += k.cross[1] / float64(len(in))
		straight += (math.Abs(k.each[0]) + math.Abs(k.each[1])) / float64(len(in))
	}
	if cross[0]*cross[1] >= 0 || math.Abs(cross[0])+math.Abs(cross[1]) < 1.02*straight {
		return false
	}
	p.swapped, p.flipped, p.sign = true, 1<<1, math.Copysign(1, cross[0])
	return true
}

// inverted notes channels whose polarity is not that of the others; the first decides which is the common one.
func (p *placed) inverted(in []anchor) {
	mean := make([]float64, len(in[0].each))
	for _, k := range in {
		for c, v := range k.each {
			mean[c] += v / float64(len(in))
		}
	}
	opposed := uint64(0)
	for c, v := range mean {
		if v*mean[0] < 0 && math.Abs(v) > leastMatch && math.Abs(mean[0]) > leastMatch {
			opposed |= 1 << c
		}
	}
	if opposed != 0 {
		p.flipped, p.sign = opposed, math.Copysign(1, mean[0])
	}
}
