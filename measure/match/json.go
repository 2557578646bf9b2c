package match

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known. What is read back has NaN there.

// MarshalJSON implements json.Marshaler.
func (r Result) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Suggestion) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// UnmarshalJSON implements json.Unmarshaler.
func (r *Result) UnmarshalJSON(data []byte) error {
	type plain Result
	return wire.Unmarshal(data, (*plain)(r))
}
