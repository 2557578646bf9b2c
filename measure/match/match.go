// Package match finds what differs between two captures of the same music besides what the chains did: offset,
// clock drift, gain, polarity and swapped channels; takes it away, alike for all; and says what is left.
//
// Positions are frames unless a name says otherwise. A is the reference: frame t of A stands at
// offset + t·(1 + drift) of B.
package match

import (
	"errors"
	"fmt"

	"heardiff/playback/pcm"
)

// ErrUnrelated is wrapped by Compare's error where no common music was found.
var ErrUnrelated = errors.New("no common music found")

// Schema names the form of Result as JSON.
const Schema = "heardiff.compare/1"

// Polarity of B against A.
const (
	Same     = "same"
	Inverted = "inverted"
)

// Config says how captures are compared. The zero value is the usual way.
type Config struct {
	// MinOverlapS is the shortest overlap that is compared, in seconds. 0 stands for 1.
	MinOverlapS float64
}

func (c Config) minOverlap() float64 {
	if c.MinOverlapS == 0 {
		return 1
	}
	return c.MinOverlapS
}

// Validate returns an error that names the field that is out of its range.
func (c Config) Validate() error {
	if !(c.minOverlap() >= 0.2) {
		return fmt.Errorf("match: MinOverlapS %v: want 0.2 s or more", c.MinOverlapS)
	}
	return nil
}

// Result is what Compare found. Numbers that could not be measured are NaN.
type Result struct {
	Schema string `json:"schema"`
	// An event at second t of A stands at OffsetS + t·(1 + DriftPPM·1e−6) of B.
	OffsetS       float64 `json:"offset_s"`
	OffsetSamples float64 `json:"offset_samples"`
	DriftPPM      float64 `json:"drift_ppm"`
	// GainDB > 0: B is louder. Least squares of B on A, 20 Hz to 20 kHz, over all channels. Noise in A (not in
	// B) makes it too small by 10·log10(1 + noise/signal); the standard error allows for that.
	GainDB          float64 `json:"gain_db"`
	Polarity        string  `json:"polarity"`
	ChannelsSwapped bool    `json:"channels_swapped"`
	// NullDB is rms(A − corrected B)/rms(A), 20 Hz to 20 kHz; −Inf with Identical where nothing is left.
	NullDB    float64 `json:"null_db"`
	Identical bool    `json:"identical"`
	// NullBands are relative to A in the same octave.
	NullBands []Band `json:"null_bands"`
	// ResponseMaxDB is the largest third-octave difference B − A after the common gain, with its sign.
	ResponseMaxDB float64        `json:"response_max_db"`
	ResponseBands []ResponseBand `json:"response_bands"`
	// LoudnessDifferenceLU is the K-weighted level of B less that of A over the overlap, before any
	// correction. Both are gated alike by being the same music, so no gate is applied.
	LoudnessDifferenceLU float64 `json:"loudness_difference_lu"`
	// Correlation is the normalized correlation of A and corrected B, 20 Hz to 20 kHz.
	Correlation float64 `json:"correlation"`
	OverlapS    float64 `json:"overlap_s"`
	// Confidence tells how much better this alignment fits than the next: 1 − (overlap explained by the
	// next best, at another place)/(overlap explained). Near 0 where the music repeats exactly.
	Confidence     float64        `json:"confidence"`
	StandardErrors StandardErrors `json:"standard_errors"`
	Channels       []Channel      `json:"channel"`
	Wander         Wander         `json:"wander"`
	Residual       Residual       `json:"residual"`
	Warnings       []string       `json:"warnings"`

	line line
}

// Band is a level in a band of frequencies.
type Band struct {
	LowHz  float64 `json:"low_hz"`
	HighHz float64 `json:"high_hz"`
	DB     float64 `json:"db"`
}

// ResponseBand is a level difference B − A, with its standard error from the coherence; NaN where the two
// captures hold nothing common.
type ResponseBand struct {
	Band
	StandardErrorDB float64 `json:"standard_error_db"`
	Coherence       float64 `json:"coherence"`
}

// StandardErrors of the common figures.
type StandardErrors struct {
	OffsetSamples float64 `json:"offset_samples"`
	DriftPPM      float64 `json:"drift_ppm"`
	GainDB        float64 `json:"gain_db"`
}

// Channel is one channel of A against its partner in B, counted from 1 in A. The figures are whole, not
// differences from the common ones. A negative Polarity relative to the common one is said in a warning.
type Channel struct {
	Channel       int     `json:"channel"`
	GainDB        float64 `json:"gain_db"`
	OffsetSamples float64 `json:"offset_samples"`
}

// Wander is how far the clocks strayed from a straight line.
type Wander struct {
	RMSSamples  float64 `json:"rms_samples"`
	PeakSamples float64 `json:"peak_samples"`
	Significant bool    `json:"significant"`
	Pieces      []Piece `json:"pieces"`
}

// Piece is the drift in one stretch of A.
type Piece struct {
	FromS    float64 `json:"from_s"`
	ToS      float64 `json:"to_s"`
	DriftPPM float64 `json:"drift_ppm"`
}

// Residual says what the remainder is made of, as shares of its power, and names the largest: "noise",
// "distortion", "response", "timing" or "none". It is an indication: shares are told apart by coherence
// (response), by the strayed clock (timing), and by whether the rest rises with the music (distortion).
type Residual struct {
	Kind     string  `json:"kind"`
	Response float64 `json:"response_share"`
	Timing   float64 `json:"timing_share"`
	// LevelSlope is by how many dB the rest rises when the music rises by one: 0 for noise, 1 or more for
	// distortion and fast jitter.
	LevelSlope float64 `json:"level_slope"`
}

// line is the place in B of frames of A, and how B is wired.
type line struct {
	offset, drift float64
	sign          float64
	swapped       bool
}

// shift returns by how many frames frame t of A is displaced in B.
func (l line) shift(t float64) float64 { return l.offset + l.drift*t }

// overlap returns the frames of A that have a partner in B, with a margin for the interpolator.
func (l line) overlap(a, b pcm.Reader, margin int) (from, to int) {
	m := float64(margin)
	lo := (m - l.offset) / (1 + l.drift)
	hi := (float64(b.Frames()) - m - l.offset) / (1 + l.drift)
	return int(max(0, lo+1)), int(min(float64(a.Frames()), hi))
}

// Compare measures how B differs from A. The readers are read block by block, each by one goroutine; they must
// not be the same unless it is a pcm.Clip.
//   - pcm.ErrMismatch, wrapped: rates or channel counts differ.
//   - ErrUnrelated, wrapped: nothing common was found, or too little.
func Compare(a, b pcm.Reader, cfg Config) (Result, error) {
	if err := cfg.Validate(); err != nil {
		return Result{}, err
	}
	fa, fb := a.Format(), b.Format()
	if fa.Rate != fb.Rate {
		return Result{}, fmt.Errorf("match: %w: %d Hz against %d Hz", pcm.ErrMismatch, fa.Rate, fb.Rate)
	}
	if fa.Channels != fb.Channels {
		return Result{}, fmt.Errorf("match: %w: %d channels against %d", pcm.ErrMismatch, fa.Channels, fb.Channels)
	}
	found, err := align(a, b, cfg)
	if err != nil {
		return Result{}, err
	}
	r, err := settle(a, b, found)
	if err != nil {
		return Result{}, err
	}
	if r.NullDB > deepNull {
		if r, err = reconsider(a, b, found, r); err != nil {
			return Result{}, err
		}
	}
	if !(r.Correlation >= leastCorrelation) {
		return Result{}, fmt.Errorf("match: %w: at the best place the captures correlate by only %.2f", ErrUnrelated, r.Correlation)
	}
	return r, nil
}

// settle measures what is left of two captures at the place that was found.
func settle(a, b pcm.Reader, found aligned) (Result, error) {
	left, err := residual(a, b, found.line, found.gain)
	if err != nil {
		return Result{}, err
	}
	return report(a.Format(), found, left), nil
}

// leastCorrelation is where two captures stop being of the same music: what differs is then stronger than what
// is common (a correlation of 0.6 is a signal-to-noise ratio of −2.5 dB). A judgement, no source.
const leastCorrelation = 0.6
