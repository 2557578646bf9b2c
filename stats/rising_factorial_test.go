package stats

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// The sum of logarithms against the logarithm of the product in 200-bit arithmetic, over 12 decades of the step.
func TestSumsOfLogarithms(t *testing.T) {
	for _, n := range []int{1, 5, 31, 33, 100, 5_000} {
		for _, u := range []float64{1e-9, 0.3, 0.5, 1} {
			for _, theta := range []float64{1e-9, 1e-6, 1e-3, 0.1, 1, 1000} {
				got, want, size := sumLogs(u, theta, n), 0.0, 0.0
				product := big.NewFloat(1).SetPrec(200)
				for j := range n {
					f := new(big.Float).SetPrec(200).SetFloat64(theta)
					f.Mul(f, big.NewFloat(float64(j)))
					product.Mul(product, f.Add(f, big.NewFloat(u)))
					size += math.Abs(math.Log(u + float64(j)*theta))
				}
				var m big.Float
				exp := product.MantExp(&m)
				mantissa, _ := m.Float64()
				want = math.Log(mantissa) + float64(exp)*math.Ln2
				// Rounding only: each logarithm, and each u + jθ, is correct to half a unit in the last place.
				if tol := 4e-16 * (size + float64(n)); math.Abs(got-want) > tol+1e-15 {
					t.Errorf("n %d, u %g, θ %g: %.17g, want %.17g (off by %.2g of %.2g)", n, u, theta, got, want, got-want, tol)
				}
			}
		}
	}
}

func TestStepsCountWhatIsLarger(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for range 200 {
		numbers := make([]int, 1+random.IntN(20))
		for i := range numbers {
			numbers[i] = random.IntN(12)
		}
		want := make([]float64, 13)
		for _, n := range numbers {
			for j := range n {
				want[j]++
			}
		}
		got := make([]float64, 13)
		for _, r := range exceeding(numbers) {
			for j := r.first; j < r.end; j++ {
				got[j] = r.value
			}
		}
		for j := range want {
			if got[j] != want[j] {
				t.Fatalf("%v: %v, want %v", numbers, got, want)
			}
		}
	}
}

// Two listeners of 100,000 trials each once took 11 s of processor time.
func BenchmarkPoolOfLongListeners(b *testing.B) {
	for b.Loop() {
		if _, err := PoolListeners([]Listener{{Listener: "A", Group: "x", Correct: 50_300, Trials: 100_000},
			{Listener: "B", Group: "y", Correct: 49_900, Trials: 100_000}}, ScoreConfig{}); err != nil {
			b.Fatal(err)
		}
	}
}
