package impair

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known.

// MarshalJSON implements json.Marshaler.
func (r Done) MarshalJSON() ([]byte, error) { return wire.Object(r) }
