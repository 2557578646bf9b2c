package study

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known.

// MarshalJSON implements json.Marshaler.
func (r ResultsReport) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r SessionReport) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r VerdictReport) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (p Preparation) MarshalJSON() ([]byte, error) { return wire.Object(p) }

// MarshalJSON implements json.Marshaler.
func (e PreparedExcerpt) MarshalJSON() ([]byte, error) { return wire.Object(e) }

// MarshalJSON implements json.Marshaler.
func (r MeasureReport) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r VerifyReport) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (b VerifiedBundle) MarshalJSON() ([]byte, error) { return wire.Object(b) }

// MarshalJSON implements json.Marshaler.
func (i Imported) MarshalJSON() ([]byte, error) { return wire.Object(i) }
