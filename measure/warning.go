package measure

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
)

// Code names what a warning is about: lower-case words with hyphens between them. A code never changes its name or its meaning;
// programs compare codes, never texts. Each package declares the codes of its own warnings, this one those that several share.
type Code string

// The codes of Inspect, and those that several measurements share.
const (
	Clipped           Code = "clipped"            // samples at full scale; Value is how many
	DCOffset          Code = "dc"                 // Value is the mean as a fraction of full scale
	DigitalSilence    Code = "digital-silence"    // zeros alone
	FlatTops          Code = "flat-tops"          // runs at the outermost values below full scale; Value is how many samples
	HeldValue         Code = "held-value"         // one value, other than zero and full scale, for Value ms
	IdenticalChannels Code = "identical-channels" // a channel equals another in every sample
	Interrupted       Code = "interrupted"        // the signal stops and goes on between FromS and ToS
	LongZeros         Code = "long-zeros"         // digital zero for Value ms
	LevelMoves        Code = "level-moves"        // Value is by how many dB
	NoSignal          Code = "no-signal"          // the channel does not hold the signal that the measurement needs
	QuietRecording    Code = "quiet-recording"    // Value is the RMS level
	TruePeakOver      Code = "true-peak-over"     // Value is the true peak, above full scale
	UnusedBits        Code = "unused-bits"        // Value is how many bits carry data, fewer than the format has
	FloorLevel        Code = "floor-level"        // the floor's tone is Value dB above the capture's
	FarBelow          Code = "far-below"          // a dose is Value dB below anything that could show
	NoFloor           Code = "no-floor"           // the recording set-up sets the channel no limit
)

// Warning says what a result does not show, or what is wrong with a recording.
type Warning struct {
	Code    Code `json:"code"`
	Channel int  `json:"channel"` // from 1; 0: of no single channel
	// FromS and ToS are seconds from the first sample of the file: the stretch that the warning is about, equal for an instant; NaN
	// where it is about all of the file.
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	Value float64 `json:"value"` // NaN: none
	Unit  string  `json:"unit"`  // of Value, "" where it has none: "dB", "ms", "samples"…
	Text  string  `json:"text"`  // a sentence for people, complete without the other fields
}

// Warningf returns a warning about all of the file, without a value. In, During, At and Of add to it.
func Warningf(code Code, format string, args ...any) Warning {
	return Warning{Code: code, FromS: math.NaN(), ToS: math.NaN(), Value: math.NaN(), Text: fmt.Sprintf(format, args...)}
}

// In returns w as a warning about one channel, counted from 1.
func (w Warning) In(channel int) Warning {
	w.Channel = channel
	return w
}

// During returns w as a warning about a stretch of the file, in seconds.
func (w Warning) During(fromS, toS float64) Warning {
	w.FromS, w.ToS = fromS, toS
	return w
}

// At returns w as a warning about an instant, in seconds.
func (w Warning) At(s float64) Warning { return w.During(s, s) }

// Of returns w with a value and its unit.
func (w Warning) Of(value float64, unit string) Warning {
	w.Value, w.Unit = value, unit
	return w
}

// From returns w with the name of the file that it is about, another than the result's own, before its text.
func (w Warning) From(name string) Warning {
	w.Text = name + ": " + w.Text
	return w
}

// warningJSON is a Warning as JSON has it: null where a field does not apply.
type warningJSON struct {
	Code    Code     `json:"code"`
	Channel *int     `json:"channel"`
	FromS   *float64 `json:"from_s"`
	ToS     *float64 `json:"to_s"`
	Value   *float64 `json:"value"`
	Unit    *string  `json:"unit"`
	Text    string   `json:"text"`
}

// MarshalJSON writes null for what does not apply.
func (w Warning) MarshalJSON() ([]byte, error) {
	out := warningJSON{Code: w.Code, FromS: finite(w.FromS), ToS: finite(w.ToS), Value: finite(w.Value), Text: w.Text}
	if w.Channel != 0 {
		out.Channel = &w.Channel
	}
	if w.Unit != "" {
		out.Unit = &w.Unit
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (w *Warning) UnmarshalJSON(data []byte) error {
	var in warningJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("warning: %w", err)
	}
	*w = Warning{Code: in.Code, FromS: orNaN(in.FromS), ToS: orNaN(in.ToS), Value: orNaN(in.Value), Text: in.Text}
	if in.Channel != nil {
		w.Channel = *in.Channel
	}
	if in.Unit != nil {
		w.Unit = *in.Unit
	}
	return nil
}

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// Warnings are those of one result, which embeds it: JSON has the texts as "warnings" and the rest as "warning_details".
// A result stored before there were details has texts alone.
type Warnings struct {
	Texts   []string  `json:"warnings"`
	Details []Warning `json:"warning_details"`
}

// Warn adds warnings.
func (w *Warnings) Warn(list ...Warning) {
	for _, one := range list {
		w.Texts = append(w.Texts, one.Text)
		w.Details = append(w.Details, one)
	}
}

// Warned reports whether there is a warning of a code.
func (w Warnings) Warned(code Code) bool {
	return slices.ContainsFunc(w.Details, func(one Warning) bool { return one.Code == code })
}

// Clone returns a copy that can be added to without changing w.
func (w Warnings) Clone() Warnings {
	return Warnings{slices.Clone(w.Texts), slices.Clone(w.Details)}
}
