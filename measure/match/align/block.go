package align

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"heardiff/measure/interpolate"
	"heardiff/measure/match/audible"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// blocks of both captures, held in memory while the line is refined.
type blocks struct {
	n      int
	lo, hi int // bins of the audible band
	kernel *interpolate.Kernel
	window []float64
	at     []int // first frame in A
	bFrom  []int // first frame held of B
	a, b   [][][]float64
	power  [][]float64      // [block][bin], |A|² over channels, once it is known
	spectA [][][]complex128 // [block][channel][bin], likewise
}

const (
	maxBlocks = 128
	fewBlocks = 48 // enough to come close
	slack     = 48 // frames by which the line may still move
	// reachable is how far from the line, in frames, a delay is sought, and how far the line may move before B is read anew: the rest of the
	// slack is for the blocks' own delays.
	reachable = slack - 4
	// Blocks are halved until blocksInOverlap of them fit into the overlap, since fewer do not determine a drift, or down to leastBlock frames.
	// A judgement, no source; TestAnchorsAndBlocksFitIntoTheOverlap holds it.
	leastBlock, blocksInOverlap = 512, 6
)

func gather(a, b pcm.Reader, l Line, kernel *interpolate.Kernel) (*blocks, error) {
	return gatherSome(a, b, l, kernel, maxBlocks, spectrum.PowerOfTwo(int(a.Format().Rate)/8))
}

// gatherSome reads most blocks at the most, of n frames or fewer.
func gatherSome(a, b pcm.Reader, l Line, kernel *interpolate.Kernel, most, n int) (*blocks, error) {
	rate := a.Format().Rate
	from, to := l.Overlap(a, b, kernel.Half()+slack)
	g := &blocks{kernel: kernel, n: spectrum.Halved(n, leastBlock, (to-from)/blocksInOverlap)}
	if to-from < g.n {
		return nil, fmt.Errorf("%w: the overlap is %.2f s", ErrUnrelated, rate.Seconds(max(0, to-from)))
	}
	count := min(most, 1+2*(to-from-g.n)/g.n)
	g.window = spectrum.Hann().Samples(g.n)
	g.lo = max(1, int(audible.LowHz*float64(g.n)/rate.Hz()))
	g.hi = int(audible.Edge(rate) * float64(g.n) / rate.Hz())
	g.power, g.spectA = make([][]float64, count), make([][][]complex128, count)
	for i := range count {
		at := from
		if count > 1 {
			at += int(float64(i) * float64(to-from-g.n) / float64(count-1))
		}
		x, y, bFrom, err := l.ReadPair(a, b, at, g.n, kernel.Half()+slack)
		if err != nil {
			return nil, err
		}
		g.at, g.bFrom, g.a, g.b = append(g.at, at), append(g.bFrom, bFrom), append(g.a, x), append(g.b, y)
	}
	return g, nil
}

// middle returns the frame of A in the middle of block i.
func (g *blocks) middle(i int) float64 { return float64(g.at[i]) + float64(g.n)/2 }

// cross holds the spectra of one pass over some of the blocks for one line.
type cross struct {
	block []int            // which
	frame []float64        // what of the line's shift is still in them, in frames
	power [][]float64      // [position in block][bin], |A|² over channels
	each  [][][]complex128 // [position][channel][bin], conj(A)·B·sign
	joint [][]complex128   // each over channels, see join
	other [][]float64      // |B|²
}

// pass evaluates every stride-th block of B at the line and transforms both, shared out between the processors. A rough
// pass takes B at the nearest whole frame.
func (g *blocks) pass(l Line, stride int, rough bool) cross {
	var c cross
	for i := 0; i < len(g.at); i += stride {
		c.block = append(c.block, i)
	}
	m := len(c.block)
	c.frame = make([]float64, m)
	c.power, c.each, c.joint, c.other = make([][]float64, m), make([][][]complex128, m), make([][]complex128, m), make([][]float64, m)
	var rooms [audible.Workers]room
	for w := range rooms {
		rooms[w] = room{audible.NewTransform(g.n), make([]float64, g.n), pcm.Planes(len(g.a[0]), g.n)}
	}
	audible.Share(m, func(w, j int) {
		plan, shift, y, i := rooms[w].plan, rooms[w].shift, rooms[w].y, c.block[j]
		if g.spectA[i] == nil {
			g.transformA(plan, i)
		}
		for k := range shift {
			shift[k] = l.Shift(float64(g.at[i] + k))
		}
		if rough {
			middle := l.Shift(g.middle(i))
			nearest := math.Round(middle)
			c.frame[j] = middle - nearest
			for k := range shift {
				shift[k] = nearest
			}
		}
		g.kernel.Shift(y, g.b[i], g.at[i]-g.bFrom[i], shift)
		c.power[j] = g.power[i]
		c.each[j], c.other[j] = make([][]complex128, len(y)), make([]float64, g.n/2+1)
		for ch, spec := range g.transform(plan, y) {
			c.collect(j, ch, g.spectA[i][ch], spec, l.signOf(ch))
		}
	})
	return c
}

// room is what one worker of a pass works in.
type room struct {
	plan  *audible.Transform
	shift []float64
	y     [][]float64
}

func (g *blocks) transformA(plan *audible.Transform, i int) {
	g.power[i] = make([]float64, g.n/2+1)
	for _, spec := range g.transform(plan, pcm.Copy(g.a[i])) {
		g.spectA[i] = append(g.spectA[i], slices.Clone(spec))
		for k, z := range spec {
			g.power[i][k] += real(z)*real(z) + imag(z)*imag(z)
		}
	}
}

// transform returns the spectra of the channels of x, which it overwrites; they are the plan's.
func (g *blocks) transform(plan *audible.Transform, x [][]float64) [][]complex128 {
	for _, ch := range x {
		audible.Window(ch, g.window)
	}
	return plan.Forward(x)
}

func (c cross) collect(j, ch int, a, b []complex128, sign float64) {
	own := make([]complex128, len(a))
	for k, z := range a {
		c.other[j][k] += real(b[k])*real(b[k]) + imag(b[k])*imag(b[k])
		own[k] = complex(sign, 0) * cmplx.Conj(z) * b[k]
	}
	c.each[j][ch] = own
}
