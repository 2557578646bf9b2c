package jitter

import (
	"math"
	"math/cmplx"
	"testing"
)

// ref: the sequence of the jitter signal (J. Dunn); its levels from the closed form 2/(192·sin(πk/192)) steps at odd k.
func TestSignalBins(t *testing.T) {
	for _, c := range []struct {
		bits, bin int
		dbfs      float64
	}{
		{16, 1, -94.2310}, {16, 47, -126.7996}, {16, 48, -3.0103}, {16, 49, -127.0839}, {16, 95, -129.953},
		{24, 1, -142.3958}, {24, 47, -174.9644}, {24, 48, -3.0103}, {24, 49, -175.2487},
	} {
		fullScale := math.Ldexp(1, c.bits-1)
		got := 20 * math.Log10(2*cmplx.Abs(signalBin(c.bits, c.bin))/period/fullScale)
		if math.Abs(got-c.dbfs) > 5e-4 {
			t.Errorf("%d bits, bin %d: %.4f dBFS, want %.4f", c.bits, c.bin, got, c.dbfs)
		}
	}
	for step := 2; step < 48; step += 2 {
		if got := inherentPM(16, step); got > 1e-12 {
			t.Errorf("even step %d holds %g rad", step, got)
		}
	}
}

// The bound holds all that may be jitter of the band: what additive noise may have been overrated by, and what may have folded.
func TestBoundHoldsWhatIsUnknown(t *testing.T) {
	if got := (noiseSum{pm: 3, additive: 1, unknown: 0.25, other: 1.75}).bound(); math.Abs(got-2) > 1e-9 {
		t.Errorf("%v, want √(3 − 1 + 0.25 + 1.75)", got)
	}
}
