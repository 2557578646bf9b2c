package pcm

import "math"

// Envelope returns the peak over all channels in each of n equal parts of c, relative to the largest peak, from 0 to 1;
// all 0 for a silent clip. It panics if n < 1.
func (c Clip) Envelope(n int) []float64 {
	if n < 1 {
		panic("pcm: an envelope of no parts")
	}
	parts := make([]float64, n)
	most := 0.0
	for _, ch := range c.Channels {
		for i, v := range ch {
			p := i * n / len(ch)
			parts[p] = max(parts[p], math.Abs(v))
			most = max(most, parts[p])
		}
	}
	for i := range parts {
		if most > 0 {
			parts[i] /= most
		}
	}
	return parts
}
