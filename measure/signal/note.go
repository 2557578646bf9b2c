package signal

import "fmt"

// Note describes a signal: what it is, how to play it, and for how long to record.
type Note struct {
	Schema   string  `json:"schema"` // heardiff.signal/1
	Kind     string  `json:"kind"`
	RateHz   int     `json:"rate_hz"`
	Bits     int     `json:"bits"`
	Channels int     `json:"channels"`
	Seconds  float64 `json:"seconds"`
	Frames   int     `json:"frames"`
	// LevelDBFS is the AES17 level, NaN where the kind has none to choose.
	LevelDBFS float64  `json:"level_dbfs"`
	Dither    string   `json:"dither"` // tpdf, none
	Seed      uint64   `json:"seed"`
	Holds     string   `json:"holds"`
	Play      string   `json:"play"`
	Record    string   `json:"record"`
	Measure   string   `json:"measure"` // how the capture is measured, in the words of the program that writes the note
	Cautions  []string `json:"cautions"`
}

// Note returns the calibration note of the signal, without Measure.
func (s *Signal) Note() Note {
	n := Note{
		Schema: "heardiff.signal/1", Kind: s.cfg.Kind.String(), RateHz: int(s.cfg.Rate), Bits: s.cfg.Bits,
		Channels: s.cfg.Channels, Seconds: s.cfg.Rate.Seconds(s.frames), Frames: s.frames,
		LevelDBFS: s.level, Dither: "tpdf", Seed: s.cfg.Seed, Holds: s.holds(),
		Play: "Bit for bit, volume at maximum or bypassed, no equaliser, no other sounds, at the file's own rate. " +
			"Disconnect headphones and loudspeakers.",
		Record: fmt.Sprintf("At the same or twice the rate, 24 bits, peaks between −6 and −1 dBFS of the recorder, "+
			"all %.0f s and a second on either side; the gain never touched between chains.", s.cfg.Rate.Seconds(s.frames)),
		Cautions: cautions(s.cfg.Kind),
	}
	if s.exact || s.cfg.Dither == NoDither {
		n.Dither = "none"
	}
	switch s.cfg.Kind {
	case Silence:
		n.Record = "With the recorder's gain exactly as for the tone, for as long as the file lasts."
	case Integrity:
		n.Record = "Digitally, at the same rate and 24 bits; an analogue capture cannot show whether words are equal."
	case Level:
		n.Play = levelPlay
		n.Record = "Nothing: it is for the ears, through the chain that plays the test."
	}
	return n
}

const levelPlay = "Volume at its lowest first, then start and raise it slowly to an easy level that you could bear for an hour; " +
	"then leave the volume alone. Music whose loudness_lufs is higher than that of this noise will be louder by the difference: " +
	"listen to its loudest part before a session too."

func (s *Signal) holds() string {
	switch s.cfg.Kind {
	case Jitter:
		return fmt.Sprintf("a tone of %g Hz, −3.01 dBFS, and a square wave of one step of %d bits at %g Hz",
			s.cfg.Rate.Hz()/4, s.cfg.Bits, s.cfg.Rate.Hz()/jitterPeriod)
	case Tone, LowTone:
		return fmt.Sprintf("a sine of %g Hz at %g dBFS", ToneHz, s.level)
	case Silence:
		return "no signal but the dither named here"
	case TwoTone:
		hz, part := s.cfg.Pair.hz(), s.cfg.Pair.parts()
		return fmt.Sprintf("sines of %g Hz and %g Hz, %g:1, together as high as a sine of %g dBFS", hz[0], hz[1], part[0]/part[1], s.level)
	case Sweep:
		shape := NewSweepShape(s.cfg.Rate, s.frames)
		return fmt.Sprintf("an exponential sweep at %g dBFS, %g Hz at %.4f s to %g Hz at %.4f s, e-fold in %g s, faded outside",
			s.level, SweepLowHz, shape.BeginS, shape.HighHz, shape.EndS, shape.GrowthS)
	case Integrity:
		return fmt.Sprintf("a sync mark of %d frames, then full-scale pseudo-random words", SyncFrames)
	}
	return fmt.Sprintf("pink noise, 20 Hz to 20 kHz, %g dBFS RMS, faded in over 2 s", s.level)
}

// HearingCaution names published limits of exposure. heardiff itself cannot know what reaches the ear.
//
// ref: NIOSH: 85 dBA for 8 hours, halved with every 3 dB. ref: WHO and ITU-T H.870: 80 dBA for 40 hours a week.
const HearingCaution = "Hearing: 85 dBA is the most for 8 hours a day, and every 3 dB more halves the time (NIOSH); 80 dBA for " +
	"40 hours a week, 75 dBA for children and sensitive ears (WHO-ITU H.870). heardiff knows dBFS, not what reaches your ears: " +
	"only a sound level meter can tell. Stop if your ears ring or tire."

func cautions(k Kind) []string {
	switch k {
	case Level:
		return []string{HearingCaution}
	case Integrity:
		return []string{"Full-scale noise: for digital loops only. Never through headphones or loudspeakers; it can damage both hearing and drivers."}
	case Silence:
		return nil
	}
	return []string{"A test signal near full scale: keep headphones and loudspeakers off; high tones burn tweeters and hurt ears before they sound loud."}
}
