package spectrum

import (
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Against the library's own transform of full length, at an even and an odd power of two.
func TestLongTransformIsTheTransform(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{1 << 16, 1 << 17} {
		x := make([]complex128, n)
		for i := range x {
			x[i] = complex(random.NormFloat64(), random.NormFloat64())
		}
		want := fourier.NewCmplxFFT(n).Coefficients(nil, x)
		plan := NewComplexPlan(n)
		got := append([]complex128(nil), x...)
		plan.Forward(got, got)
		back := plan.Inverse(nil, got)
		worst, worstBack := 0.0, 0.0
		for k := range want {
			worst = max(worst, cmplx.Abs(got[k]-want[k]))
			worstBack = max(worstBack, cmplx.Abs(back[k]-x[k]))
		}
		// A bin is about √n = 256; both transforms round. Largest seen: 1e-11 at 2¹⁷.
		if worst > 1e-10 || worstBack > 1e-12 {
			t.Errorf("%d samples: bins differ by %.2g, the way back by %.2g", n, worst, worstBack)
		}
	}
}

func BenchmarkLongTransform(b *testing.B) {
	x := make([]complex128, 1<<21)
	for i := range x {
		x[i] = complex(float64(i%7), float64(i%5))
	}
	b.Run("by_tiles", func(b *testing.B) {
		plan := NewComplexPlan(len(x))
		for b.Loop() {
			plan.Forward(x, x)
			x[0] = 1
		}
	})
	b.Run("whole", func(b *testing.B) {
		plan := fourier.NewCmplxFFT(len(x))
		for b.Loop() {
			plan.Coefficients(x, x)
			x[0] = 1
		}
	})
}
