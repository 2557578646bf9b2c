package match

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// bandHz is the width of the bands in which the course of a recording's spectrum is kept.
const bandHz = 500.0

// Hops are summed up to stretches of a tenth of a second, or more where there would be too many.
const (
	hopsOfAStretch = 10
	mostStretches  = 6000
)

// spectra holds how strong the bands of a recording are, stretch by stretch; single precision, since there are many.
type spectra struct {
	every     int // hops of a stretch
	hop       int // frames of a hop
	bands     int
	stretches []stretch
}

// stretch holds sums over its hops, by band: of the mean power of a bin, of that in hops free of clipping, and of the
// power's logarithm.
type stretch struct {
	hops              float32
	power, calm, logs []float32
}

func newSpectra(hop, frames, bands int) *spectra {
	return &spectra{every: max(hopsOfAStretch, frames/hop/mostStretches), hop: hop, bands: bands}
}

// frames returns the length of a stretch.
func (s *spectra) frames() int { return s.every * s.hop }

// add takes the powers of the bins, binHz apart, of hop number i. clipped says that it may be clipped.
func (s *spectra) add(i int, bins []float64, binHz float64, clipped bool) {
	for i/s.every >= len(s.stretches) {
		s.stretches = append(s.stretches, stretch{power: make([]float32, s.bands), calm: make([]float32, s.bands), logs: make([]float32, s.bands)})
	}
	t := &s.stretches[i/s.every]
	t.hops++
	for b := range s.bands {
		lo, hi := int(float64(b)*bandHz/binHz), int(float64(b+1)*bandHz/binHz)
		sum := 1e-30
		for _, v := range bins[lo:hi] {
			sum += v
		}
		sum /= float64(hi - lo)
		t.power[b] += float32(sum)
		t.logs[b] += float32(math.Log(sum))
		if !clipped {
			t.calm[b] += float32(sum)
		}
	}
}

// at returns the level of the stretch whose middle is at u, counted in stretches: between two in proportion.
func (s *spectra) at(u float64, b int) level {
	i := min(max(0, int(u)), len(s.stretches)-1)
	k, f := min(i+1, len(s.stretches)-1), u-float64(i)
	p, q := s.stretches[i], s.stretches[k]
	between := func(x, y float32) float64 { return (1-f)*float64(x) + f*float64(y) }
	return level{between(p.hops, q.hops), between(p.power[b], q.power[b]), between(p.calm[b], q.calm[b]), between(p.logs[b], q.logs[b])}
}

// level holds the sums of a stretch in one band.
type level struct{ hops, power, calm, logs float64 }

// sideBySide holds the spectra of two captures over the same stretches of the music.
type sideBySide struct {
	of [2]*spectra // A, B
	at [][2]float64
}

// sideBySide pairs the stretches of A that lie in the overlap, and in which nothing happens that is no music, with those of B.
func (f aligned) sideBySide(events []event) sideBySide {
	t := sideBySide{of: [2]*spectra{f.a.spectra, f.b.spectra}}
	length := f.a.spectra.frames()
	for i := (f.overlap[0] + length - 1) / length; (i+1)*length <= f.overlap[1]; i++ {
		from := i * length
		if slices.ContainsFunc(events, func(e event) bool { return e.from < from+length+f.a.hop && e.to > from-f.a.hop }) {
			continue
		}
		t.at = append(t.at, [2]float64{float64(i), float64(i) + f.shift(float64(from))/float64(length)})
	}
	return t
}

// densities is a mean spectrum: by band, the power of a bin and the mean of its logarithm over hops of 10 ms. whole is the power with the
// strongest stretches, as the remainder holds them.
type densities struct{ power, logs, whole []float64 }

// leastStretches of a tenth of a second tell a spectrum.
const leastStretches = 20

// means returns the mean spectra of the capture at place short of the pair and of the other, in which each band's strongest
// thirtieth of the other's stretches is left out of both, neighbours included: a click, or a cut into the midst of the music, is no treble of
// the music. calm takes the hops in which the other is free of clipping.
func (t sideBySide) means(short int, calm bool) (p, q densities, ok bool) {
	if len(t.at) < leastStretches {
		return p, q, false
	}
	without := max(2, len(t.at)/30)
	pairs, order := make([][2]level, len(t.at)), make([]float64, len(t.at))
	for b := range t.of[0].bands {
		for i, at := range t.at {
			pairs[i] = [2]level{t.of[short].at(at[short], b), t.of[1-short].at(at[1-short], b)}
			order[i] = pairs[i][1].power
		}
		limit := slices.Sorted(slices.Values(order))[len(order)-without]
		var sum, whole [2]level
		for i, v := range pairs {
			whole[0].add(v[0])
			whole[1].add(v[1])
			// With their neighbours, since stretches of the two do not begin at the same instant.
			if slices.Max(order[max(0, i-1):min(len(order), i+2)]) >= limit {
				continue
			}
			for side := range sum {
				sum[side].add(v[side])
			}
		}
		p.add(sum[0], whole[0], false)
		q.add(sum[1], whole[1], calm)
	}
	return p, q, true
}

func (l *level) add(m level) {
	l.hops, l.power, l.calm, l.logs = l.hops+m.hops, l.power+m.power, l.calm+m.calm, l.logs+m.logs
}

// add appends the mean of the next band, without the strongest stretches and with them.
func (d *densities) add(sum, whole level, calm bool) {
	d.power, d.logs = append(d.power, sum.mean(calm)), append(d.logs, sum.logs/max(1, sum.hops))
	d.whole = append(d.whole, whole.mean(calm))
}

// mean returns the mean power of a hop.
func (l level) mean(calm bool) float64 {
	power := l.power
	if calm {
		power = l.calm
	}
	return power/max(1, l.hops) + 1e-300
}

// between returns the mean power between two frequencies, to whole bands.
func (d densities) between(low, high float64) float64 { return meanBetween(d.power, low, high) }

// wholeBetween is between with the strongest stretches.
func (d densities) wholeBetween(low, high float64) float64 { return meanBetween(d.whole, low, high) }

func meanBetween(power []float64, low, high float64) float64 {
	lo := min(max(0, int(low/bandHz)), len(power)-1)
	hi := min(max(lo+1, int(high/bandHz)), len(power))
	return floats.Sum(power[lo:hi]) / float64(hi-lo)
}
