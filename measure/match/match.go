package match

import (
	"errors"
	"fmt"
	"math"

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
	// LoudnessDifferenceLU is the loudness of B less that of A over the overlap, before any correction: ITU-R BS.1770,
	// each gated by itself. NaN where one is too quiet or the overlap too short for a loudness.
	LoudnessDifferenceLU float64 `json:"loudness_difference_lu"`
	// Correlation is the normalized correlation of A and corrected B, 20 Hz to 20 kHz.
	Correlation float64 `json:"correlation"`
	OverlapS    float64 `json:"overlap_s"`
	// Confidence tells how much better this alignment fits than the next best at another place: 1 − (power left
	// here)/(power left there), relative to A's as in the null; a stretch left out beside a jump counts as left, too. Near 0
	// where the music repeats exactly, 0.9 where the null is 10 dB deeper. A place that explains a tenth less at first
	// sight, or worse, is not followed to its end: what it would leave is told from that.
	Confidence     float64        `json:"confidence"`
	StandardErrors StandardErrors `json:"standard_errors"`
	Channels       []Channel      `json:"channel"`
	Wander         Wander         `json:"wander"`
	Residual       Residual       `json:"residual"`
	Warnings       []string       `json:"warnings"`

	line     line
	likeness float64 // the correlation, each channel at its own delay and polarity, or each block at its own delay
	passing  passing
	inverted []bool // channels of B, by their number in A, against Polarity
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
	deciding        float64 // degrees of freedom of the error
}

// StandardErrors of the common figures.
type StandardErrors struct {
	OffsetSamples float64 `json:"offset_samples"`
	DriftPPM      float64 `json:"drift_ppm"`
	GainDB        float64 `json:"gain_db"`
}

// Channel is one channel of A against its partner in B, counted from 1 in A. The figures are whole, not
// differences from the common ones; the common offset is the mean of theirs, each weighed by how well it is known. A negative
// Polarity relative to the common one is said in a warning.
type Channel struct {
	Channel       int     `json:"channel"`
	GainDB        float64 `json:"gain_db"`
	OffsetSamples float64 `json:"offset_samples"`
}

// Wander is how far the clocks strayed from a straight line. RMSSamples and PeakSamples are of an average over five of the
// blocks in which the delay is followed: they hold what is slower than BelowHz, where 3 dB are lost. What is faster
// shows in Residual.Timing.
type Wander struct {
	BelowHz     float64 `json:"below_hz"`
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

// Residual says what the remainder is made of, as shares of its power from 0 to 1, and names the largest: "noise",
// "distortion", "response", "timing" or "none". It is an indication: the response's share is what one filter makes of A
// in bands of a sixth of an octave; timing's what a delay that changes every 5 ms explains, beyond what a level that
// changes as often does (jitter below some 100 Hz, and wander); noise's what is left while the music is quiet, all the
// time; and distortion is the rest: what rises with the music, fast jitter included. Of music whose level hardly changes
// distortion cannot be told from noise.
type Residual struct {
	Kind       string  `json:"kind"`
	Response   float64 `json:"response_share"`
	Timing     float64 `json:"timing_share"`
	Noise      float64 `json:"noise_share"`
	Distortion float64 `json:"distortion_share"`
	// LevelSlope is by how many dB the rest rises when the music rises by one: 0 for noise, 1 or more for
	// distortion and fast jitter.
	LevelSlope float64 `json:"level_slope"`
}

// line is the place in B of frames of A, and how B is wired.
type line struct {
	offset, drift float64
	sign          float64
	swapped       bool
	flipped       uint64 // bit c: channel c of B is inverted against the others
	from, to      int    // frames of A for which it holds; to = 0: all
}

// signOf returns the sign of channel c of B.
func (l line) signOf(c int) float64 {
	if l.flipped>>c&1 == 1 {
		return -l.sign
	}
	return l.sign
}

// shift returns by how many frames frame t of A is displaced in B.
func (l line) shift(t float64) float64 { return l.offset + l.drift*t }

// overlap returns the frames of A that have a partner in B, with a margin for the interpolator.
func (l line) overlap(a, b pcm.Reader, margin int) (from, to int) {
	m := float64(margin)
	lo := (m - l.offset) / (1 + l.drift)
	hi := (float64(b.Frames()) - m - l.offset) / (1 + l.drift)
	from, to = int(max(0, lo+1)), int(min(float64(a.Frames()), hi))
	if l.to > 0 {
		from, to = max(from, l.from), min(to, l.to)
	}
	return from, to
}

// Compare measures how B differs from A. The readers are read block by block, each by one goroutine; they must
// not be the same unless it is a pcm.Clip.
//   - pcm.ErrMismatch, wrapped: rates or channel counts differ.
//   - ErrUnrelated, wrapped: nothing common was found, or too little; ErrMono, which wraps it, where one is mono.
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
	same, err := equal(a, b)
	if err != nil {
		return Result{}, fmt.Errorf("match: %w", err)
	}
	s, err := newSearch(a, b, cfg)
	if err != nil {
		return Result{}, err
	}
	place := s.best
	if same {
		place = s.inPlace
	}
	best, err := place()
	if err != nil {
		return Result{}, err
	}
	if !(best.likeness >= leastCorrelation) {
		return Result{}, s.unrelated(fmt.Sprintf("at the best place the captures correlate by only %.2f", best.likeness))
	}
	return best.Result, nil
}

// best follows every place that may be the one, and returns the deepest null with how sure it is.
func (s *search) best() (outcome, error) {
	if err := s.repeat(); err != nil {
		return outcome{}, err
	}
	best, err := s.pursue(s.places[0])
	if err != nil {
		return best, err
	}
	var beaten []outcome
	for _, p := range s.places[1:] {
		if !s.elsewhere(s.places[0], p) || !s.near(p) || p.glanced {
			continue
		}
		other, err := s.pursue(p)
		switch {
		case errors.Is(err, ErrUnrelated):
			continue
		case err != nil:
			return best, err
		case other.better(best):
			best, other = other, best
		}
		other.left = nil // it is large
		beaten = append(beaten, other)
	}
	for _, o := range beaten {
		if math.Abs(o.found.offset-best.found.offset) > apartS*s.rate.Hz() {
			best.found.followed(o)
		}
	}
	return s.again(best), nil
}

// rival is the share of what the best place explains from which on another is tried in full too: what the anchors say
// of two places is good to some per cent.
const rival = 0.9

// near reports whether p explains so much that it is tried in full.
func (s *search) near(p placed) bool { return p.explained >= rival*s.places[0].explained }

// outcome is a Result with what it was drawn from.
type outcome struct {
	Result
	found aligned
	left  *remainder
}

// again reports o anew, with what has become known of other places.
func (s *search) again(o outcome) outcome {
	o.Result = report(s.a.Format(), o.found, o.left)
	return o
}

// better reports whether o is the deeper null, or as deep over more of the captures.
func (o outcome) better(than outcome) bool {
	switch {
	case o.OverlapS > 1.1*than.OverlapS:
		return o.NullDB < than.NullDB+6
	case o.OverlapS < than.OverlapS/1.1:
		return o.NullDB < than.NullDB-6
	}
	return o.NullDB < than.NullDB
}

// pursue measures how the captures differ if p is their place, or one near it.
func (s *search) pursue(p placed) (outcome, error) {
	found, err := s.align(p)
	if err != nil {
		return outcome{}, err
	}
	r, err := s.settle(found)
	if err != nil {
		return r, err
	}
	if found.jump != "" {
		whole, err := s.unbroken(found)
		if err != nil || whole.NullDB < min(deepNull, r.NullDB+6) {
			return whole, err
		}
	}
	return s.reconsider(r)
}

// unbroken measures the captures over their whole overlap: on steady tones a jump by whole periods may be no more than a
// wrong place, and the whole then nulls.
func (s *search) unbroken(found aligned) (outcome, error) {
	found.from, found.to, found.jump = 0, 0, ""
	if err := found.refine(s); err != nil {
		return outcome{}, err
	}
	r, err := s.settle(found)
	if err != nil {
		return r, err
	}
	return s.reconsider(r)
}

// settle measures what is left of two captures at the place that was found.
func (s *search) settle(found aligned) (outcome, error) {
	left, err := residual(s.a, s.b, found.line, found.gain, found.a.peak, found.exact)
	if err != nil {
		return outcome{}, err
	}
	return s.again(outcome{found: found, left: left}), nil
}

// leastCorrelation is where two captures stop being of the same music: what differs is then stronger than what
// is common (a correlation of 0.6 is a signal-to-noise ratio of −2.5 dB). A judgement, no source.
const leastCorrelation = 0.6
