package match

import (
	"errors"
	"fmt"
	"math"

	"heardiff/measure/match/align"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// Pair is a block of the corrected pair: A and B on their common time base, B with A's gain, polarity and
// channels, and Residual = A − B.
type Pair struct {
	A, B, Residual [][]float64
}

// Corrected says what Correct did.
type Corrected struct {
	Frames int
	// Changes says in words what was done to A and B alike.
	Changes []string
}

// Correct reads both captures over what r compared and hands the pair, corrected by what r found, to write block
// by block; blocks are reused. Both go through the same interpolator and filter, as in Prepare, or through neither where r
// found a whole number of frames and no drift. It takes from r only what its JSON holds, and returns an error that names what
// is missing.
func Correct(a, b pcm.Reader, r Result, write func(Pair) error) (Corrected, error) {
	if err := comparable(a, b); err != nil {
		return Corrected{}, err
	}
	l, err := r.line(a.Format().Rate)
	if err != nil {
		return Corrected{}, err
	}
	p := preparation{captures: []pcm.Reader{a, b}, rate: a.Format().Rate, lines: []align.Line{{Sign: 1}, l}}
	p.base = align.Line{Offset: l.Offset / 2, Drift: l.Drift / 2}
	from, to := l.Overlap(a, b, 0)
	p.first = int(math.Ceil(float64(from) + p.base.Shift(float64(from))))
	p.n = int(float64(to)+p.base.Shift(float64(to))) - p.first
	byFrames, scale := p.byFrames(), l.Sign/pcm.Ratio(r.GainDB)
	out := Corrected{Changes: []string{moved(byFrames, p.rate)}}
	const size = 1 << 14
	all := p
	for out.Frames < all.n {
		p.first, p.n = all.first+out.Frames, min(size, all.n-out.Frames)
		var clips [2]pcm.Clip
		for i := range clips {
			if clips[i], err = p.evaluate(i, byFrames); err != nil {
				return out, err
			}
		}
		if err := write(pairOf(clips[0], clips[1], scale)); err != nil {
			return out, err
		}
		out.Frames += p.n
	}
	return out, nil
}

// line returns where B lies according to r.
func (r Result) line(rate pcm.Rate) (align.Line, error) {
	for _, f := range []struct {
		name  string
		value float64
	}{{"offset_samples", r.OffsetSamples}, {"drift_ppm", r.DriftPPM}, {"gain_db", r.GainDB}} {
		if math.IsNaN(f.value) || math.IsInf(f.value, 0) {
			return align.Line{}, fmt.Errorf("match: the comparison has no %s: nothing can be corrected by it", f.name)
		}
	}
	l := align.Line{Offset: r.OffsetSamples, Drift: 1e-6 * r.DriftPPM, Sign: 1, Swapped: r.ChannelsSwapped}
	switch r.Polarity {
	case Same:
	case Inverted:
		l.Sign = -1
	default:
		return l, fmt.Errorf("match: the comparison's polarity %q: want %q or %q", r.Polarity, Same, Inverted)
	}
	l.From, l.To = int(math.Round(r.ComparedFromS*rate.Hz())), int(math.Round(r.ComparedToS*rate.Hz()))
	if !(l.To > l.From) {
		return l, errors.New("match: the comparison does not say which stretch was compared: compare again")
	}
	return l, nil
}

func pairOf(a, b pcm.Clip, scale float64) Pair {
	p := Pair{A: a.Channels, B: b.Channels, Residual: pcm.Planes(len(a.Channels), a.Len())}
	for c := range p.B {
		floats.Scale(scale, p.B[c])
		floats.SubTo(p.Residual[c], p.A[c], p.B[c])
	}
	return p
}

// AudibleGainDB returns the gain in dB that lifts a residual with the given peak to −12 dBFS: a multiple of ten, and
// 0 where it is there already, or where there is no residual.
func AudibleGainDB(peak float64) float64 {
	if peak <= 0 {
		return 0
	}
	return math.Max(0, 10*math.Floor((-12-pcm.DB(peak))/10))
}

// ResidualPeak returns the largest sample of the residual.
func (p Pair) ResidualPeak() float64 {
	peak := 0.0
	for _, ch := range p.Residual {
		peak = max(peak, floats.Norm(ch, math.Inf(1)))
	}
	return peak
}

// Louder returns the residual raised by gainDB.
func (p Pair) Louder(gainDB float64) [][]float64 {
	out, gain := pcm.Planes(len(p.Residual), len(p.Residual[0])), pcm.Ratio(gainDB)
	for c, ch := range p.Residual {
		floats.ScaleTo(out[c], gain, ch)
	}
	return out
}
