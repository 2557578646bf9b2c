package residual

import "heardiff/playback/pcm"

// Look reads frames from to to of A once more, as far as they were compared: channel c of A, counted from 0, of B as it was corrected, and the
// audible part of the residual. They are nil where reading fails this time. The first frame is at at.
func (r *Record) Look(c, from, to int) (at int, a, b, rem []float64) {
	from, to = max(from, r.source.first), min(to, r.source.end)
	if to <= from {
		return from, nil, nil, nil
	}
	j, err := r.source.read(from, to-from)
	if err != nil {
		return from, nil, nil, nil
	}
	y, inBand := pcm.Planes(len(j.a), to-from), pcm.Planes(len(j.a), to-from)
	r.source.residualOf(y, j, make([]float64, to-from), r.Gain)
	direct := make([]float64, len(y))
	for i := range r.Curves {
		direct[i] = r.Curves[i].Direct()
	}
	r.source.audibleOf(inBand, r.source.padding(len(y), to-from), y, direct, 1)
	b = make([]float64, to-from)
	for i, v := range y[c] {
		b[i] = j.a[c][i] - (v - direct[c])
	}
	return from, j.a[c], b, inBand[c]
}
