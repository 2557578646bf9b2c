package match

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// kind tells what the remainder is made of, see Residual.
func (r *remainder) kind(k float64, all bandSums) Residual {
	out := Residual{Kind: "none"}
	if all.rr == 0 {
		return out
	}
	out.Response = min(1, r.linear(k)/all.rr)
	out.Timing = min(1-out.Response, r.timing())
	rest := 1 - out.Response - out.Timing
	out.Noise = min(rest, r.steady())
	out.Distortion = rest - out.Noise
	out.LevelSlope = r.levelSlope()
	most := max(out.Response, out.Timing, out.Noise, out.Distortion)
	switch most {
	case out.Response:
		out.Kind = "response"
	case out.Timing:
		out.Kind = "timing"
	case out.Noise:
		out.Kind = "noise"
	default:
		out.Kind = "distortion"
	}
	return out
}

// surelyFollowed is the slope of level from which on it is taken for what it is: chance makes less of noise. A judgement, no source.
const surelyFollowed = 0.3

// following returns the share of the remainder that rises and falls with the music, and is neither its response nor its timing. Of
// power n + g·a, n noise and g·a what follows music of power a, the slope of its level over the music's is g·a/(n + g·a): that tells
// where dense music is never quiet, and noise passes for all that is always there.
func (r Residual) following() float64 {
	if r.LevelSlope < surelyFollowed {
		return r.Distortion
	}
	return max(r.Distortion, min(1, r.LevelSlope)-r.Response-r.Timing)
}

// linear returns the power of the remainder that one fixed filter makes of A: one complex gain for every channel in
// bands of a sixth of an octave, less what chance alone would explain.
func (r *remainder) linear(k float64) float64 {
	sum := 0.0
	for low := lowHz; low < bandEdge(r.rate); low *= math.Exp2(1.0 / 6) {
		high := math.Min(low*math.Exp2(1.0/6), bandEdge(r.rate))
		for c := range r.aa {
			s := r.sums(low, high, k, c)
			if !(s.aa > 0) {
				continue
			}
			rest := complex(s.aa, 0) - s.ab
			coherent := real(rest)*real(rest) + imag(rest)*imag(rest)
			sum += max(0, coherent-alike*s.spread()) / s.aa
		}
	}
	return sum
}

// alike is how many bins are worth one, since the window w makes neighbours and overlapping blocks resemble each other. Over a
// Hann window and its neighbours half a window away, Σ(Σw²)²/(Σw²)² per bin is (35 + 3)/128 to (3/8)²; 35/18 where blocks do not overlap.
const alike = 19. / 9

// timing returns the share of the remainder that a delay changing every 5 ms explains beyond what a gain changing as
// often does: both have one number to fit in a stretch, but only a time error follows the slope of the wave.
func (r *remainder) timing() float64 {
	var late, loud, all float64
	for _, f := range r.frames {
		all += f.rem
		if f.slope > 0 {
			late += f.rd * f.rd / f.slope
		}
		if f.a > 0 {
			loud += f.ra * f.ra / f.a
		}
	}
	return max(0, late-loud) / (all - loud + 1e-300)
}

// swayed returns the RMS in frames of the delay that makes a share of the remainder rr: it leaves ω² of A's power at ω.
func (r *remainder) swayed(share, rr float64) float64 {
	steep := 0.0
	lo, hi := r.bins(lowHz, bandEdge(r.rate))
	for _, aa := range r.aa {
		for k := lo; k < hi; k++ {
			omega := 2 * math.Pi * float64(k) / float64(r.n)
			steep += omega * omega * aa[k]
		}
	}
	return math.Sqrt(share * rr / (steep + 1e-300))
}

// swayDB is the null from which on a residual of timing is said: some hundreds of nanoseconds of sway in music, more than a fit chain's
// clocks do (a judgement, no source).
const swayDB = -50

// sways says that what is left is a matter of time, and how far the clocks stray, where no slow wander says it all.
func (r *remainder) sways(found Result, say func(string, ...any)) {
	all := r.sums(lowHz, bandEdge(r.rate), r.final(), -1)
	rms := r.swayed(found.Residual.Timing, all.rr)
	if found.Residual.Kind != "timing" || found.NullDB < swayDB || found.Wander.Significant && rms < 2*found.Wander.RMSSamples {
		return
	}
	say("what is left is timing, %.0f %% of it: the clocks stray by about %.2g samples RMS (%.2g µs), slower than some 100 Hz",
		100*found.Residual.Timing, rms, 1e6*rms/r.rate.Hz())
}

// steady returns the share of the remainder that is there while the music is at its quietest, a third of the time, and
// so, it is taken, all the time.
func (r *remainder) steady() float64 {
	frames := slices.Clone(r.frames)
	slices.SortStableFunc(frames, func(f, g frame) int {
		switch {
		case f.a < g.a:
			return -1
		case f.a > g.a:
			return 1
		}
		return f.at - g.at
	})
	var quiet []float64
	all := 0.0
	for i, f := range frames {
		all += f.rem
		if i <= len(frames)/3 {
			quiet = append(quiet, f.rem)
		}
	}
	return median(quiet) * float64(len(frames)) / (all + 1e-300)
}

// leastSwing is the standard deviation of the music's level, in dB, from which on a slope over it tells anything: noise in A moves
// the level of a steady tone by a tenth of that, and itself with it. A judgement, no source.
const leastSwing = 0.5

// levelSlope returns the slope of the remainder's level over the music's, both in dB, over 5 ms stretches; 0 where the music's level
// hardly changes.
func (r *remainder) levelSlope() float64 {
	line := newFit()
	var levels []float64
	for _, f := range r.frames {
		if f.a > 0 && f.rem > 0 {
			line.add(math.Log10(f.a), math.Log10(f.rem), 1)
			levels = append(levels, 10*math.Log10(f.a))
		}
	}
	if len(levels) < 10 || stat.StdDev(levels, nil) < leastSwing {
		return 0
	}
	_, slope := line.solve()
	return slope
}
