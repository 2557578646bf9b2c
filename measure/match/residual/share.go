package residual

import (
	"cmp"
	"math"
	"slices"

	"heardiff/measure/match/audible"
	"heardiff/measure/match/fit"
	"heardiff/measure/spectrum"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// Shares returns what the residual is made of, for the gain k and its sums over the band.
func (r *Record) Shares(k float64, all BandSums) Shares {
	out := Shares{Kind: "none"}
	if all.RR == 0 {
		return out
	}
	out.Response = min(1, r.responsePower(k)/all.RR)
	out.Timing = min(1-out.Response, r.timingShare())
	rest := 1 - out.Response - out.Timing
	out.Noise = min(rest, r.noiseShare())
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

// leastSlope is the slope of level that noise does not reach by chance. A judgement, no source; TestALevelHasASlopeWhereItMoves holds it.
const leastSlope = 0.3

// FollowsMusic returns the share of the residual that rises and falls with the music, and is neither its response nor its timing. Of
// power n + g·a, n noise and g·a what follows music of power a, the slope of its level over the music's is g·a/(n + g·a), which holds for
// dense music that is never quiet, where all that is always there passes for noise.
func (r Shares) FollowsMusic() float64 {
	if r.LevelSlope < leastSlope {
		return r.Distortion
	}
	return max(r.Distortion, min(1, r.LevelSlope)-r.Response-r.Timing)
}

// responsePower returns the power of the residual that one fixed filter makes of A: one complex gain for every channel in
// bands of a sixth of an octave, less what chance alone would explain.
func (r *Record) responsePower(k float64) float64 {
	sum := 0.0
	for low := audible.LowHz; low < audible.Edge(r.Rate); low *= math.Exp2(1.0 / 6) {
		for c := range r.sums {
			s := r.Sums(low, low*math.Exp2(1.0/6), k, c)
			if !(s.AA > 0) {
				continue
			}
			coherent := squared(complex(s.AA, 0) - s.AB)
			sum += max(0, coherent-audible.PerIndependentBin*s.spread()) / s.AA
		}
	}
	return sum
}

// timingShare returns the share of the residual that a delay changing every 5 ms explains beyond what a gain changing as
// often does: both have one number to fit in a stretch, but only a time error follows the slope of the wave.
func (r *Record) timingShare() float64 {
	var late, loud, all float64
	for _, f := range r.timing {
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

// SwayRMS returns the RMS in frames of the delay that makes a share of the residual's power rr: it leaves ω² of A's power at ω.
func (r *Record) SwayRMS(share, rr float64) float64 {
	steep := 0.0
	lo, hi := r.Bins(audible.LowHz, audible.HighHz)
	for _, bins := range r.sums {
		for k := lo; k < hi; k++ {
			omega := 2 * math.Pi * float64(k) / float64(r.N)
			steep += omega * omega * bins[k].aa
		}
	}
	return math.Sqrt(share * rr / (steep + 1e-300))
}

// noiseShare returns the share of the residual that is present while the music is at its quietest, a third of the time, and is taken to be
// present all the time.
func (r *Record) noiseShare() float64 {
	frames := slices.Clone(r.timing)
	slices.SortStableFunc(frames, func(f, g timingSums) int { return cmp.Or(cmp.Compare(f.a, g.a), f.at-g.at) })
	var rest []float64
	for _, f := range frames {
		rest = append(rest, f.rem)
	}
	quiet := rest[:min(len(rest), len(rest)/3+1)]
	return spectrum.Median(quiet) * float64(len(rest)) / (floats.Sum(rest) + 1e-300)
}

// leastSwing is the standard deviation of the music's level, in dB, from which on a slope over it counts: noise in A moves the level
// of a steady tone by a tenth of that, and its own level with it. A judgement, no source; TestALevelHasASlopeWhereItMoves holds it.
const leastSwing = 0.5

// leastLevels are needed for a slope. A judgement, no source; TestALevelHasASlopeWhereItMoves holds it.
const leastLevels = 10

// levelSlope returns the slope of the residual's level over the music's, both in dB, over 5 ms stretches; 0 where the music's level
// hardly changes.
func (r *Record) levelSlope() float64 {
	line := fit.New()
	var levels []float64
	for _, f := range r.timing {
		if f.a > 0 && f.rem > 0 {
			line.Add(math.Log10(f.a), math.Log10(f.rem), 1)
			levels = append(levels, 10*math.Log10(f.a))
		}
	}
	if len(levels) < leastLevels || stat.StdDev(levels, nil) < leastSwing {
		return 0
	}
	_, slope := line.Solve()
	return slope
}

// Shares says what the residual is made of, as shares of its power from 0 to 1, and names the largest: "noise",
// "distortion", "response", "timing" or "none". It is an indication: the response's share is what one filter makes of A
// in bands of a sixth of an octave; timing's what a delay that changes every 5 ms explains, beyond what a level that
// changes as often does (jitter below some 100 Hz, and wander); noise's the part that is there while the music is quiet, all the
// time; and distortion is the rest: what rises with the music, fast jitter included. In music whose level hardly changes
// distortion cannot be distinguished from noise.
type Shares struct {
	Kind       string  `json:"kind"`
	Response   float64 `json:"response_share"`
	Timing     float64 `json:"timing_share"`
	Noise      float64 `json:"noise_share"`
	Distortion float64 `json:"distortion_share"`
	// LevelSlope is by how many dB the rest rises when the music rises by one: 0 for noise, 1 or more for
	// distortion and fast jitter.
	LevelSlope float64 `json:"level_slope"`
}
