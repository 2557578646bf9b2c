package storetest

import (
	"slices"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/store"
)

// BenchmarkCommit measures how long a listener waits until an answer is kept.
func BenchmarkCommit(b *testing.B, study func(t testing.TB, now func() time.Time) *store.Store) {
	s := study(b, time.Now)
	session := WithSession(b, s, trials.MaxTrials)
	b.ResetTimer()
	times := make([]time.Duration, 0, b.N)
	for range b.N {
		if session.View().Phase == trials.Done {
			b.StopTimer()
			s = study(b, time.Now)
			session = WithSession(b, s, trials.MaxTrials)
			b.StartTimer()
		}
		start := time.Now()
		Answer(b, session)
		times = append(times, time.Since(start))
	}
	b.ReportMetric(percentile(times, 0.5), "p50-ms")
	b.ReportMetric(percentile(times, 0.99), "p99-ms")
}

// percentile returns the p-quantile in milliseconds.
func percentile(times []time.Duration, p float64) float64 {
	slices.Sort(times)
	return float64(times[int(p*float64(len(times)-1))]) / float64(time.Millisecond)
}
