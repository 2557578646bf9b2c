package measure

import (
	"math"
	"math/cmplx"
	"testing"
)

func (b biquad) at(f, rate float64) complex128 {
	z := cmplx.Exp(complex(0, -2*math.Pi*f/rate))
	return (complex(b.b0, 0) + complex(b.b1, 0)*z + complex(b.b2, 0)*z*z) / (1 + complex(b.a1, 0)*z + complex(b.a2, 0)*z*z)
}

// ref: ITU-R BS.1770-5 tables 1 and 2, 48 kHz.
func TestKWeightingReproducesThePrintedCoefficients(t *testing.T) {
	f := kFilter{kShelf(48000), kHighPass(48000)}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"shelf b0", f.shelf.b0, 1.53512485958697}, {"shelf b1", f.shelf.b1, -2.69169618940638},
		{"shelf b2", f.shelf.b2, 1.19839281085285}, {"shelf a1", f.shelf.a1, -1.69065929318241},
		{"shelf a2", f.shelf.a2, 0.73248077421585}, {"high-pass a1", f.highPass.a1, -1.99004745483398},
		{"high-pass a2", f.highPass.a2, 0.99007225036621},
	} {
		if math.Abs(c.got-c.want) > 1e-13 { // the printed values have 14 places
			t.Errorf("%s: %.15f, printed %.14f", c.name, c.got, c.want)
		}
	}
}

// Gains at 48 kHz by direct evaluation of the printed coefficients; the gain at 997 Hz makes a full-scale sine in one channel read −3.01
// with the offset of −0.691.
func TestKWeightingGains(t *testing.T) {
	for _, c := range [][2]float64{{20, -13.27537}, {100, -1.13350}, {500, 0.04246}, {997, 0.69101}, {2000, 3.07126},
		{10000, 4.04188}, {20000, 4.04311}} {
		f := kFilter{kShelf(48000), kHighPass(48000)}
		got := 20 * math.Log10(cmplx.Abs(f.shelf.at(c[0], 48000)*f.highPass.at(c[0], 48000)))
		if math.Abs(got-c[1]) > 6e-6 {
			t.Errorf("%v Hz: %.5f dB, want %.5f", c[0], got, c[1])
		}
	}
}
