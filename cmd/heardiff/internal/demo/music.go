// Package demo invents what heardiff's demonstration needs and no user of the real thing does: a short piece of
// music, chains with known faults, and listeners with known thresholds. Everything it makes is invented.
package demo

import (
	"math"
	"math/rand/v2"

	"heardiff/playback/pcm"
)

// The piece: a slow four-chord round for two plucked instruments, a frame drum, a shaker and a wood block in a
// small room, at 96 beats a minute. Strings are delay lines that lose their high partials (Karplus and Strong,
// Digital Synthesis of Plucked-String and Drum Timbres, Computer Music Journal 7(2), 1983), drums are decaying
// sines and noise, the room is a feedback delay network of eight lines.
const (
	beatsPerMinute = 96
	beatsPerBar    = 4
)

// chord is one bar: the bass note and the notes an arpeggio picks from, in MIDI numbers (69 = 440 Hz).
type chord struct {
	bass  int
	notes [4]int
}

var progression = [...]chord{
	{bass: 38, notes: [4]int{62, 65, 69, 74}},
	{bass: 43, notes: [4]int{62, 67, 71, 74}},
	{bass: 36, notes: [4]int{60, 64, 67, 72}},
	{bass: 45, notes: [4]int{60, 64, 69, 76}},
}

// melody holds, bar by bar, notes on half-beats (0 = rest).
var melody = [...][8]int{
	{0, 0, 81, 0, 77, 0, 76, 74},
	{79, 0, 0, 0, 74, 0, 71, 0},
	{0, 76, 79, 0, 84, 0, 79, 76},
	{81, 0, 0, 76, 0, 72, 0, 0},
}

// ringsS is for how many seconds the last bar rings.
const ringsS = 1.5

// Music returns the demonstration's piece: stereo, peaks near −3 dBFS, seconds long, the same for the same seed.
func Music(rate pcm.Rate, seconds float64, seed uint64) pcm.Clip {
	dry := pcm.NewClip(rate, 2, int(seconds*rate.Hz()))
	p := &player{clip: dry, random: rand.New(rand.NewPCG(seed, 1))}
	beat := 60.0 / beatsPerMinute
	for bar := 0; ; bar++ {
		at := 0.3 + float64(bar*beatsPerBar)*beat
		if at >= seconds-ringsS {
			break
		}
		p.playBar(at, beat, bar)
	}
	out := room(dry)
	normalize(out, pcm.Ratio(-3))
	return out
}

type player struct {
	clip   pcm.Clip
	random *rand.Rand
}

func (p *player) playBar(at, beat float64, bar int) {
	c, tune := progression[bar%len(progression)], melody[bar%len(melody)]
	p.pluck(at, c.bass, 0.5, 0, 0.9985)
	p.pluck(at+2.5*beat, c.bass+7, 0.3, 0, 0.998)
	for i := range 8 {
		t := at + (float64(i)+0.02*p.random.NormFloat64())*beat/2
		p.pluck(t, c.notes[(i*3)%4], 0.16+0.05*p.random.Float64(), -0.5, 0.9965)
		p.shake(t, 0.020+0.02*float64((i+1)%2))
		if note := tune[i]; note != 0 && bar > 0 {
			p.pluck(t+0.012, note, 0.30, 0.45, 0.9975)
		}
	}
	p.drum(at, 0.5)
	p.drum(at+2*beat, 0.33)
	p.block(at+1.5*beat, 0.14)
	p.block(at+3.75*beat, 0.10)
}

// add mixes a mono sound that begins at second t into the clip, pan −1 (left) to 1 (right) at constant power.
func (p *player) add(t, pan float64, frames int, sound func(i int) float64) {
	from := int(t * p.clip.Rate.Hz())
	left, right := math.Cos((pan+1)*math.Pi/4), math.Sin((pan+1)*math.Pi/4)
	for i := range frames {
		k := from + i
		if k < 0 {
			continue
		}
		if k >= p.clip.Len() {
			return
		}
		v := sound(i)
		p.clip.Channels[0][k] += left * v
		p.clip.Channels[1][k] += right * v
	}
}

// pluck plays one string: a burst of noise circulates in a delay line one period long and loses its high
// partials at each turn. An all-pass section supplies the fraction of a sample that tunes it.
func (p *player) pluck(t float64, midi int, level, pan, decay float64) {
	hz := 440 * math.Exp2(float64(midi-69)/12)
	period := p.clip.Rate.Hz()/hz - 0.5 // the averaging below delays by half a sample
	n := int(period)
	fraction := period - float64(n)
	allpass := (1 - fraction) / (1 + fraction)
	line := p.excitation(n)
	pos, last, apIn, apOut := 0, 0.0, 0.0, 0.0
	frames := int(2.8 * p.clip.Rate.Hz())
	p.add(t, pan, frames, func(i int) float64 {
		v := line[pos]
		low := decay * 0.5 * (v + last)
		last = v
		apOut = allpass*(low-apOut) + apIn
		apIn = low
		line[pos] = apOut
		pos = (pos + 1) % n
		release := math.Min(1, float64(frames-i)/(0.3*float64(frames)))
		return 2.2 * level * v * math.Min(1, float64(i)/40) * release
	})
}

// excitation returns n samples of softened noise, as a fingertip leaves the string. Its mean is taken out: the
// loop would keep it for ever.
func (p *player) excitation(n int) []float64 {
	line := make([]float64, n)
	smooth, sum := 0.0, 0.0
	for i := range line {
		smooth += 0.55 * (2*p.random.Float64() - 1 - smooth)
		line[i] = smooth
		sum += smooth
	}
	for i := range line {
		line[i] -= sum / float64(n)
	}
	return line
}

// drum plays a frame drum: a sine that falls in pitch as the skin relaxes, and the stroke's noise.
func (p *player) drum(t, level float64) {
	rate, phase, noise := p.clip.Rate.Hz(), 0.0, 0.0
	p.add(t, 0.1, int(0.5*rate), func(i int) float64 {
		s := float64(i) / rate
		phase += 2 * math.Pi * (78 + 60*math.Exp(-s/0.03)) / rate
		noise += 0.2 * (p.random.NormFloat64() - noise)
		onset := math.Min(1, s/0.001)
		return level * onset * (math.Sin(phase)*math.Exp(-s/0.12) + 0.5*noise*math.Exp(-s/0.012))
	})
}

// shake plays one stroke of a shaker: noise without its low half, rising and falling.
func (p *player) shake(t, level float64) {
	rate, low := p.clip.Rate.Hz(), 0.0
	p.add(t, 0.75, int(0.09*rate), func(i int) float64 {
		s := float64(i) / rate
		v := p.random.NormFloat64()
		low += 0.5 * (v - low)
		return level * (v - low) * math.Pow(math.Sin(math.Pi*math.Min(1, s/0.09)), 2)
	})
}

// block plays a wood block: two short inharmonic partials.
func (p *player) block(t, level float64) {
	rate := p.clip.Rate.Hz()
	p.add(t, -0.7, int(0.15*rate), func(i int) float64 {
		s := float64(i) / rate
		ring := math.Sin(2*math.Pi*1180*s) + 0.6*math.Sin(2*math.Pi*2730*s)
		return level * math.Min(1, s/0.0005) * ring * math.Exp(-s/0.022)
	})
}

func normalize(c pcm.Clip, peak float64) {
	most := 0.0
	for _, ch := range c.Channels {
		for _, v := range ch {
			most = max(most, math.Abs(v))
		}
	}
	if most == 0 {
		return
	}
	for _, ch := range c.Channels {
		for i := range ch {
			ch[i] *= peak / most
		}
	}
}
