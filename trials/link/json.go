package link

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known.

// MarshalJSON implements json.Marshaler.
func (r Result) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Row) MarshalJSON() ([]byte, error) { return wire.Object(r) }
