// Package signal makes the signals to send through a chain. Every signal is a pcm.Reader whose samples are
// words of the stored length already, so that writing it as 16 or 24 bits changes nothing; any stretch can be
// read in any order, and the same configuration gives the same samples everywhere.
package signal

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

// Kind says which signal.
type Kind uint8

// The signals.
const (
	Unset Kind = iota
	// Jitter is a tone at a quarter of the rate, −3.01 dBFS, and a square wave of one step at rate/192, undithered.
	Jitter
	// Tone is a sine of 997 Hz: its period shares no factor with the usual rates, so every sample differs.
	Tone
	// LowTone is Tone at −60 dBFS, for dynamic range.
	LowTone
	// Silence is nothing but dither, or digital zero without.
	Silence
	// TwoTone is two sines for intermodulation.
	TwoTone
	// Sweep is an exponential sweep from 20 Hz to 20 kHz.
	Sweep
	// Integrity is pseudo-random words with a sync mark.
	Integrity
	// Level is pink noise for setting the listening level.
	Level
)

var kindNames = map[Kind]string{
	Jitter: "jitter", Tone: "tone", LowTone: "low-tone", Silence: "silence", TwoTone: "two-tone",
	Sweep: "sweep", Integrity: "integrity", Level: "level",
}

// String returns the name of the kind, such as "low-tone".
func (k Kind) String() string {
	if name, ok := kindNames[k]; ok {
		return name
	}
	return fmt.Sprintf("Kind(%d)", uint8(k))
}

// ParseKind returns the kind of a name that String gives.
func ParseKind(name string) (Kind, error) {
	for k, n := range kindNames {
		if n == name {
			return k, nil
		}
	}
	return Unset, fmt.Errorf("signal: unknown kind %q; want jitter, tone, low-tone, silence, two-tone, sweep, integrity or level", name)
}

// Pair says which two tones.
type Pair uint8

// The pairs of the two-tone signal.
const (
	// HighPair is 18 kHz and 20 kHz, equal: difference-frequency distortion.
	HighPair Pair = iota
	// LowPair is 60 Hz and 7 kHz, 4:1: modulation distortion.
	LowPair
)

// Dither says what is added before words are rounded.
type Dither uint8

// The dithers.
const (
	// TPDF is triangular dither, two steps peak to peak, different in each channel.
	TPDF Dither = iota
	// NoDither rounds to nearest. Jitter and Integrity signals are exact words and never dithered.
	NoDither
)

// Config says what to make.
type Config struct {
	Kind     Kind
	Rate     pcm.Rate // of 8 to 768 kHz
	Bits     int      // 16 or 24
	Channels int      // 1 to 8; 0 means 2
	Seconds  float64  // from end to end, above 0
	// LevelDBFS is the AES17 level, at most 0; nil means DefaultLevel. Of two tones it is the level of the
	// one sine with the same peak, of pink noise its RMS. Jitter, Silence and Integrity take none.
	LevelDBFS *float64
	Pair      Pair
	Dither    Dither
	Seed      uint64 // of dither, noise and words
}

// DefaultLevel returns the level in dBFS that a kind has by default, NaN where it takes none.
func DefaultLevel(k Kind) float64 {
	switch k {
	case Tone, TwoTone:
		return -1
	case LowTone:
		return -60
	case Sweep:
		return -6 // headroom for converters whose filters ring above the samples
	case Level:
		return -20
	}
	return math.NaN()
}

// Validate returns an error that names the field that is out of range.
func (c Config) Validate() error {
	_, known := kindNames[c.Kind]
	switch {
	case !known:
		return fmt.Errorf("signal: unknown kind %v", c.Kind)
	case !c.Rate.Valid():
		return fmt.Errorf("signal: rate %d Hz, want %d to %d", c.Rate, pcm.MinRate, pcm.MaxRate)
	case c.Bits != 16 && c.Bits != 24:
		return fmt.Errorf("signal: %d bits, want 16 or 24", c.Bits)
	case c.Channels < 0 || c.Channels > pcm.MaxChannels:
		return fmt.Errorf("signal: %d channels, want 1 to %d", c.Channels, pcm.MaxChannels)
	case !(c.Seconds > 0 && c.Seconds <= maxSeconds) || c.Rate.Hz()*c.Seconds < 1:
		return fmt.Errorf("signal: %v seconds, want more than nothing and at most %d", c.Seconds, maxSeconds)
	case c.Kind == TwoTone && c.Rate.Hz() <= 2*math.Max(c.Pair.hz()[0], c.Pair.hz()[1]):
		return fmt.Errorf("signal: %d Hz cannot carry a tone of %v Hz", c.Rate, c.Pair.hz()[1])
	case c.Kind == Sweep && c.Seconds < minSweepSeconds:
		return fmt.Errorf("signal: a sweep of %v seconds, want %d or more", c.Seconds, minSweepSeconds)
	}
	return c.validLevel()
}

const (
	maxSeconds      = 24 * 3600
	minSweepSeconds = 3
)

func (c Config) validLevel() error {
	if c.LevelDBFS == nil {
		return nil
	}
	if math.IsNaN(DefaultLevel(c.Kind)) {
		return fmt.Errorf("signal: the %v signal has a fixed level", c.Kind)
	}
	top := 0.0
	if c.Kind == Level {
		top = -12 // pink noise peaks some 12 dB above its RMS value, and nobody should meet it louder
	}
	if !(*c.LevelDBFS >= lowestDBFS && *c.LevelDBFS <= top) {
		return fmt.Errorf("signal: level %v dBFS, want −%v to %v", *c.LevelDBFS, -lowestDBFS, top)
	}
	return nil
}

// lowestDBFS is the lowest level of a signal: a word of 24 bits is at −138 dBFS.
const lowestDBFS = -140

// Signal is a signal to read; see pcm.Reader. Reads may be of any stretch in any order.
type Signal struct {
	cfg    Config
	frames int
	level  float64
	// word fills dst with samples (full scale ±1, not yet rounded) of a channel from frame from on.
	word  func(dst []float64, channel, from int)
	exact bool // samples are words already
}

// New returns the signal of a configuration.
func New(cfg Config) (*Signal, error) {
	if cfg.Channels == 0 {
		cfg.Channels = 2
	}
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	s := &Signal{cfg: cfg, frames: int(math.Round(cfg.Rate.Hz() * cfg.Seconds)), level: DefaultLevel(cfg.Kind)}
	if cfg.LevelDBFS != nil {
		s.level = *cfg.LevelDBFS
	}
	peak := pcm.Ratio(s.level)
	switch cfg.Kind {
	case Jitter:
		s.word, s.exact = jitterWords(cfg.Bits), true
	case Tone, LowTone:
		s.word = sines(cfg.Rate, []float64{ToneHz}, []float64{peak})
	case Silence:
		s.word = func(dst []float64, _, _ int) { clear(dst) }
	case TwoTone:
		parts := cfg.Pair.parts()
		s.word = sines(cfg.Rate, cfg.Pair.hz(), []float64{peak * parts[0], peak * parts[1]})
	case Sweep:
		s.word = NewSweepShape(cfg.Rate, s.frames).samples(peak)
	case Integrity:
		s.word, s.exact = randomWords(cfg.Bits, cfg.Seed), true
	case Level:
		s.word = pinkNoise(cfg.Rate, s.frames, cfg.Seed, pcm.RMSOf(s.level))
	}
	return s, nil
}

// Make returns the signal in memory, from end to end.
func Make(cfg Config) (pcm.Clip, error) {
	s, err := New(cfg)
	if err != nil {
		return pcm.Clip{}, err
	}
	return pcm.Load(s, 0, -1)
}

// Format returns rate, channels and word length.
func (s *Signal) Format() pcm.Format {
	return pcm.Format{Rate: s.cfg.Rate, Channels: s.cfg.Channels, Bits: s.cfg.Bits}
}

// Frames returns the number of frames.
func (s *Signal) Frames() int { return s.frames }

// ReadFrames fills dst from frame from on, see pcm.Reader.
func (s *Signal) ReadFrames(dst [][]float64, from int) (int, error) {
	n, end := pcm.Span(dst, s.cfg.Channels, s.frames, from)
	if n == 0 {
		return 0, end
	}
	for c := range dst {
		s.word(dst[c][:n], c, from)
		if !s.exact {
			s.round(dst[c][:n], c, from)
		}
	}
	return n, end
}

// round makes words of samples, with dither that depends on nothing but seed, channel and frame.
func (s *Signal) round(x []float64, channel, from int) {
	scale := math.Ldexp(1, s.cfg.Bits-1)
	for i, v := range x {
		v *= scale
		if s.cfg.Dither == TPDF {
			r := mix(s.cfg.Seed, channel, from+i)
			// Two halves of one random word: two uniform variables, whose difference is triangular.
			v += (float64(uint32(r)) - float64(uint32(r>>32))) * 0x1p-32
		}
		x[i] = min(max(math.Round(v), -scale), scale-1) / scale
	}
}
