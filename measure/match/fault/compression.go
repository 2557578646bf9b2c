package fault

import (
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// likeEnough is the correlation from which on channels are so much alike that peaks of one should be peaks of the other.
const likeEnough = 0.9

// compressed says which capture falls behind at the peaks, in the channel where it does so most. Channels are compared
// one by one: where one is louder than in A, the peaks are mostly its own. A filter makes peaks of its own, and so does a
// channel that drops out: what seems to fall behind must still do so with the linear part removed, clear of events.
func (f *finder) compressed(events []event) {
	most := furthestBehind(f.Curves, f.Channels)
	if most != 0 {
		most = furthestBehind(f.NonlinearCurves(func(from, to int) bool {
			return slices.ContainsFunc(events, func(e event) bool { return from < e.to && to > e.from })
		}), f.Channels)
	}
	one, other := "B", "A"
	if most < 0 {
		one, other = "A", "B"
	}
	if most != 0 {
		f.warn(warning.Newf(Compressed, "%s falls behind by %.0f %% at the peaks of %s: %[1]s clips or is compressed", one, 100*math.Abs(most), other).Of(100*most, "%"))
	}
}

func furthestBehind(curves []residual.Curve, own []residual.ChannelFigures) float64 {
	most := 0.0
	for i, c := range curves {
		if own[i].Correlation < likeEnough {
			continue
		}
		if d := behind(c); math.Abs(d) > math.Abs(most) {
			most = d
		}
	}
	return most
}

// What falling behind is. Judgement, no source; TestFiltersDoNotPassForClipping holds it.
const (
	leastAtHeight = 10   // samples in a step of height for it to count
	leastHeight   = 8    // steps that are to be reached
	leastBehind   = 0.02 // share
	clearBehind   = 5    // standard errors
)

// behind returns by what share B falls behind at the peaks, negative where A does; 0 unless it is more than 2 % against
// the middle and five standard errors.
func behind(c residual.Curve) float64 {
	top := len(c) - 1
	for top > 0 && c[top].Count < leastAtHeight {
		top--
	}
	if top < leastHeight {
		return 0
	}
	direct := c.Direct() // a difference in direct voltage is no difference at the peaks
	behind := func(from, to int) (share, error float64) {
		var height, rem, square float64
		for _, p := range c[from:to] {
			height, rem, square = height+p.Height, rem+p.Behind-direct*p.Signs, square+p.Square
		}
		return rem / height, math.Sqrt(square) / height
	}
	high, error := behind(top-top/8, top+1)
	middle, _ := behind(top/4, top/2)
	if d := high - middle; math.Abs(d) >= math.Max(leastBehind, clearBehind*error) {
		return d
	}
	return 0
}

func (f *finder) clipped(name string, p *Capture, other string, q *Capture) {
	if p.clippedMore(q) {
		f.warn(warning.Newf(measure.Clipped, "%s is clipped: %d samples are in runs of one value at its peak of %.2f dBFS (%d in %s)", name, p.clipped, pcm.DB(p.Peak), q.clipped, other).
			Of(float64(p.clipped), "samples"))
	}
}

// bothClipped warns where both captures are clipped, about alike: what the music or the recorder cut off is then missing in either.
func (f *finder) bothClipped() {
	a, b := f.A, f.B
	if min(a.clipped, b.clipped) > leastClipped && !a.clippedMore(b) && !b.clippedMore(a) {
		f.warn(warning.Newf(BothClipped, "A and B are both clipped: %d and %d samples are in runs of one value at their peaks of %.2f and %.2f dBFS; unless the music itself is, record both again at a lower level",
			a.clipped, b.clipped, pcm.DB(a.Peak), pcm.DB(b.Peak)).Of(float64(a.clipped), "samples"))
	}
}

const (
	// leastClipped is how many samples in runs at the peak are clipping: fewer may be chance. A judgement, no source; TestOneCaptureIsClippedMore holds it.
	leastClipped = 10
	// clippedRatio is how many times as many clipped samples one capture must hold for the other to count as hardly clipped. A
	// judgement, no source; TestOneCaptureIsClippedMore holds it.
	clippedRatio = 10
)

// clippedMore reports whether p is clipped and q, of the same music, is not, or hardly.
func (p *Capture) clippedMore(q *Capture) bool {
	return p.clipped > leastClipped && p.clipped > clippedRatio*q.clipped
}
