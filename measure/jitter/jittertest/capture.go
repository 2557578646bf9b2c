// Package jittertest makes simulated captures of known jitter: every sample by its closed form, so that nothing
// is interpolated.
//
//	x(t) = a·(1 + flicker(t))·Π(1 + m·sin(2πgt))·sin(2πf₀(t + τ(t))) + Σ tones + noise,  τ(t) = Σ p·sin(2πft + θ) + random(t)
//
// A Device is a chain and its recorder as a workshop has them: a clock recovered by a loop, packets, mains, a supply, idle tones, and a
// recorder that adds its own.
package jittertest

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/integrate/quad"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// Sine is a sine: of time error in seconds, of modulation as a ratio, or of a tone in units of full scale.
type Sine struct{ Hz, Peak, Phase float64 }

// Capture is what to simulate. The zero value of every field but the first four leaves that fault out.
type Capture struct {
	Rate      pcm.Rate
	Seconds   float64
	CarrierHz float64
	Amplitude float64
	// PhaseDegrees is the carrier's phase at the first sample, 0 on its rising edge.
	PhaseDegrees float64
	// Jitter is the time error in seconds, AM the modulation, Added other tones.
	Jitter, AM, Added []Sine
	// RandomPs is the RMS of Gaussian time error, flat between RandomLowHz and RandomHighHz.
	RandomPs, RandomLowHz, RandomHighHz float64
	// Shaped is more Gaussian time error, each of a density of its own.
	Shaped []Shape
	// Wandering lines keep no frequency.
	Wandering []Wander
	// Flicker is the RMS of Gaussian amplitude modulation as a ratio; its density falls as 1/f from FlickerLowHz to FlickerHighHz.
	Flicker, FlickerLowHz, FlickerHighHz float64
	// NoiseDBFS is the level of white additive noise from 0 to half the rate; 0 is none.
	NoiseDBFS float64
	// DriftPPM is the change of the carrier's frequency from the first to the last sample.
	DriftPPM float64
	// Harmonics are the recorder's, from the second on, as ratios to the tone; those beyond half the rate are left out.
	Harmonics []float64
	DC        float64
	// Bits is the length of the words, with triangular dither of ±1 word; 0 leaves the samples as they are.
	Bits int
	Seed uint64
}

// Shape is Gaussian time error of a one-sided density in s²/Hz, from LowHz to HighHz.
type Shape struct {
	LowHz, HighHz float64
	Density       func(hz float64) float64
}

// Variance returns the variance in s² of what lies between two frequencies.
func (s Shape) Variance(lowHz, highHz float64) float64 {
	lowHz, highHz = max(lowHz, s.LowHz), min(highHz, s.HighHz)
	if lowHz >= highHz {
		return 0
	}
	perOctave := func(x float64) float64 { return s.Density(math.Exp(x)) * math.Exp(x) }
	return quad.Fixed(perOctave, math.Log(lowHz), math.Log(highHz), 400, nil, 0)
}

// Wander is a frequency that strays by Gaussian noise of RMSHz, which is flat from SlowHz to FastHz, and the lines that follow it. The Hz of
// these are multiples of the frequency.
type Wander struct {
	Hz, RMSHz, SlowHz, FastHz float64
	Jitter, AM                []Sine
	// Added are tones near the carrier: Hz, a multiple too, is added to the carrier's.
	Added []Sine
}

// Samples returns one channel.
func (c Capture) Samples() []float64 {
	n := int(c.Seconds * c.Rate.Hz())
	random := rand.New(rand.NewPCG(c.Seed, 0x6a09e667f3bcc908))
	out := make([]float64, n)
	if c.RandomPs > 0 {
		c.fill(out, c.flat(), random)
	}
	noise := 0.0
	if c.NoiseDBFS != 0 {
		noise = pcm.RMSOf(c.NoiseDBFS)
	}
	s := c.slow(out)
	c.evaluate(s, out)
	if noise > 0 {
		for i := range out {
			out[i] += noise * random.NormFloat64()
		}
	}
	if c.Bits > 0 {
		step := math.Ldexp(1, 1-c.Bits)
		for i, v := range out {
			out[i] = step * math.Round(v/step+random.Float64()-random.Float64())
		}
	}
	return out
}

// flat is the random time error of RandomPs.
func (c Capture) flat() Shape {
	density := c.RandomPs * c.RandomPs * 1e-24 / (c.RandomHighHz - c.RandomLowHz)
	return Shape{c.RandomLowHz, c.RandomHighHz, func(float64) float64 { return density }}
}

// slow is what has no closed form: the random time error of every sample, its modulation, and the turns by which each wandering
// frequency has strayed.
type slow struct {
	tau, modulation []float64
	strayed         [][]float64
}

// slow makes the random functions; the time error begins with what tau holds.
func (c Capture) slow(tau []float64) slow {
	s := slow{tau: tau, modulation: make([]float64, len(tau))}
	for i, shape := range c.Shaped {
		own := make([]float64, len(tau))
		c.fill(own, shape, rand.New(rand.NewPCG(c.Seed, 0x3c6ef372fe94f82b+uint64(i))))
		floats.Add(tau, own)
	}
	if c.Flicker > 0 {
		density := c.Flicker * c.Flicker / math.Log(c.FlickerHighHz/c.FlickerLowHz)
		c.fill(s.modulation, Shape{c.FlickerLowHz, c.FlickerHighHz, func(hz float64) float64 { return density / hz }},
			rand.New(rand.NewPCG(c.Seed, 0xbb67ae8584caa73b)))
	}
	for i, w := range c.Wandering {
		own := make([]float64, len(tau))
		density := w.RMSHz * w.RMSHz / (w.FastHz - w.SlowHz)
		// Turns are the integral of the frequency, 1/2πf of it.
		c.fill(own, Shape{w.SlowHz, w.FastHz, func(hz float64) float64 { return density / (4 * math.Pi * math.Pi * hz * hz) }},
			rand.New(rand.NewPCG(c.Seed, 0xa54ff53a5f1d36f1+uint64(i))))
		s.strayed = append(s.strayed, own)
	}
	return s
}

// evaluate writes every sample, on all processors: a minute takes some hundred million sines.
func (c Capture) evaluate(s slow, x []float64) {
	var wait sync.WaitGroup
	each := len(x)/runtime.GOMAXPROCS(0) + 1
	for from := 0; from < len(x); from += each {
		wait.Go(func() {
			for i := from; i < min(from+each, len(x)); i++ {
				x[i] = c.at(s, i)
			}
		})
	}
	wait.Wait()
}

func (c Capture) at(s slow, i int) float64 {
	t := float64(i) / c.Rate.Hz()
	tau, envelope := s.tau[i], 1+s.modulation[i]
	for _, j := range c.Jitter {
		tau += j.at(t, 0)
	}
	for k, w := range c.Wandering {
		for _, j := range w.Jitter {
			tau += w.of(j).at(t, j.Hz*s.strayed[k][i])
		}
		for _, m := range w.AM {
			envelope *= 1 + w.of(m).at(t, m.Hz*s.strayed[k][i])
		}
	}
	// A frequency of f₀·(1 + d·(t/T − ½)) has the phase f₀·(t + d·(t²/2T − t/2)).
	tau += c.DriftPPM * 1e-6 * (t*t/(2*c.Seconds) - t/2)
	_, turns := math.Modf(c.CarrierHz*t + c.PhaseDegrees/360)
	envelope *= c.Amplitude
	for _, m := range c.AM {
		envelope *= 1 + m.at(t, 0)
	}
	turns += c.CarrierHz * tau
	x := envelope*math.Sin(2*math.Pi*turns) + c.DC
	for k, level := range c.Harmonics {
		const edge = 1e-3 // of half the rate
		if n := float64(k + 2); n*c.CarrierHz*(1+edge) < c.Rate.Hz()/2 {
			x += level * envelope * math.Sin(2*math.Pi*n*turns)
		}
	}
	for _, a := range c.Added {
		x += a.at(t, 0)
	}
	for k, w := range c.Wandering {
		for _, a := range w.Added {
			own := w.of(a)
			own.Hz += c.CarrierHz
			x += own.at(t, a.Hz*s.strayed[k][i])
		}
	}
	return x
}

// at returns the sine at a time, so many turns ahead.
func (s Sine) at(t, turns float64) float64 {
	return s.Peak * math.Sin(2*math.Pi*(s.Hz*t+turns)+s.Phase)
}

// of returns the steady part of a line that follows the frequency.
func (w Wander) of(s Sine) Sine { return Sine{s.Hz * w.Hz, s.Peak, s.Phase} }

// fill writes Gaussian noise, made of the bins of one long transform.
func (c Capture) fill(out []float64, s Shape, random *rand.Rand) {
	size := spectrum.PowerOfTwo(len(out))
	bins := make([]complex128, size/2+1)
	perBin := c.Rate.Hz() / float64(size)
	for k := int(math.Ceil(s.LowHz / perBin)); k < len(bins) && float64(k)*perBin <= s.HighHz; k++ {
		// A bin carries 2·E|X|²/size² of the variance.
		each := float64(size) / 2 * math.Sqrt(perBin*s.Density(float64(k)*perBin))
		bins[k] = complex(each*random.NormFloat64(), each*random.NormFloat64())
	}
	copy(out, spectrum.NewPlan(size).Inverse(nil, bins))
}

// Clip returns a clip of the channels, which must be equally long and of one rate.
func Clip(channels ...Capture) pcm.Clip {
	clip := pcm.Clip{Rate: channels[0].Rate}
	for _, c := range channels {
		clip.Channels = append(clip.Channels, c.Samples())
	}
	return clip
}
