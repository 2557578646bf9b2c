package match

import (
	"cmp"
	"errors"
	"fmt"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// ErrUnfit is wrapped by Prepare's error where presentations still differ in level or time after matching.
var ErrUnfit = errors.New("the captures cannot be matched")

// ErrOutside is wrapped by Prepare's error where the excerpt asked for is not in all captures.
var ErrOutside = errors.New("the place asked for is not in all captures")

// ErrWandering is wrapped, instead of ErrUnfit, where they differ in time because their clocks wander against each other.
var ErrWandering = fmt.Errorf("%w", ErrUnfit)

// Excerpt says what Prepare cuts and how far it must match. The zero value is an excerpt of 20 s from the start
// of what all captures hold.
type Excerpt struct {
	// StartS and LengthS are seconds of the first capture. Length 0: 20 s, or less where the captures
	// end.
	StartS, LengthS float64
	// LoudnessLUFS is the common loudness (BS.1770, gated). 0: −23. It is lowered where a peak would pass PeakDBFS.
	LoudnessLUFS float64
	// PeakDBFS is the highest true peak, in dBTP. 0: −1.
	PeakDBFS float64
	Names    Names
}

const (
	// fadeS is the length of the raised-cosine fades at both ends, in seconds (common practice, no source).
	fadeS = 0.01
	// What presentations may differ by once they are matched (common practice, no source).
	mostLevelErrorDB, mostOffsetErrorUS = 0.1, 10.0
)

// Names are what messages call the captures, in their order. One without a name is called by its place: "capture 1" is the first.
type Names []string

func (n Names) of(i int) string {
	if i < len(n) && n[i] != "" {
		return n[i]
	}
	return fmt.Sprintf("capture %d", i+1)
}

// against names capture i and the first, with which it was compared.
func (n Names) against(i int) string { return n.of(i) + " against " + n.of(0) }

func (e Excerpt) filled() Excerpt {
	e.LoudnessLUFS = cmp.Or(e.LoudnessLUFS, -23)
	e.PeakDBFS = cmp.Or(e.PeakDBFS, -1)
	return e
}

// Validate returns an error that names the field that is out of its range.
func (e Excerpt) Validate() error {
	f := e.filled()
	switch {
	case !(e.StartS >= 0):
		return fmt.Errorf("match: an excerpt from %v s on: want 0 or more", e.StartS)
	case e.LengthS != 0 && !(e.LengthS >= 1):
		return fmt.Errorf("match: an excerpt of %v s: want a second or more", e.LengthS)
	case !(f.LoudnessLUFS <= 0) || !(f.PeakDBFS <= 0):
		return fmt.Errorf("match: a loudness of %v LUFS, a peak of %v dBFS: want below 0", e.LoudnessLUFS, e.PeakDBFS)
	}
	return nil
}

// Prepared is one excerpt as it will be played, once for every capture.
type Prepared struct {
	StartS        float64        `json:"start_s"`
	Seconds       float64        `json:"seconds"`
	Rate          pcm.Rate       `json:"rate_hz"`
	Presentations []Presentation `json:"presentations"`
	// NullDB is the shallowest null of any presentation against the first, measured on the final samples.
	NullDB float64 `json:"null_db"`
	// LoopFrames are two frames near the ends where every presentation crosses zero upwards.
	LoopFrames [2]int `json:"loop_frames"`
	// Changes says in words what was done to all presentations alike: the filter, the fades, the level.
	Changes []string `json:"changes"`
	warning.Warnings
}

// Presentation is one capture's share. LevelErrorDB, OffsetErrorUS and NullDB compare its final samples with the
// first presentation's.
type Presentation struct {
	Clip          pcm.Clip `json:"-"`
	LevelErrorDB  float64  `json:"level_error_db"`
	OffsetErrorUS float64  `json:"offset_error_us"`
	NullDB        float64  `json:"null_db"`
	// Identical says that every sample equals the first presentation's: there is no difference to hear.
	Identical bool `json:"identical"`
	// DriftPPM and OffsetS are what the capture's clock and start had against the first's, and was removed.
	DriftPPM float64 `json:"drift_ppm"`
	OffsetS  float64 `json:"offset_s"`
	// GainDB was applied. Polarity "inverted": the capture was, and was turned back.
	GainDB          float64 `json:"gain_db"`
	Polarity        string  `json:"polarity"`
	ChannelsSwapped bool    `json:"channels_swapped"`
	// ChannelsInverted are channels, from 1, that were inverted against the others, and were turned back.
	ChannelsInverted []int `json:"channels_inverted,omitempty"`
	wanders          bool  // within the excerpt
	// LevelBy says how the level was matched: "least squares", of what lies between 20 Hz and 20 kHz, or "loudness".
	LevelBy string `json:"level_by"`
}

// LeadIn is the error for an excerpt whose place was not given and which would begin with silence. It wraps ErrUnfit.
type LeadIn struct {
	SilentS float64 // length of the silence
	MusicS  float64 // where the music begins in the first capture, in seconds, early by a tenth at the most
}

// Error implements error.
func (l LeadIn) Error() string {
	return fmt.Sprintf("no place was named, and what all captures hold begins with %.1f s of silence: the music begins at %.1f s", l.SilentS, l.MusicS)
}

// Unwrap returns ErrUnfit.
func (l LeadIn) Unwrap() error { return ErrUnfit }
