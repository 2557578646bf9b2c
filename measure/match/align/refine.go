package align

import (
	"fmt"
	"math"

	"heardiff/measure/interpolate"
	"heardiff/measure/match/fit"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// Refinement is what Refine finds in addition to the line.
type Refinement struct {
	Gain                 float64 // B/A, ratio
	OffsetSE, DriftSE    float64
	ChannelDelay         []float64 // frames by which each channel of B is later than the line, 0 on average
	block                int       // frames of a block
	track                []point   // the residual delay of each block that holds enough in common
	trackSD              float64   // its scatter, in units of the points' weights
	Wandering            bool
	wanderRMS, WanderMax float64
}

// The line is known when the residual delay is no more than this.
const (
	settled    = 1e-7 // frames
	settledInS = 0.05 // or in standard errors
	// Up to these a gain, and a line in frames, are off by rounding alone: copies are to be found identical.
	gainRounding, lineRounding = 1e-12, 1e-8
	// missOfMove is the part of a move of the line that it misses, some thousandths: its blocks were turned by one delay each. missOfChannel is the
	// part of a move of a channel: it moves single blocks by a part of it, as the channels' shares change, and their mean by a few hundredths.
	missOfMove, missOfChannel = 0.01, 0.05
	// roughRounds is how many rounds take B at the nearest whole frame, in some of the blocks.
	roughRounds = 2
)

// Refine moves the line until the mean residual delay of the blocks is 0, each channel at its own offset: converters that sample in turn are
// half a frame apart, and what plays in which channel must not decide the place of a block.
func Refine(a, b pcm.Reader, l Line, kernel *interpolate.Kernel) (Line, Refinement, error) {
	g, err := gather(a, b, l, kernel)
	if err != nil {
		return l, Refinement{}, err
	}
	f := Refinement{block: g.n, ChannelDelay: make([]float64, a.Format().Channels)}
	stride, gathered := max(1, len(g.at)/fewBlocks), l
	for round := range 10 {
		if g.away(l, gathered) > reachable {
			if g, err = gather(a, b, l, kernel); err != nil {
				return l, f, err
			}
			gathered = l
		}
		all := round >= roughRounds
		if all {
			stride = 1
		}
		c := g.pass(l, stride, !all)
		if round == 0 {
			f.ChannelDelay = c.channelDelays(g)
		}
		c.join(g.n, f.ChannelDelay)
		t := newTracker(g, c)
		t.follow(round == 0)
		f.Gain = t.gain
		change, information := t.channelDelays(f.ChannelDelay)
		mean, moved := centreDelays(f.ChannelDelay, change, information)
		if f.track = t.points(); len(f.track) == 0 {
			return l, f, fmt.Errorf("%w: no stretch of the overlap holds enough in common", ErrUnrelated)
		}
		if math.Abs(f.Gain-1) < gainRounding {
			f.Gain = 1
		}
		offset, drift := f.settle()
		l.Offset += offset + mean
		l.Drift += drift
		close := settled
		if n := len(f.track); n > 2 {
			close = math.Max(close, settledInS*f.DriftSE*(f.track[n-1].t-f.track[0].t))
		}
		if all && missOfMove*g.away(Line{Offset: offset, Drift: drift}, Line{}) < close && missOfChannel*moved < close {
			break
		}
	}
	if f.Gain < 0 { // half a period of a steady tone from where the line began
		f.Gain, l.Sign = -f.Gain, -l.Sign
	}
	f.judgeWander()
	return g.snap(l), f, nil
}

// away returns by how many frames two lines differ at the most over the blocks.
func (g *blocks) away(l, m Line) float64 {
	away := 0.0
	for _, at := range []int{g.at[0], g.at[len(g.at)-1] + g.n} {
		away = math.Max(away, math.Abs(l.Shift(float64(at))-m.Shift(float64(at))))
	}
	return away
}

// snap rounds a line that is a whole number of frames to within rounding, so that copies are found identical.
func (g *blocks) snap(l Line) Line {
	last := float64(g.at[len(g.at)-1])
	if nearest := math.Round(l.Offset); math.Abs(l.Offset-nearest)+math.Abs(l.Drift)*last < lineRounding {
		l.Offset, l.Drift = nearest, 0
	}
	return l
}

// settle fits a line to the track, giving little weight to outliers (Tukey's biweight), and subtracts it from the track. Where the blocks
// scatter by more than their noise allows, the clock itself wanders: that variance is common to all, so that the strongest blocks no
// longer decide.
func (f *Refinement) settle() (offset, drift float64) {
	n := len(f.track)
	robust, weight := make([]float64, n), make([]float64, n)
	deviation, size := make([]float64, n), make([]float64, n)
	for i, p := range f.track {
		robust[i], weight[i] = 1, p.weight
	}
	for range 6 {
		line, scale, used := fit.New(), 0.0, 0.0
		for i, p := range f.track {
			line.Add(p.t, p.delay, weight[i]*robust[i])
		}
		offset, drift = line.Solve()
		for i, p := range f.track {
			deviation[i] = math.Abs(p.delay - offset - drift*p.t)
			size[i] = deviation[i] * math.Sqrt(weight[i])
			scale += robust[i] * size[i] * size[i]
			used += robust[i]
		}
		f.trackSD = scale / max(1, used-2)
		f.OffsetSE, f.DriftSE = line.Errors(f.trackSD)
		cut := biweight*spectrum.Median(size)/spectrum.Probable + 1e-300
		excess := f.excess(deviation)
		for i, p := range f.track {
			u := size[i] / cut
			robust[i] = math.Pow(max(0, 1-u*u), 2)
			weight[i] = 1 / (1/p.weight + excess)
		}
	}
	for i, p := range f.track {
		f.track[i].delay = p.delay - offset - drift*p.t
	}
	return offset, drift
}

// biweight is how many standard deviations off the line a block has no weight any more (common practice, no source).
const biweight = 6

// excess returns the variance that the deviations have beyond the blocks' own noise, 0 where it is negligible: the weights are good to a
// factor of two in deviation. It is the median, so that a few stray blocks make none, of what each block needs, so that weak blocks, whose
// noise is great, do not lend theirs to strong ones.
func (f *Refinement) excess(deviation []float64) float64 {
	needs := make([]float64, len(deviation))
	for i, p := range f.track {
		needs[i] = math.Pow(deviation[i]/spectrum.Probable, 2) - 4/p.weight
	}
	return max(0, spectrum.Median(needs))
}

// What a wandering clock is. Judgement, no source, but for the correlation; TestWanderIsHeldUpToTheFrequencySaid holds it.
const (
	leastWanderTrack   = 8    // points
	leastWanderShare   = 0.1  // of a point's weight in the common one for it to count for the peak
	leastWander        = 1e-3 // frames RMS
	clearCorrelation   = 4    // standard errors 1/√n of the correlation of n points
	overlapCorrelation = 0.09 // 3/35, of Hann blocks that overlap by half, see audible.PerIndependentBin
	mostCorrelation    = 0.95 // up to which standard errors grow
	mostDeviation      = 3    // standard deviations up to which one block counts
)

// judgeWander decides whether the clock wanders: the delays of neighbouring blocks are then correlated. Blocks that overlap by half are
// correlated by 0.09 in any case. Standard errors grow accordingly.
func (f *Refinement) judgeWander() {
	n := len(f.track)
	if n < leastWanderTrack {
		return
	}
	size, weight := make([]float64, n), make([]float64, n)
	for i, p := range f.track {
		size[i] = math.Abs(p.delay)
	}
	excess := f.excess(size) // what the clock does is common to strong blocks and weak ones
	for i, p := range f.track {
		weight[i] = 1 / (1/p.weight + excess)
	}
	smooth := f.smooth(weight)
	// A few strong blocks must not decide for all: none weighs more than the common one, or deviates by more than three
	// standard deviations.
	common := spectrum.Median(weight)
	even := func(i int) float64 { return f.track[i].delay * math.Sqrt(min(common, weight[i])) }
	for i := range size {
		size[i] = math.Abs(even(i))
	}
	most := mostDeviation*spectrum.Median(size)/spectrum.Probable + 1e-300
	held := func(i int) float64 { return max(-most, min(most, even(i))) }
	var lag, power, w, wander float64
	for i := range f.track {
		power += held(i) * held(i)
		if i >= 2 { // two apart do not overlap
			lag += held(i) * held(i-2)
		}
		share := min(1, weight[i]/common) // of time, but for blocks of which little is known
		wander += share * smooth[i] * smooth[i]
		w += share
		if share > leastWanderShare {
			f.WanderMax = max(f.WanderMax, math.Abs(smooth[i]))
		}
	}
	f.wanderRMS = math.Sqrt(wander / w)
	r := lag / (power + 1e-300)
	f.Wandering = r > clearCorrelation/math.Sqrt(float64(n)) && f.wanderRMS > leastWander
	r = min(max(r, overlapCorrelation), mostCorrelation)
	grow := math.Sqrt((1 + r) / (1 - r))
	f.OffsetSE *= grow
	f.DriftSE *= grow
}

// BlockCorrelation returns the median correlation of the blocks, each at its own delay, which holds where clocks wander far.
func (f *Refinement) BlockCorrelation() float64 {
	var correlations []float64
	for _, p := range f.track {
		correlations = append(correlations, p.fit)
	}
	return spectrum.Median(correlations)
}

// smooth returns the track averaged over five blocks, with these weights.
func (f *Refinement) smooth(weight []float64) []float64 {
	out := make([]float64, len(f.track))
	for i := range out {
		var sum, w float64
		first := max(0, i-2)
		for k, p := range f.track[first:min(len(f.track), i+3)] {
			sum += weight[first+k] * p.delay
			w += weight[first+k]
		}
		out[i] = sum / w
	}
	return out
}
