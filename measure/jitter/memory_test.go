package jitter_test

import (
	"math"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"testing"
	"time"

	"heardiff/measure/jitter"
	"heardiff/playback/pcm"
)

// What the runtime counts, in bytes: what the last collection found alive, and that with the garbage.
const (
	alive = "/gc/heap/live:bytes"
	inUse = "/memory/classes/heap/objects:bytes"
)

// mostHeld returns the most that was counted while f ran.
func mostHeld(count string, f func()) uint64 {
	runtime.GC()
	var most uint64
	sample := []metrics.Sample{{Name: count}}
	done, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for tick := time.NewTicker(time.Millisecond); ; {
			metrics.Read(sample)
			most = max(most, sample[0].Value.Uint64())
			select {
			case <-done:
				tick.Stop()
				return
			case <-tick.C:
			}
		}
	}()
	f()
	close(done)
	<-stopped
	return most
}

// Memory is flat from one minute on, in which two channels are analysed at the same time, over two minutes, the longest
// record, to an hour; without -full everything is a sixteenth of that.
func TestMemoryDoesNotGrowWithTheCapture(t *testing.T) {
	seconds, rate := []int{3, 7, 35}, 48000
	run := func(r pcm.Reader) (jitter.Result, error) {
		return jitter.MeasureIn(r, jitter.Config{Spectrum: true}, 187_000)
	}
	if *full {
		seconds, rate = []int{60, 120, 240, 3600}, 192000
		run = func(r pcm.Reader) (jitter.Result, error) { return jitter.Measure(r, jitter.Config{Spectrum: true}) }
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1)) // otherwise it is chance how much of the two channels' work falls together
	defer debug.SetGCPercent(debug.SetGCPercent(5)) // looks often
	most := make([]uint64, len(seconds))
	for i, s := range seconds {
		var result jitter.Result
		var err error
		most[i] = mostHeld(alive, func() { result, err = run(noisy{newLoop(pcm.Rate(rate), s)}) })
		if err != nil {
			t.Fatal(err)
		}
		checkLoop(t, result, float64(s))
		t.Logf("%d s of two channels at %d Hz hold at most %.1f MB", s, rate, float64(most[i])/1e6)
	}
	for i, m := range most[1:] {
		// Two minutes hold the phases of the first channel and a transform of one; one minute two and what transposing takes.
		if float64(m) > 1.1*float64(most[0]) {
			t.Errorf("%d s take %.0f MB, %d s %.0f MB", seconds[i+1], float64(m)/1e6, seconds[0], float64(most[0])/1e6)
		}
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
