package jitter_test

import (
	"math"
	"runtime"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/playback/pcm"
)

// watch notes the most memory in use when a block is read, what is garbage collected first if asked.
type watch struct {
	noisy
	collect bool
	most    *uint64
	read    *int
}

// newWatch watches a capture of so many seconds in two channels, made while it is read.
func newWatch(rate pcm.Rate, seconds int, most *uint64) watch {
	return watch{noisy{newLoop(rate, seconds)}, false, most, new(int)}
}

func (w watch) ReadFrames(dst [][]float64, from int) (int, error) {
	if *w.read++; *w.read%2 == 0 {
		var m runtime.MemStats
		if w.collect {
			runtime.GC()
		}
		runtime.ReadMemStats(&m)
		*w.most = max(*w.most, m.HeapAlloc)
	}
	return w.noisy.ReadFrames(dst, from)
}

// Memory stops growing at the longest record, two minutes; without -full a record is a twentieth of that.
func TestMemoryDoesNotGrowWithTheCapture(t *testing.T) {
	seconds, rate := []int{12, 36}, 48000
	run := func(r pcm.Reader) (jitter.Result, error) {
		return jitter.MeasureIn(r, jitter.Config{Spectrum: true}, 145_000)
	}
	if *full {
		seconds, rate = []int{60, 240, 3600}, 192000
		run = func(r pcm.Reader) (jitter.Result, error) { return jitter.Measure(r, jitter.Config{Spectrum: true}) }
	}
	most := make([]uint64, len(seconds))
	for i, s := range seconds {
		capture := newWatch(pcm.Rate(rate), s, &most[i])
		capture.collect = true
		result, err := run(capture)
		if err != nil {
			t.Fatal(err)
		}
		checkLoop(t, result, float64(s))
		t.Logf("%d s of two channels at %d Hz hold at most %.0f MB", s, rate, float64(most[i])/1e6)
	}
	last := len(seconds) - 1
	if float64(most[last]) > 1.1*float64(most[last-1]) {
		t.Errorf("%d s take more than %d s", seconds[last], seconds[last-1])
	}
}

// checkLoop checks what records have in common: the loop's line of 1 ns, and noisy's noise, uniform over ±2e-6 at an
// amplitude of 0.7, of whose density half is the phase's.
func checkLoop(t *testing.T, r jitter.Result, seconds float64) {
	t.Helper()
	for _, ch := range r.Channel {
		if len(ch.Lines) != 1 || math.Abs(ch.Lines[0].PeakPs-1000) > 4*ch.Lines[0].PeakSEPs || r.Seconds < seconds-1 {
			t.Errorf("%.0f s of %v: lines %+v", r.Seconds, seconds, ch.Lines)
		}
		phase := math.Sqrt(2*(r.BandHz[1]-r.BandHz[0])/(r.RateHz/2)) * 4e-6 / math.Sqrt(12) / 0.7
		if want := phase / (2 * math.Pi * r.CarrierHz) * 1e12; math.Abs(ch.RawPs/want-1) > 0.005 || !ch.RandomAtFloor {
			t.Errorf("phase noise %.3f ps, want %.3f; random %v", ch.RawPs, want, ch.RandomPs)
		}
	}
}
