package stats_test

import (
	"fmt"
	"testing"

	"heardiff/stats"
)

func BenchmarkScore(b *testing.B) {
	for _, n := range []int{16, 1000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for range b.N {
				if _, err := stats.ScoreABX(n/2+n/10, n, stats.ScoreConfig{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkPool(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		var all []stats.Listener
		for i := range n {
			all = append(all, stats.Listener{Listener: fmt.Sprint(i), Group: []string{"trained", "untrained"}[i%2], Correct: 40 + i%20, Trials: 100})
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for range b.N {
				if _, err := stats.PoolListeners(all, stats.ScoreConfig{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkTrialsFor(b *testing.B) {
	for range b.N {
		if _, err := stats.TrialsFor(0.5, 0.55, 0.05, 0.8); err != nil {
			b.Fatal(err)
		}
	}
}
