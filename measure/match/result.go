package match

import (
	"heardiff/measure/match/align"
	"heardiff/measure/match/residual"
	"heardiff/stats/warning"
)

// Schema names the form of Result as JSON.
const Schema = "heardiff.compare/1"

// Polarity of B against A.
const (
	Same     = "same"
	Inverted = "inverted"
)

// What the steps of the method report, see there.
type (
	Band         = residual.Band
	ResponseBand = residual.ResponseBand
	Residual     = residual.Shares
	Wander       = align.Wander
)

// ErrUnrelated is wrapped by Compare's error where no common music was found.
var ErrUnrelated = align.ErrUnrelated

// Result is what Compare found. Numbers that could not be measured are NaN.
type Result struct {
	Schema string `json:"schema"`
	// An event at second t of A is at OffsetS + t·(1 + DriftPPM·1e−6) of B.
	OffsetS       float64 `json:"offset_s"`
	OffsetSamples float64 `json:"offset_samples"`
	DriftPPM      float64 `json:"drift_ppm"`
	// GainDB > 0: B is louder. Least squares of B on A, 20 Hz to 20 kHz, over all channels. Noise in A (not in
	// B) makes it too small by 10·log10(1 + noise/signal); the standard error allows for that.
	GainDB          float64 `json:"gain_db"`
	Polarity        string  `json:"polarity"`
	ChannelsSwapped bool    `json:"channels_swapped"`
	// NullDB is rms(A − corrected B)/rms(A), 20 Hz to 20 kHz; −Inf with Identical where there is no residual.
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
	// Confidence is how much better this alignment fits than the next best at another place: 1 − (residual
	// power here)/(residual power there), relative to A's as in the null; a stretch left out because of a jump counts as residual, too. Near 0
	// where the music repeats exactly, 0.9 where the null is 10 dB deeper. A place that at first explains a tenth less or worse is not measured in
	// full: its residual is estimated from that.
	Confidence float64 `json:"confidence"`
	// OtherOffsetsS are offsets, like OffsetS, at which B may lie as well: against each of them alone the confidence would be below 0.1.
	OtherOffsetsS  []float64      `json:"other_offsets_s,omitempty"`
	StandardErrors StandardErrors `json:"standard_errors"`
	Channels       []Channel      `json:"channel"`
	Wander         align.Wander   `json:"wander"`
	Residual       Residual       `json:"residual"`
	// Jumps are where B leaves its line; only ComparedFromS to ComparedToS of A, between two of them, were compared.
	Jumps         []Jump  `json:"jumps,omitempty"`
	ComparedFromS float64 `json:"compared_from_s"`
	ComparedToS   float64 `json:"compared_to_s"`
	// ChannelsInverted are channels of A, from 1, whose partners in B are inverted against Polarity.
	ChannelsInverted []int `json:"channels_inverted,omitempty"`
	warning.Warnings
}

// Jump is a place where samples of B were lost (Samples < 0), repeated or inserted: from AtS seconds of A on, B is that much later.
type Jump struct {
	AtS     float64 `json:"at_s"`
	Samples float64 `json:"samples"`
}

// StandardErrors of the common figures.
type StandardErrors struct {
	OffsetSamples float64 `json:"offset_samples"`
	DriftPPM      float64 `json:"drift_ppm"`
	GainDB        float64 `json:"gain_db"`
}

// Channel is one channel of A against its partner in B, counted from 1 in A. The figures are absolute, not
// relative to the common ones; the common offset is the mean of theirs, each weighted by how well it is known. A
// negative Polarity relative to the common one is warned of.
type Channel struct {
	Channel       int     `json:"channel"`
	GainDB        float64 `json:"gain_db"`
	OffsetSamples float64 `json:"offset_samples"`
}
