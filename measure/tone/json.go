package tone

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known. What is read back has NaN there.

// MarshalJSON implements json.Marshaler.
func (r Result) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r NoiseResult) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r LowToneResult) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r TwoToneResult) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r SweepResult) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// UnmarshalJSON implements json.Unmarshaler.
func (r *Result) UnmarshalJSON(data []byte) error {
	type plain Result
	return wire.Unmarshal(data, (*plain)(r))
}

// UnmarshalJSON implements json.Unmarshaler.
func (r *NoiseResult) UnmarshalJSON(data []byte) error {
	type plain NoiseResult
	return wire.Unmarshal(data, (*plain)(r))
}

// UnmarshalJSON implements json.Unmarshaler.
func (r *LowToneResult) UnmarshalJSON(data []byte) error {
	type plain LowToneResult
	return wire.Unmarshal(data, (*plain)(r))
}

// UnmarshalJSON implements json.Unmarshaler.
func (r *TwoToneResult) UnmarshalJSON(data []byte) error {
	type plain TwoToneResult
	return wire.Unmarshal(data, (*plain)(r))
}

// UnmarshalJSON implements json.Unmarshaler.
func (r *SweepResult) UnmarshalJSON(data []byte) error {
	type plain SweepResult
	return wire.Unmarshal(data, (*plain)(r))
}
