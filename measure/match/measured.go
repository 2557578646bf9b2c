package match

import (
	"math"
	"slices"

	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
)

// measured is the residual at one place, and how it compares with others.
type measured struct {
	align.Alignment
	rivals
	record *residual.Record
	k      float64           // brings the alignment's gain to the one of least squares
	all    residual.BandSums // of all channels, 20 Hz to 20 kHz, at that gain
	wired  float64           // the power of the residual with each channel at its own polarity, relative to A's, by which places are compared
}

// measure reads the residual when B is aligned so.
func (c *comparison) measure(s *align.Search, found align.Alignment, others rivals) (measured, error) {
	record, err := residual.Measure(c.a, c.b, found.Line, found.Gain, c.captureA.Peak, s.Exact)
	if err != nil {
		return measured{}, err
	}
	k := record.FinalGain()
	m := measured{Alignment: found, rivals: others, record: record, k: k, all: record.Sums(audible.LowHz, audible.HighHz, k, -1)}
	m.wired = m.null()
	for ch := range c.a.Format().Channels {
		if found.Opposed(ch) {
			own := record.Sums(audible.LowHz, audible.HighHz, k, ch)
			m.wired += 4 * real(own.AB) / m.all.AA // |A + B|² is |A − B|² and four times what is common
		}
	}
	return m, nil
}

// null is the power of the residual, relative to A's.
func (m measured) null() float64 { return m.all.RR / m.all.AA }

// wiredDB is the null with each channel at its own polarity.
func (m measured) wiredDB() float64 { return pcm.PowerDB(max(0, m.wired)) }

// unexplained returns the power of the null plus the share of the overlap that had to be left out: any stretch of a steady tone nulls
// anywhere, once attack and end are taken for jumps.
func (m measured) unexplained() float64 { return max(0, m.wired) + m.Skipped }

// leastCorrelation is where two captures stop being of the same music: what differs is then stronger than what
// is common (a correlation of 0.6 is a signal-to-noise ratio of −2.5 dB). A judgement, no source;
// TestShallowPairIsMatchedByLoudnessUnderTheCeiling holds it.
const leastCorrelation = 0.6

// correlation returns the larger of the correlations with each channel, and with each block, at its own delay.
func (m measured) correlation(own []residual.ChannelFigures) float64 {
	sum := 0.0
	for _, c := range own {
		sum += c.Correlation * math.Sqrt(c.PowerA*c.PowerB/(m.all.AA*m.all.BB))
	}
	return max(sum, m.BlockCorrelation())
}

// rivals are the other places at which B may lie.
type rivals struct {
	share float64 // the most that a place neither measured in full nor glanced at explains, as a share of what this one does
	known []rival
}

// rival is a place whose residual is known: as it is, see measured.unexplained, or, where a glance was enough, relative to the one here.
type rival struct {
	offset          float64 // frames, at the start of A
	residual, ratio float64
}

// power returns the rival's residual, given the one here.
func (r rival) power(here float64) float64 {
	if r.ratio > 0 {
		return here * r.ratio
	}
	return r.residual
}

// add notes places; copies of r are not changed. A measured residual replaces that of a glance at the same place.
func (r *rivals) add(more ...rival) {
	all := append(slices.Clip(r.known), more...)
	r.known = slices.DeleteFunc(slices.Clone(all), func(k rival) bool {
		return k.ratio > 0 && slices.ContainsFunc(all, func(m rival) bool { return m.ratio == 0 && m.at(k.offset) })
	})
}

// at reports whether the rival is at an offset.
func (r rival) at(offset float64) bool { return math.Abs(r.offset-offset) <= align.SamePlaceFrames }

// negligibleNull is the least residual: two places at which it is less, −90 dB, are as good as each other. No chain's own noise
// is that low in all of the band, and the rounding of 24 bits alone may leave more. A judgement, no source; TestNegligibleNullsAreAsGoodAsEachOther
// holds it.
const negligibleNull = 1e-9

// confidence returns 1 − residual/(residual at the next best place). A place with residual q explains 1/(1 + q) of B.
func (r rivals) confidence(residual float64) float64 {
	next := math.Inf(1)
	if r.share > 0 {
		next = (1+residual)/r.share - 1
	}
	for _, k := range r.known {
		next = min(next, k.power(residual))
	}
	return confidence(residual, next)
}

func confidence(residual, next float64) float64 {
	if next <= residual {
		return 0
	}
	return 1 - (residual+negligibleNull)/(next+negligibleNull)
}

// doubtful is the confidence below which another place fits as well. A judgement, no source; TestAnExactLoopIsSaidToFitElsewhere holds it.
const doubtful = 0.1

// equals returns the offsets in frames of the places at which B may lie as well as here, in order.
func (r rivals) equals(residual float64) []float64 {
	var out []float64
	for _, k := range r.known {
		if confidence(residual, k.power(residual)) < doubtful {
			out = append(out, k.offset)
		}
	}
	slices.Sort(out)
	return slices.CompactFunc(out, func(a, b float64) bool { return rival{offset: a}.at(b) })
}
