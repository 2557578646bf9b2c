package impair

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

// Quantity is what a ladder grades.
type Quantity string

// Quantities. Any other is refused.
const (
	RandomJitter   Quantity = "random-jitter"   // ps RMS
	PeriodicJitter Quantity = "periodic-jitter" // ps RMS
	NoiseLevel     Quantity = "noise"           // dBFS
	Gain           Quantity = "gain"            // dB
)

var quantities = map[Quantity]struct{ words, unit string }{
	RandomJitter:   {"random jitter", "ps RMS"},
	PeriodicJitter: {"periodic jitter", "ps RMS"},
	NoiseLevel:     {"noise", "dBFS"},
	Gain:           {"gain", "dB"},
}

// ParseQuantity reads "random-jitter", "periodic-jitter", "noise" or "gain".
func ParseQuantity(name string) (Quantity, error) {
	if _, known := quantities[Quantity(name)]; !known {
		return "", fmt.Errorf("impair: ladder of %q: want random-jitter, periodic-jitter, noise or gain", name)
	}
	return Quantity(name), nil
}

// String returns the quantity's name on the command line.
func (q Quantity) String() string { return string(q) }

// UnmarshalText reads a name.
func (q *Quantity) UnmarshalText(text []byte) (err error) {
	*q, err = ParseQuantity(string(text))
	return err
}

// Unit returns the unit of the quantity's doses.
func (q Quantity) Unit() string { return quantities[q].unit }

// LevelDB returns a dose of the quantity as a level in dB, on which thresholds are estimated: 20·log10 of its size in the unit, or the dose
// itself where that is a level. −Inf for no dose.
func (q Quantity) LevelDB(dose float64) float64 {
	if q == NoiseLevel {
		return dose
	}
	return 20 * math.Log10(math.Abs(dose))
}

// Ladder is a graded set of doses of one quantity, the material of a threshold test.
//
// Jitter goes from From to To in equal ratios; noise and gain in equal steps of decibels, which are equal ratios too.
// Either end may be the larger.
type Ladder struct {
	Quantity Quantity `json:"quantity"`
	From     float64  `json:"from"`
	To       float64  `json:"to"`
	Steps    int      `json:"steps"`
	// FreqHz is the frequency of periodic jitter.
	FreqHz float64 `json:"frequency_hz,omitempty"`
	// LowHz and HighHz bound random jitter; zeros as in Jitter.
	LowHz  float64 `json:"low_hz,omitempty"`
	HighHz float64 `json:"high_hz,omitempty"`
	// Colour is the colour of noise.
	Colour Colour `json:"colour"`
	// Seed determines every step's random numbers. Each step has its own, so that no noise comes back to be learnt.
	Seed uint64 `json:"seed"`
}

// MaxSteps is the largest number of steps of a ladder.
const MaxSteps = 100

// Step is one rung of a ladder.
type Step struct {
	// Value is the dose in the quantity's unit.
	Value float64
	Dose  Dose
}

// Validate returns an error that names what is out of range at the rate. A step that would change nothing is refused:
// a comparison of equal samples is a control, not a dose.
func (l Ladder) Validate(rate pcm.Rate) error {
	_, err := ParseQuantity(string(l.Quantity))
	ratio := l.Quantity == RandomJitter || l.Quantity == PeriodicJitter
	switch {
	case err != nil:
		return err
	case l.Steps < 2 || l.Steps > MaxSteps:
		return fmt.Errorf("impair: ladder of %d steps: want 2 to %d", l.Steps, MaxSteps)
	case !(l.From != l.To): // NaN included
		return fmt.Errorf("impair: ladder from %v to %v: want two different doses", l.From, l.To)
	case ratio && !(l.From > 0 && l.To > 0):
		return fmt.Errorf("impair: ladder from %v to %v ps: want doses above 0 at both ends", l.From, l.To)
	case l.Quantity == Gain && !(l.From*l.To > 0):
		return fmt.Errorf("impair: ladder from %v to %v dB: want both ends on the same side of 0", l.From, l.To)
	}
	for _, s := range l.steps() {
		if err := s.Dose.Validate(rate); err != nil {
			return err
		}
	}
	return nil
}

// Doses returns the steps, from From to To.
func (l Ladder) Doses(rate pcm.Rate) ([]Step, error) {
	if err := l.Validate(rate); err != nil {
		return nil, err
	}
	return l.steps(), nil
}

func (l Ladder) steps() []Step {
	out := make([]Step, l.Steps)
	for i := range out {
		v := l.value(i)
		out[i] = Step{Value: v, Dose: l.dose(v, uint64(i))}
	}
	return out
}

func (l Ladder) value(i int) float64 {
	switch i {
	case 0:
		return l.From // exactly as asked for, not as the power rounds it
	case l.Steps - 1:
		return l.To
	}
	t := float64(i) / float64(l.Steps-1)
	if l.Quantity == RandomJitter || l.Quantity == PeriodicJitter {
		return l.From * math.Pow(l.To/l.From, t)
	}
	return l.From + (l.To-l.From)*t
}

func (l Ladder) dose(value float64, step uint64) Dose {
	d := Dose{Seed: l.Seed + step}
	switch l.Quantity {
	case RandomJitter:
		d.Jitter = []Jitter{{Kind: Random, RMSPS: value, LowHz: l.LowHz, HighHz: l.HighHz}}
	case PeriodicJitter:
		d.Jitter = []Jitter{{Kind: Periodic, RMSPS: value, FreqHz: l.FreqHz}}
	case NoiseLevel:
		d.Noise = []Noise{{DBFS: value, Colour: l.Colour}}
	case Gain:
		d.GainDB = value
	}
	return d
}

// Band returns the two frequencies in Hz between which the ladder's jitter lies at the rate, equal for periodic jitter; nil for anything
// but jitter.
func (l Ladder) Band(rate pcm.Rate) []float64 {
	switch l.Quantity {
	case RandomJitter:
		j := Jitter{Kind: Random, LowHz: l.LowHz, HighHz: l.HighHz}.filled(rate)
		return []float64{j.LowHz, j.HighHz}
	case PeriodicJitter:
		return []float64{l.FreqHz, l.FreqHz}
	}
	return nil
}

// Words returns what the ladder puts in, without its size: "random jitter, 10 to 20000 Hz". Doses of equal words are
// doses of the same thing.
func (l Ladder) Words(rate pcm.Rate) string {
	words := quantities[l.Quantity].words
	switch l.Quantity {
	case RandomJitter:
		band := l.Band(rate)
		return fmt.Sprintf("%s, %g to %g Hz", words, band[0], band[1])
	case PeriodicJitter:
		return fmt.Sprintf("%s at %g Hz", words, l.FreqHz)
	case NoiseLevel:
		return fmt.Sprintf("%v %s", l.Colour, words)
	}
	return words
}
