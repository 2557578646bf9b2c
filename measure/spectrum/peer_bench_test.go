//go:build unix

package spectrum_test

import (
	"math/rand/v2"
	"slices"
	"syscall"
	"testing"

	"heardiff/measure/spectrum"
)

// The steps that "make bench-peers" compares with a general-purpose library, on the same sizes.
const peerSamples = 1 << 22

func peerNoise() []float64 {
	r, x := rand.New(rand.NewPCG(1, 1)), make([]float64, peerSamples)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// inProcessorTime runs f and reports user and system time: unlike wall-clock it means the same on a busy machine.
func inProcessorTime(b *testing.B, f func()) {
	spent := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
	begin := spent()
	for b.Loop() {
		f()
	}
	b.ReportMetric((spent()-begin)/float64(b.N), "cpu-s/op")
}

func BenchmarkPeerCorrelation(b *testing.B) {
	x := peerNoise()
	y := slices.Clone(x)
	slices.Reverse(y)
	plan := spectrum.NewPlan(peerSamples)
	fx, fy, c := plan.Forward(nil, x), plan.Forward(nil, y), make([]float64, peerSamples)
	inProcessorTime(b, func() {
		plan.Forward(fx, x)
		plan.Forward(fy, y)
		for k, z := range fx {
			fx[k] = complex(real(z), -imag(z)) * fy[k]
		}
		plan.Inverse(c, fx)
	})
}

func BenchmarkPeerWelch(b *testing.B) {
	x := peerNoise()
	inProcessorTime(b, func() {
		if _, err := spectrum.Of(x, spectrum.Config{RateHz: 96000, Size: 1 << 14, Window: spectrum.Hann(), Overlap: 0.5}); err != nil {
			b.Fatal(err)
		}
	})
}
