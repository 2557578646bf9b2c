package integrity

import (
	"errors"
	"fmt"
	"math"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	jsonwire "heardiff/stats/wire"
)

// ErrUnrelated is wrapped where nothing of the one recording is found in the other.
var ErrUnrelated = errors.New("nothing sent is found in what was received")

// Cause says what changed the words.
type Cause string

// The causes.
const (
	None        Cause = ""
	Gain        Cause = "gain"
	Dither      Cause = "dither"
	Truncation  Cause = "truncation"
	Resampling  Cause = "resampling"
	Dropout     Cause = "dropout"
	Repeat      Cause = "repeat"
	Polarity    Cause = "polarity"
	ChannelSwap Cause = "channel-swap"
	Unknown     Cause = "unknown"
)

// Result is the comparison of a sent with a received recording.
type Result struct {
	Schema     string `json:"schema"` // heardiff.integrity/1
	BitPerfect bool   `json:"bit_perfect"`
	// OffsetSamples is by how many frames RECEIVED is late, before any loss: frame n of SENT is at n + OffsetSamples of RECEIVED. Negative
	// where RECEIVED begins in the midst of SENT.
	OffsetSamples int `json:"offset_samples"`
	// OffsetOf is "received". Results stored before the key existed hold the place of SENT instead, which has the opposite sign.
	OffsetOf string `json:"offset_of"`
	// ComparedSamples and MismatchedSamples count single samples over all channels.
	ComparedSamples   int `json:"compared_samples"`
	MismatchedSamples int `json:"mismatched_samples"`
	// FirstMismatch is a frame of SENT; nil where none.
	FirstMismatch *int `json:"first_mismatch"`
	// BitsCompared is the smaller word length that carries data.
	BitsCompared int `json:"bits_compared"`
	// Cause is nil where the words are equal. Of several it is what changed the recording from end to end, the others are in
	// Warnings and Faults.
	Cause *Cause `json:"cause"`
	// GainDB is the gain from SENT to RECEIVED where there is no fault, and below a tenth of the rate where words were resampled; NaN where
	// the words are equal or hardly related, or channels differ in it.
	GainDB float64 `json:"gain_db"`
	Faults []Fault `json:"faults"`
	warning.Warnings
}

const ofReceived = "received"

// UnmarshalJSON reads a stored result, and turns the offset of one that was stored with the other sign.
func (r *Result) UnmarshalJSON(data []byte) error {
	type plain Result
	var p plain
	if err := jsonwire.Unmarshal(data, &p); err != nil {
		return err
	}
	if p.OffsetOf == "" {
		p.OffsetSamples, p.OffsetOf = -p.OffsetSamples, ofReceived
	}
	*r = Result(p)
	return nil
}

// Fault is a stretch lost, muted or repeated.
type Fault struct {
	Cause  Cause `json:"cause"`
	Frame  int   `json:"frame"`  // of SENT
	Frames int   `json:"frames"` // how long
	// Channel counts from 1; 0 means all.
	Channel int `json:"channel,omitempty"`
}

// Compare compares received with sent, at any offset. Errors wrap pcm.ErrMismatch where rates or
// channels differ, and ErrUnrelated.
func Compare(sent, received pcm.Reader) (Result, error) {
	s, r := sent.Format(), received.Format()
	if s.Rate != r.Rate || s.Channels != r.Channels {
		return Result{}, fmt.Errorf("integrity: %w: sent %v, received %v", pcm.ErrMismatch, s, r)
	}
	var levels [2]loudest
	for i, side := range []pcm.Reader{sent, received} {
		var err error
		if levels[i], err = survey(side); err != nil {
			return Result{}, fmt.Errorf("integrity: %w", err)
		}
	}
	if levels[0].silent || levels[1].silent {
		return Result{}, fmt.Errorf("integrity: %w: digital silence", ErrUnrelated)
	}
	at, err := align(sent, received, levels)
	if err != nil {
		return Result{}, fmt.Errorf("integrity: %w", err)
	}
	if math.Abs(at.score) < leastScore {
		return Result{}, fmt.Errorf("integrity: %w: the best correlation is %.2f", ErrUnrelated, at.score)
	}
	result, err := judge(sent, received, at, levels[0].bits, levels[1].bits)
	if err != nil {
		return Result{}, fmt.Errorf("integrity: %w", err)
	}
	return result, nil
}
