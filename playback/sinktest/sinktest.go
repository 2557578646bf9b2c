// Package sinktest holds the test that every output device must pass.
package sinktest

import (
	"sync"
	"testing"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// Rig is an output under test.
type Rig struct {
	Open func(playback.Source) (playback.Output, error)
	// Reached returns all samples that the device was given, interleaved. It is called once, after Close; nil for a
	// device that keeps nothing.
	Reached func() []float32
}

// maxBuffered is how much audio an output's buffers may hold in advance: more would make keys respond too late
// (judgement, no source; no figure depends on it).
const maxBuffered = 500 * time.Millisecond

// witness keeps the samples that a source gave.
type witness struct {
	*playback.Switcher
	mu   sync.Mutex
	gave []float32
}

// Fill implements playback.Source.
func (w *witness) Fill(dst []float32) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.Switcher.Fill(dst)
	w.gave = append(w.gave, dst...)
}

func (w *witness) frames() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.gave) / w.Channels()
}

// Run plays two presentations with a switch every few milliseconds, and demands that the output
//   - pulls by itself from the moment it is opened, so that silence comes first;
//   - pulls no faster than the audio plays;
//   - gives the device every sample unchanged and in order;
//   - stops pulling once Close has returned, without an error.
func Run(t *testing.T, rig Rig) {
	t.Helper()
	w := &witness{Switcher: presentations(t)}
	begun := time.Now()
	out, err := rig.Open(w)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	wait(t, out, w, 1) // it pulls although nothing is dealt
	if err := w.Deal(0, 1, 1); err != nil {
		t.Fatal(err)
	}
	for k := range 60 {
		if err := w.Switch(k % 3); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(3+7*k%20) * time.Millisecond)
	}
	w.Pause()
	wait(t, out, w, w.frames()+48000/4) // until the end has left all buffers
	if played, most := w.Rate().Duration(w.frames()), time.Since(begun)+maxBuffered; played > most {
		t.Errorf("%v of audio were pulled in %v", played, most)
	}
	if err := out.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
	n := w.frames()
	time.Sleep(50 * time.Millisecond)
	if w.frames() != n {
		t.Error("the output still pulls after Close")
	}
	if o := out.Opened(); o.Name == "" {
		t.Error("the output has no name")
	}
	if rig.Reached != nil {
		compare(t, rig.Reached(), w.gave)
	}
}

// presentations returns a switcher over noise, so that no lost, repeated or shifted sample goes unnoticed.
func presentations(t *testing.T) *playback.Switcher {
	t.Helper()
	a, b := pcm.NewClip(48000, 2, 24000), pcm.NewClip(48000, 2, 24000)
	state := uint32(1)
	for i := range a.Len() {
		for c := range 2 {
			state = state*1664525 + 1013904223
			a.Channels[c][i] = float64(int32(state)>>8) * 0x1p-23
			b.Channels[c][i] = float64(int32(state*2654435769)>>8) * 0x1p-23
		}
	}
	s, err := playback.New(playback.Config{FirstFade: 5 * time.Millisecond}, a, b)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// wait blocks until frames have been pulled.
func wait(t *testing.T, out playback.Output, w *witness, frames int) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); w.frames() < frames; time.Sleep(2 * time.Millisecond) {
		if err := out.Err(); err != nil {
			t.Fatalf("the output stopped: %v", err)
		}
		if time.Now().After(deadline) {
			t.Fatalf("only %d of %d frames were pulled in ten seconds", w.frames(), frames)
		}
	}
}

// compare demands that reached contains the sounding part of gave, sample for sample; the silence around it may be longer
// or shorter.
func compare(t *testing.T, reached, gave []float32) {
	t.Helper()
	r, g := sounding(reached), sounding(gave)
	if len(g) < 2*48000/10 {
		t.Fatalf("only %d samples sounded", len(g))
	}
	if len(r) != len(g) {
		t.Errorf("%d samples reached the device, %d were given", len(r), len(g))
	}
	for i := range min(len(r), len(g)) {
		if r[i] != g[i] {
			t.Fatalf("sample %d of %d reached the device as %v, was %v", i, len(g), r[i], g[i])
		}
	}
}

// sounding returns a from its first to its last sample that is not zero.
func sounding(a []float32) []float32 {
	for len(a) > 0 && a[0] == 0 {
		a = a[1:]
	}
	for len(a) > 0 && a[len(a)-1] == 0 {
		a = a[:len(a)-1]
	}
	return a
}
