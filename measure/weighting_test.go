package measure_test

import (
	"math"
	"testing"

	"heardiff/measure"
)

// ref: IEC 61672-1 table of A-weighting as open-source acoustics packages carry it; the 10 Hz row comes from memory.
// The table is made at the exact frequencies 1000·10^(n/10), and rounded to 0.1 dB.
func TestAWeightingKeepsTheTable(t *testing.T) {
	table := []float64{-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4,
		-10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3}
	for i, want := range table {
		f := 1000 * math.Pow(10, float64(i-20)/10)
		// Half a step of the table; class 1 of the standard allows 0.7 dB and more everywhere.
		if got := measure.AWeightDB(f); math.Abs(got-want) > 0.0501 {
			t.Errorf("%.1f Hz: %.3f dB, table %.1f", f, got, want)
		}
	}
	if !math.IsInf(measure.AWeightDB(0), -1) {
		t.Error("DC must vanish")
	}
}

// ref: ITU-R BS.468-4 table 1. The network of the Recommendation itself departs from its table by up to 0.05 dB.
func TestBS468KeepsTheTable(t *testing.T) {
	for _, c := range [][2]float64{{31.5, -29.9}, {63, -23.9}, {100, -19.8}, {200, -13.8}, {400, -7.8}, {800, -1.9},
		{1000, 0}, {2000, 5.6}, {3150, 9}, {4000, 10.5}, {5000, 11.7}, {6300, 12.2}, {7100, 12}, {8000, 11.4},
		{9000, 10.1}, {10000, 8.1}, {12500, 0}, {14000, -5.3}, {16000, -11.7}, {20000, -22.2}, {31500, -42.7}} {
		if got := measure.BS468WeightDB(c[0]); math.Abs(got-c[1]) > 0.06 {
			t.Errorf("%v Hz: %.3f dB, table %.1f", c[0], got, c[1])
		}
	}
	// From memory: AES17 gives the shift of the RMS form as 5.63 dB.
	if got := measure.CCIRWeightDB(1000); math.Abs(got+5.63) > 0.005 {
		t.Errorf("CCIR-RMS at 1 kHz: %.4f dB, want −5.63", got)
	}
	if got := measure.CCIRWeightDB(2000); got != 0 {
		t.Errorf("CCIR-RMS at 2 kHz: %v dB, want 0", got)
	}
}
