package spectrum_test

import (
	"math"
	"testing"

	"heardiff/measure/spectrum"
)

// scipy 1.10.1: signal.firwin(M, (pass + stop)/2, window=('kaiser', 0.1102*(A − 8.7)), fs=1), its first and its middle tap; the numbers of taps
// by Kaiser's formula.
func TestALowPassHasTheTapsOfAnotherLibrary(t *testing.T) {
	for _, c := range []struct {
		attenuationDB, pass, stop float64
		length                    int
		first, middle             float64
	}{
		{60, 0.1, 0.15, 75, -0.000123986623, 0.249923333},
		{100, 0.02, 0.05, 215, -9.96366035e-07, 0.0699996044},
		{150, 0.2, 0.23, 331, 5.11483334e-10, 0.429999999},
	} {
		length := spectrum.KaiserLength(c.attenuationDB, c.stop-c.pass)
		taps := spectrum.LowPass(length, (c.pass+c.stop)/2, c.attenuationDB)
		if length != c.length || math.Abs(taps[0]/c.first-1) > 1e-7 || math.Abs(taps[length/2]/c.middle-1) > 1e-8 {
			t.Errorf("%v dB: %d taps from %.9g, middle %.9g, want %d from %.9g, middle %.9g", c.attenuationDB, length, taps[0], taps[length/2], c.length, c.first, c.middle)
		}
	}
}
