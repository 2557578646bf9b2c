// Package jittertest makes simulated captures of known jitter: every sample by its closed form, so that nothing
// is interpolated.
//
//	x(t) = a·(1 + flicker(t))·Π(1 + m·sin(2πgt))·sin(2πf₀(t + τ(t))) + Σ tones + noise,  τ(t) = Σ p·sin(2πft + θ) + random(t)
package jittertest

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

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
	// Jitter is the time error in seconds, AM the modulation, Added tones beside the carrier.
	Jitter, AM, Added []Sine
	// RandomPs is the RMS of Gaussian time error, flat between RandomLowHz and RandomHighHz.
	RandomPs, RandomLowHz, RandomHighHz float64
	// Flicker is the RMS of Gaussian amplitude modulation as a ratio; its density falls as 1/f from FlickerLowHz to FlickerHighHz.
	Flicker, FlickerLowHz, FlickerHighHz float64
	// NoiseDBFS is the level of white additive noise from 0 to half the rate; 0 is none.
	NoiseDBFS float64
	// DriftPPM is the change of the carrier's frequency from the first to the last sample.
	DriftPPM float64
	Seed     uint64
}

// Samples returns one channel.
func (c Capture) Samples() []float64 {
	n := int(c.Seconds * c.Rate.Hz())
	random := rand.New(rand.NewPCG(c.Seed, 0x6a09e667f3bcc908))
	out := make([]float64, n)
	if c.RandomPs > 0 {
		c.fillRandom(out, random)
	}
	flicker := make([]float64, n)
	if c.Flicker > 0 {
		c.fillFlicker(flicker, rand.New(rand.NewPCG(c.Seed, 0xbb67ae8584caa73b)))
	}
	noise := 0.0
	if c.NoiseDBFS != 0 {
		noise = pcm.RMSOf(c.NoiseDBFS)
	}
	c.evaluate(out, flicker)
	if noise > 0 {
		for i := range out {
			out[i] += noise * random.NormFloat64()
		}
	}
	return out
}

// evaluate replaces the time error of every sample, whose amplitude has the given modulation, by the sample, on all processors: a minute takes some hundred million sines.
func (c Capture) evaluate(x, modulation []float64) {
	var wait sync.WaitGroup
	each := len(x)/runtime.GOMAXPROCS(0) + 1
	for from := 0; from < len(x); from += each {
		wait.Go(func() {
			for i := from; i < min(from+each, len(x)); i++ {
				x[i] = c.at(float64(i)/c.Rate.Hz(), x[i], 1+modulation[i])
			}
		})
	}
	wait.Wait()
}

func (c Capture) at(t, tau, envelope float64) float64 {
	for _, j := range c.Jitter {
		tau += j.Peak * math.Sin(2*math.Pi*j.Hz*t+j.Phase)
	}
	// A frequency of f₀·(1 + d·(t/T − ½)) has the phase f₀·(t + d·(t²/2T − t/2)).
	tau += c.DriftPPM * 1e-6 * (t*t/(2*c.Seconds) - t/2)
	_, turns := math.Modf(c.CarrierHz*t + c.PhaseDegrees/360)
	envelope *= c.Amplitude
	for _, m := range c.AM {
		envelope *= 1 + m.Peak*math.Sin(2*math.Pi*m.Hz*t+m.Phase)
	}
	x := envelope * math.Sin(2*math.Pi*(turns+c.CarrierHz*tau))
	for _, a := range c.Added {
		x += a.Peak * math.Sin(2*math.Pi*a.Hz*t+a.Phase)
	}
	return x
}

// fillRandom writes the random time error, made of Gaussian bins of one long transform.
func (c Capture) fillRandom(out []float64, random *rand.Rand) {
	size := spectrum.PowerOfTwo(len(out))
	bins := make([]complex128, size/2+1)
	low := int(math.Ceil(c.RandomLowHz / c.Rate.Hz() * float64(size)))
	high := int(c.RandomHighHz / c.Rate.Hz() * float64(size))
	// Each of the high−low+1 bins carries 2·E|X|²/size² of the variance, shared out evenly.
	each := c.RandomPs * 1e-12 * float64(size) / 2 / math.Sqrt(float64(high-low+1))
	for k := low; k <= high; k++ {
		bins[k] = complex(each*random.NormFloat64(), each*random.NormFloat64())
	}
	copy(out, spectrum.NewPlan(size).Inverse(nil, bins))
}

// fillFlicker writes the random modulation.
func (c Capture) fillFlicker(out []float64, random *rand.Rand) {
	size := spectrum.PowerOfTwo(len(out))
	bins := make([]complex128, size/2+1)
	perBin := c.Rate.Hz() / float64(size)
	// Bin k carries a part of the variance that is as 1/k.
	each := c.Flicker * float64(size) / 2 / math.Sqrt(math.Log(c.FlickerHighHz/c.FlickerLowHz))
	for k := int(math.Ceil(c.FlickerLowHz / perBin)); float64(k)*perBin <= c.FlickerHighHz; k++ {
		e := each / math.Sqrt(float64(k))
		bins[k] = complex(e*random.NormFloat64(), e*random.NormFloat64())
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
