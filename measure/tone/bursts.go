package tone

import (
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

const (
	pieceSeconds = 0.5e-3 // half the shortest packet that is lost
	blockPieces  = 100    // 50 ms
	// burstRatio is how many times the medians before and after it the power of a piece must be. It is so large that rumble, of which
	// half a millisecond is one degree of freedom, exceeds it once in 10¹¹ pieces (χ² of 100 medians, 45.5), and noise of the full band
	// never; a piece below it adds less than 0.02 dB to the noise of 15 s.
	burstRatio = 100
	// burstFloor is a mean square below that of any converter's noise, −150 dBFS: rounding errors of a computed tone are no typical noise.
	burstFloor = 1e-15
	// minorRatio is the ratio of pieces that show how usual a burst ten times as strong is.
	minorRatio = 10
	rankCount  = 200
	// mostBursts is as many as usualRuns allows in nearly two hours.
	mostBursts = 1 << 16
)

// bursts finds moments at which the residual of the tones is far louder than around them: packets muted or lost
// ahead of the recorder, whose own noise goes on, and clicks. Each piece of half a millisecond is compared with the medians
// of the tenths of a second before and after it, and must exceed both: where a tone settles, steps in level, or is fitted less well
// from one stretch to the next, only one of them is exceeded.
type bursts struct {
	size   int // frames of a piece
	frames int // of the piece at hand
	sum    float64

	pieces       []float64 // mean squares of five blocks at the most
	base, judged int       // number of pieces before these, and of those judged
	seams        []int     // pieces in which one stretch ends and the next begins

	list  []burst        // above burstRatio, mostBursts of them at the most
	minor burst          // the latest above minorRatio
	ranks [rankCount]int // how many those are, by rankOf
}

// burst is neighbouring pieces that are far louder than usual.
type burst struct {
	piece, end int     // end: the piece after the last
	sum, peak  float64 // of mean squares
	ratio      float64 // of the loudest to what is typical around it
}

// write takes the next stretch of the residual.
func (b *bursts) write(x []float64) {
	b.seams = append(b.seams, b.base+len(b.pieces))
	for _, v := range x {
		b.sum += v * v
		b.frames++
		if b.frames < b.size {
			continue
		}
		b.pieces = append(b.pieces, b.sum/float64(b.size))
		b.sum, b.frames = 0, 0
		if len(b.pieces) == 5*blockPieces {
			b.judge()
			b.pieces = b.pieces[:copy(b.pieces, b.pieces[blockPieces:])]
			b.base += blockPieces
		}
	}
}

// judge looks at the blocks at hand that have not been judged yet and have others before and after them.
func (b *bursts) judge() {
	const around = 2 * blockPieces
	for from := max(blockPieces, b.judged-b.base); from+2*blockPieces <= len(b.pieces); from += blockPieces {
		to := from + blockPieces
		past, next := b.pieces[max(0, from-around):from], b.pieces[to:min(to+around, len(b.pieces))]
		typical := max(burstFloor, spectrum.Median(past), spectrum.Median(next))
		for i := from; i < to; i++ {
			if p := b.pieces[i]; p > minorRatio*typical {
				b.note(burst{b.base + i, b.base + i + 1, p, p, p / typical})
			}
		}
		b.judged = b.base + to
	}
}

// note adds a piece, as a burst of its own.
func (b *bursts) note(piece burst) {
	if !b.minor.join(piece) {
		b.rank()
		b.minor = piece
	}
	if piece.ratio < burstRatio {
		return
	}
	if n := len(b.list); n > 0 && b.list[n-1].join(piece) || n == mostBursts {
		return
	}
	b.list = append(b.list, piece)
}

// join adds a piece to a burst that it belongs to.
func (b *burst) join(piece burst) bool {
	const gap = 2 // pieces: a tone that is missing leaves quiet ones where it crosses zero
	if b.end == 0 || piece.piece > b.end+gap {
		return false
	}
	b.end = piece.end
	b.sum += piece.sum
	b.peak, b.ratio = max(b.peak, piece.peak), max(b.ratio, piece.ratio)
	return true
}

// rankOf returns the place of a ratio among ranks, of one decibel each.
func rankOf(ratio float64) int {
	return min(max(0, int(pcm.PowerDB(ratio/minorRatio))), rankCount-1)
}

func (b *bursts) rank() {
	if b.minor.end > 0 {
		b.ranks[rankOf(b.minor.ratio)]++
	}
	b.minor = burst{}
}

// end judges the remaining pieces and returns how many bursts there are and the first.
func (b *bursts) end() (count int, first burst) {
	b.judge()
	b.rank()
	peak := 0.0
	for _, now := range b.list {
		peak = max(peak, now.peak)
	}
	for _, now := range b.list {
		if now.peak < peak/burstRatio || b.usual(now) || b.atSeam(now) { // the weakest are what the fit makes of the strongest
			continue
		}
		if count == 0 {
			first = now
		}
		count++
	}
	return count, first
}

// atSeam reports whether a burst touches the end of a stretch, where the fit is loosest: a clock that changes its pace leaves
// most there. Of the bursts of a millisecond, that leaves one in a thousand out.
func (b *bursts) atSeam(now burst) bool {
	i, _ := slices.BinarySearch(b.seams, now.piece)
	return i < len(b.seams) && b.seams[i] <= now.end
}

// usual reports whether bursts like this one, down to 10 dB less, are as many as the mains or a distorted low tone
// makes: they are the chain's own.
func (b *bursts) usual(like burst) bool {
	alike := 0
	for _, n := range b.ranks[rankOf(like.ratio/minorRatio):] {
		alike += n
	}
	return float64(alike) > usualRuns*float64(b.judged)*pieceSeconds
}

// seconds is how long the burst is, at the power of its loudest piece.
func (b burst) seconds() float64 { return pieceSeconds * b.sum / b.peak }

func (t tracked) burstWarnings() (list []warning.Warning) {
	for c, ch := range t.channels {
		if ch == nil {
			continue
		}
		if n, b := ch.bursts.end(); n > 0 {
			at := float64(t.from+b.piece*ch.bursts.size) / ch.rate
			list = append(list, warning.Newf(Bursts, "channel %d: the residual without the tone leaps up %d times, first by %.0f dB for about %.1f ms at %.3f s: samples were muted or replaced, or something clicked, and the noise is not the chain's",
				c+1, n, pcm.PowerDB(b.ratio), 1000*b.seconds(), at).In(c+1).During(at, at+b.seconds()).Of(float64(n), "times"))
		}
	}
	return list
}
