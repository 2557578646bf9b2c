package measure

import (
	"math"
	"slices"
)

// loosestClock is how far, as a ratio, a carrier may be from a quarter of its rate: 1000 ppm, the loosest grade of clock of
// IEC 60958-3 (from memory).
const loosestClock = 1e-3

// IsQuarter reports whether a carrier is a quarter of a rate, as the jitter signal's is, to within the loosest clock.
func IsQuarter(carrierHz, rateHz float64) bool {
	quarter := rateHz / 4
	return math.Abs(carrierHz/quarter-1) < loosestClock
}

// PlayedRate returns the common rate, in Hz, of which a carrier is a quarter, 0 if there is none. The rates at which the jitter signal is
// usually played are common practice, no source.
func PlayedRate(carrierHz float64) float64 {
	rates := []float64{32000, 44100, 48000, 88200, 96000, 176400, 192000, 352800, 384000}
	i := slices.IndexFunc(rates, func(rate float64) bool { return IsQuarter(carrierHz, rate) })
	if i < 0 {
		return 0
	}
	return rates[i]
}
