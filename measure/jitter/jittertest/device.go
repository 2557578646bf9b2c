package jittertest

import (
	"math"
	"math/rand/v2"

	"heardiff/playback/pcm"
)

// Devices is how many chains Device knows.
const Devices = 84

// Loop is a second-order loop of natural frequency fₙ in Hz and damping ζ, such as recovers a clock.
type Loop struct{ Hz, Damping float64 }

// Passed is |H|² of what the loop lets through from its reference: (1 + 4ζ²x²)/((1 − x²)² + 4ζ²x²), x = f/fₙ.
func (l Loop) Passed(hz float64) float64 {
	x := hz / l.Hz * hz / l.Hz
	d := 4 * l.Damping * l.Damping * x
	return (1 + d) / ((1-x)*(1-x) + d)
}

// Own is |1 − H|², its gain for its own oscillator: x⁴/((1 − x²)² + 4ζ²x²).
func (l Loop) Own(hz float64) float64 {
	x := hz / l.Hz * hz / l.Hz
	return x * x / ((1-x)*(1-x) + 4*l.Damping*l.Damping*x)
}

// Device returns the capture of the chain of a number from 0 to Devices − 1, each with a clock whose jitter is shaped by a loop and rises
// towards the carrier, lines of packets, mains, supply and idle tones, and a recorder with noise, jitter, hum, distortion, an offset and a
// clock of its own, which drifts. Every line is at least 20 dB above the noise in a bin of the record.
func Device(number int) Capture {
	random := rand.New(rand.NewPCG(uint64(number), 0x510e527fade682d1))
	between := func(low, high float64) float64 { return low * math.Pow(high/low, random.Float64()) }
	rates := [][2]pcm.Rate{ // of the signal, and of its recorder
		{44100, 48000}, {48000, 48000}, {44100, 96000}, {48000, 96000}, {96000, 96000}, {44100, 192000}, {48000, 192000}, {96000, 192000},
	}
	r := rates[number%len(rates)]
	c := Capture{Rate: r[1], Seconds: []float64{10, 20, 30, 60}[number/len(rates)%4], Amplitude: between(0.2, 0.9),
		CarrierHz: r[0].Hz() / 4 * (1 + (random.Float64()-0.5)*200e-6), PhaseDegrees: 360 * random.Float64(),
		NoiseDBFS: -125 + 20*random.Float64(), DriftPPM: 0.4 * (random.Float64() - 0.5), Bits: 24, Seed: uint64(number)}
	c.Shaped = clocks(between, 0.45*min(r[0].Hz(), r[1].Hz()))
	d := device{Capture: &c, random: random, between: between, highHz: 0.97 * min(10000, 0.8*min(c.CarrierHz, r[1].Hz()/2-c.CarrierHz))}
	d.addLines()
	d.addRecorder()
	return c
}

// clocks are the chain's and the recorder's.
func clocks(between func(low, high float64) float64, highHz float64) []Shape {
	l := Loop{between(30, 3000), between(0.15, 1)}
	reference, own := between(0.05e-24, 2e-24), between(0.5e-24, 50e-24) // s²/Hz, and at 100 Hz
	skirt2, skirt3 := between(0.3e-24, 30e-24), between(0.3e-24, 30e-24) // at 10 Hz
	recorder := between(1e-28, 1e-26)
	return []Shape{
		{1, highHz, func(hz float64) float64 {
			return reference*l.Passed(hz) + own*math.Pow(100/hz, 2)*l.Own(hz)
		}},
		{0.05, highHz, func(hz float64) float64 { return skirt2*math.Pow(10/hz, 2) + skirt3*math.Pow(10/hz, 3) }},
		{0.05, highHz, func(hz float64) float64 { return recorder * (1 + math.Pow(100/hz, 2)) }},
	}
}

// device is a capture in the making.
type device struct {
	*Capture
	random  *rand.Rand
	between func(low, high float64) float64
	highHz  float64
}

// addLines adds the chain's lines.
func (d device) addLines() {
	for _, hz := range []float64{1000, 2000, 3000, 4000, 8000} { // frames of 1 ms, and of 125 µs, of the sender's own clock
		d.addLine(hz * (1 + 20e-6))
	}
	for range 3 { // a supply, and what beats with it
		d.addLine(d.between(500, d.highHz))
	}
	if hz := d.between(500, d.highHz); hz < d.highHz {
		d.AM = append(d.AM, d.line(hz, 2*math.Pi*d.CarrierHz))
	}
	for range 2 { // idle tones
		tone := d.line(d.between(500, d.highHz), math.Pi*d.CarrierHz*d.Amplitude)
		tone.Hz += d.CarrierHz
		d.Added = append(d.Added, tone)
	}
	mains := Wander{Hz: []float64{50, 60}[d.random.IntN(2)], RMSHz: d.between(0.001, 0.03), SlowHz: 0.02, FastHz: 0.3}
	for _, n := range []float64{1, 2, 3, 6} {
		j := d.line(n*mains.Hz, 1)
		j.Hz, j.Peak = n, 6*j.Peak // spread over some bins
		mains.Jitter = append(mains.Jitter, j)
	}
	am := d.line(2*mains.Hz, 2*math.Pi*d.CarrierHz)
	am.Hz = 2
	mains.AM = append(mains.AM, am)
	d.Wandering = append(d.Wandering, mains)
}

func (d device) addLine(hz float64) {
	if hz < d.highHz {
		d.Jitter = append(d.Jitter, d.line(hz, 1))
	}
}

// line returns a line that is 20 to 50 dB above the noise in a bin of the record, in seconds times scale.
func (d device) line(hz, scale float64) Sine {
	inBin := d.PhaseDensity(hz) / d.Seconds
	return Sine{hz, scale * math.Sqrt(2*inBin*d.between(1e2, 1e5)), 2 * math.Pi * d.random.Float64()}
}

// addRecorder adds the recorder's own direct voltage, harmonics and hum.
func (d device) addRecorder() {
	d.DC = 0.002 * (d.random.Float64() - 0.5)
	d.Harmonics = []float64{d.between(1e-6, 1e-4), d.between(1e-6, 1e-4), d.between(1e-7, 1e-5)}
	for _, hz := range []float64{50, 100, 150, 300} {
		d.Added = append(d.Added, Sine{hz, d.between(1e-6, 1e-4), 2 * math.Pi * d.random.Float64()})
	}
}

// Density returns the one-sided density of the random jitter at a frequency, in s²/Hz.
func (c Capture) Density(hz float64) float64 {
	sum := 0.0
	for _, s := range c.shapes() {
		if hz >= s.LowHz && hz <= s.HighHz {
			sum += s.Density(hz)
		}
	}
	return sum
}

// PhaseDensity returns the density of the phase's noise as jitter in s²/Hz: of the random jitter, and of the additive noise, whose power σ² of
// half the rate puts 4σ²/(a²·rate) rad²/Hz into the phase of a tone of peak a.
func (c Capture) PhaseDensity(hz float64) float64 {
	sigma := pcm.RMSOf(c.NoiseDBFS) / c.Amplitude / (2 * math.Pi * c.CarrierHz)
	return c.Density(hz) + 4*sigma*sigma/c.Rate.Hz()
}

// RandomIn returns the RMS of the random jitter between two frequencies in ps.
func (c Capture) RandomIn(lowHz, highHz float64) float64 {
	sum := 0.0
	for _, s := range c.shapes() {
		sum += s.Variance(lowHz, highHz)
	}
	return math.Sqrt(sum) * 1e12
}

// shapes returns all random jitter.
func (c Capture) shapes() []Shape {
	if c.RandomPs == 0 {
		return c.Shaped
	}
	return append([]Shape{c.flat()}, c.Shaped...)
}

// LinesIn returns the lines of jitter between two frequencies, a wandering one at its middle.
func (c Capture) LinesIn(lowHz, highHz float64) []Sine {
	var out []Sine
	take := func(s Sine) {
		if s.Hz >= lowHz && s.Hz <= highHz {
			out = append(out, s)
		}
	}
	for _, j := range c.Jitter {
		take(j)
	}
	for _, w := range c.Wandering {
		for _, j := range w.Jitter {
			take(w.of(j))
		}
	}
	return out
}
