package jitter_test

import (
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
		second.second.Channels = second.second.Channels[:1]
		r := watch{noisy{second}, &most[i], &read}
		if _, err := jitter.Measure(r, jitter.Config{Spectrum: true}); err != nil {
			t.Fatal(err)
		}
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
