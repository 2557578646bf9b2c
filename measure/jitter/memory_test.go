package jitter_test

import (
	"math"
	"runtime"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/playback/pcm"
)

// watch notes the most heap in use whenever a block is read.
type watch struct {
	noisy
	most *uint64
	read *int
}

func (w watch) ReadFrames(dst [][]float64, from int) (int, error) {
	if *w.read++; *w.read%4 == 0 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		*w.most = max(*w.most, m.HeapAlloc)
	}
	return w.noisy.ReadFrames(dst, from)
}

// Memory stops growing at two minutes, the longest record: what is held then, and all that is ever allocated, per record.
func TestMemoryDoesNotGrowWithTheCapture(t *testing.T) {
	// One record and two: at 8 kHz a record lasts six times as long as at 48 kHz.
	seconds, rate := []int{740, 1480}, 8000
	if *full {
		seconds, rate = []int{120, 3600}, 48000
	}
	var most, total [2]uint64
	for i, s := range seconds {
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		read := 0
		second := newLoop(pcm.Rate(rate), s)
		second.second.Channels = second.second.Channels[:1] // one channel is enough
		r := watch{noisy{second}, &most[i], &read}
		result, err := jitter.Measure(r, jitter.Config{Spectrum: true})
		if err != nil {
			t.Fatal(err)
		}
		checkLoop(t, result, float64(s))
		runtime.ReadMemStats(&after)
		total[i] = after.TotalAlloc - before.TotalAlloc
	}
	t.Logf("%d s: at most %.0f MB held, %.0f MB allocated in all; %d s: %.0f and %.0f MB", seconds[0], float64(most[0])/1e6, float64(total[0])/1e6,
		seconds[1], float64(most[1])/1e6, float64(total[1])/1e6)
	// The garbage collector may let a quarter more stand.
	if float64(most[1]) > 1.25*float64(most[0]) || float64(total[1]) > 1.25*float64(total[0]) {
		t.Errorf("%d s take more than %d s", seconds[1], seconds[0])
	}
}

// checkLoop checks what records have in common: the loop's line of 1 ns, and noisy's noise, uniform over ±2e-6 at an
// amplitude of 0.7, of whose density half is the phase's.
func checkLoop(t *testing.T, r jitter.Result, seconds float64) {
	t.Helper()
	ch := r.Channel[0]
	if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs-1000) > 4*ch.Lines[0].PeakSEPs || r.Seconds < seconds-1 {
		t.Errorf("%.0f s of %v: lines %+v", r.Seconds, seconds, ch.Lines)
	}
	phase := math.Sqrt(2*(r.BandHz[1]-r.BandHz[0])/(r.RateHz/2)) * 4e-6 / math.Sqrt(12) / 0.7
	if want := phase / (2 * math.Pi * r.CarrierHz) * 1e12; math.Abs(ch.RawPs/want-1) > 0.005 || !ch.RandomAtFloor {
		t.Errorf("phase noise %.3f ps, want %.3f; random %v", ch.RawPs, want, ch.RandomPs)
	}
}
