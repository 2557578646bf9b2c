// Package warning is how a result says what it does not show: a code for programs, a sentence for people, and the numbers of both.
// Results of measurements, of statistics and of whole studies embed Warnings. Nothing but a printer reads the sentences.
package warning

import (
	"fmt"
	"math"
	"slices"

	"heardiff/stats/wire"
)

// Code names what a warning is about: lower-case words with hyphens between them. A code never changes its name or its meaning;
// programs compare codes, never texts. Each package declares the codes of its own warnings; package measure has those that measurements share.
type Code string

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

// Newf returns a warning about all of the file, without a value. In, During, At and Of add to it.
func Newf(code Code, format string, args ...any) Warning {
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

// form is a Warning as JSON has it: null where a field does not apply.
type form struct {
	Code    Code    `json:"code"`
	Channel *int    `json:"channel"`
	FromS   float64 `json:"from_s"`
	ToS     float64 `json:"to_s"`
	Value   float64 `json:"value"`
	Unit    *string `json:"unit"`
	Text    string  `json:"text"`
}

// MarshalJSON writes null for what does not apply.
func (w Warning) MarshalJSON() ([]byte, error) {
	out := form{Code: w.Code, FromS: w.FromS, ToS: w.ToS, Value: w.Value, Text: w.Text}
	if w.Channel != 0 {
		out.Channel = &w.Channel
	}
	if w.Unit != "" {
		out.Unit = &w.Unit
	}
	return wire.Object(out)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (w *Warning) UnmarshalJSON(data []byte) error {
	var in form
	if err := wire.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("warning: %w", err)
	}
	*w = Warning{Code: in.Code, FromS: in.FromS, ToS: in.ToS, Value: in.Value, Text: in.Text}
	if in.Channel != nil {
		w.Channel = *in.Channel
	}
	if in.Unit != nil {
		w.Unit = *in.Unit
	}
	return nil
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

// Drop removes the warnings of a code.
func (w *Warnings) Drop(code Code) {
	var kept Warnings
	for _, one := range w.Details {
		if one.Code != code {
			kept.Warn(one)
		}
	}
	*w = kept
}

// All returns the warnings. Those of a result stored before there were details have a text and no code.
func (w Warnings) All() []Warning {
	if len(w.Details) > 0 {
		return w.Details
	}
	all := make([]Warning, len(w.Texts))
	for i, text := range w.Texts {
		all[i] = Newf("", "%s", text)
	}
	return all
}

// Same reports whether two warnings say the same, by code, channel, stretch and value; without a code, nothing is the same.
func (w Warning) Same(o Warning) bool {
	alike := func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) }
	return w.Code != "" && w.Code == o.Code && w.Channel == o.Channel && alike(w.FromS, o.FromS) && alike(w.ToS, o.ToS) && alike(w.Value, o.Value)
}
