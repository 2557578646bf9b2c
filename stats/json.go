package stats

import "heardiff/stats/wire"

// JSON has null where a number is NaN or infinite: not measurable, or not known.

// MarshalJSON implements json.Marshaler.
func (r Score) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r PairScore) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Power) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r PanelPower) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Pool) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Fit) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Diagnostics) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r RatingCurve) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r MetaAnalysis) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r SiteAnalysis) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r RandomEffects) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r GroupDifference) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r DoseTrend) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r Course) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r ListenerScore) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r GroupScore) MarshalJSON() ([]byte, error) { return wire.Object(r) }

// MarshalJSON implements json.Marshaler.
func (r SiteScore) MarshalJSON() ([]byte, error) { return wire.Object(r) }
