package demo

import (
	"math"
	"math/rand/v2"
	"slices"

	"heardiff/playback/pcm"
)

// Ear is an invented listener: a computation that is given the very samples a person would hear. What it can tell
// apart is set by one number, so that the demonstration's truth is known. It says nothing about people.
//
// Two sounds that differ evoke sensations d′ apart, each blurred by a unit normal variable:
//
//	d′ = min(4, (r/t)^1.5)
//
// with r the level of the difference of the two, and t the ear's threshold, both as amplitude ratios to the music.
// Where a third sound lies between them follows from its samples alone.
type Ear struct {
	// ThresholdDB is the level of the difference, relative to the music, at which d′ is 1.
	ThresholdDB float64
	random      *rand.Rand
	always      []pcm.Clip // the sounds that were in every trial
}

// NewEar returns an ear with the given threshold in dB and seed.
func NewEar(thresholdDB float64, seed uint64) *Ear {
	return &Ear{ThresholdDB: thresholdDB, random: rand.New(rand.NewPCG(seed, 3))}
}

// PickX listens to A, B and X and reports whether X seems nearer to A than to B (the differencing model).
func (e *Ear) PickX(a, b, x pcm.Clip) bool {
	d := e.distance(a, b)
	senseA, senseB := e.random.NormFloat64(), d+e.random.NormFloat64()
	senseX := d*place(a, b, x) + e.random.NormFloat64()
	return (senseX-(senseA+senseB)/2)*(senseA-senseB) > 0
}

// SeemDifferent listens to a pair and reports whether it seems to differ.
func (e *Ear) SeemDifferent(first, second pcm.Clip) bool {
	// The criterion of a careful listener, who says 'different' of one in eight pairs that are the same.
	const criterion = 2.17
	return math.Abs(e.distance(first, second)+math.Sqrt2*e.random.NormFloat64()) > criterion
}

// PickDose listens to two intervals of which one holds a dose, and returns the index of the one that seems to. The clean sound is the
// one that is in every trial: until a second dose was played the ear does not know which it is, and guesses. It is right with
// probability Φ(d′/√2), which is three quarters where the difference is 0.27 dB below the ear's threshold (d′ 0.954).
func (e *Ear) PickDose(first, second pcm.Clip) int {
	sounds := []pcm.Clip{first, second}
	if e.always = slices.DeleteFunc(e.always, func(a pcm.Clip) bool { return e.distance(a, first) > 0 && e.distance(a, second) > 0 }); len(e.always) == 0 {
		e.always = sounds
	}
	if len(e.always) > 1 {
		return e.random.IntN(2)
	}
	senseFirst := e.distance(e.always[0], first) + e.random.NormFloat64()
	senseSecond := e.distance(e.always[0], second) + e.random.NormFloat64()
	if senseFirst > senseSecond {
		return 0
	}
	return 1
}

// distance returns d′ of two sounds for this ear.
func (e *Ear) distance(a, b pcm.Clip) float64 {
	var music, rest float64
	for c := range a.Channels {
		for i, v := range a.Channels[c] {
			diff := b.Channels[c][i] - v
			music += v * v
			rest += diff * diff
		}
	}
	if rest == 0 || music == 0 {
		return 0
	}
	return math.Min(4, math.Pow(math.Sqrt(rest/music)/pcm.Ratio(e.ThresholdDB), 1.5))
}

// place returns where x lies on the way from a (0) to b (1), by least squares.
func place(a, b, x pcm.Clip) float64 {
	var along, total float64
	for c := range a.Channels {
		for i, v := range a.Channels[c] {
			d := b.Channels[c][i] - v
			along += d * (x.Channels[c][i] - v)
			total += d * d
		}
	}
	if total == 0 {
		return 0
	}
	return along / total
}
