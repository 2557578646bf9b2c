package fault

import (
	"math"

	"heardiff/measure/match/residual"
)

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

// add takes the powers of the bins, binHz apart, of hop number i. clipped says that it may be clipped.
func (s *spectra) add(i int, bins []float64, binHz float64, clipped bool) {
	for i/s.every >= len(s.stretches) {
		s.stretches = append(s.stretches, stretch{power: make([]float32, s.bands), calm: make([]float32, s.bands), logs: make([]float32, s.bands)})
	}
	t := &s.stretches[i/s.every]
	t.hops++
	for b := range s.bands {
		lo, hi := int(float64(b)*residual.BandHz/binHz), int(float64(b+1)*residual.BandHz/binHz)
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

func (l *level) add(m level) {
	l.hops, l.power, l.calm, l.logs = l.hops+m.hops, l.power+m.power, l.calm+m.calm, l.logs+m.logs
}

// mean returns the mean power of a hop.
func (l level) mean(calm bool) float64 {
	power := l.power
	if calm {
		power = l.calm
	}
	return power/max(1, l.hops) + 1e-300
}
