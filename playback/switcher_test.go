package playback_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

const rate, fade = 48000, 240 // 5 ms

// tones returns two presentations of random stereo 24-bit words, so that any wrong frame is noticed.
func tones(frames int) []pcm.Clip {
	r := rand.New(rand.NewPCG(1, 2))
	var out []pcm.Clip
	for range 2 {
		c := pcm.NewClip(rate, 2, frames)
		for k := range c.Channels {
			for i := range frames {
				c.Channels[k][i] = float64(r.IntN(1<<24)-1<<23) * 0x1p-23
			}
		}
		out = append(out, c)
	}
	return out
}

func newSwitcher(t testing.TB, clips ...pcm.Clip) *playback.Switcher {
	t.Helper()
	s, err := playback.New(playback.Config{FirstFade: 5 * time.Millisecond}, clips...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func fill(s *playback.Switcher, frames int) []float32 {
	out := make([]float32, frames*s.Channels())
	s.Fill(out)
	return out
}

func TestNothingSoundsBeforeAKey(t *testing.T) {
	s := newSwitcher(t, tones(4800)...)
	if err := s.Switch(0); !errors.Is(err, playback.ErrSilent) {
		t.Errorf("a key before the deal: %v", err)
	}
	must(t, s.Deal(0, 1, 0))
	for i, v := range fill(s, 1000) {
		if v != 0 {
			t.Fatalf("sample %d is %v", i, v)
		}
	}
}

func TestAtRestThe24BitWordsPassUnchanged(t *testing.T) {
	clips := tones(9600)
	for slot, source := range []int{0, 1, 1, 0} {
		s := newSwitcher(t, clips...)
		must(t, s.Deal(0, 1, 1, 0))
		must(t, s.Switch(slot))
		fill(s, fade)
		want := clips[source].Float32()[2*fade:]
		for i, v := range fill(s, 9600-2*fade-1) {
			if v != want[i] {
				t.Fatalf("slot %d: sample %d is %v, want %v", slot, i, v, want[i])
			}
		}
	}
}

// Every switch is, sample for sample, the cross-fade (1−w)·x + w·y with w = ½ − ½·cos(π·n/N), and nothing else; a switch to
// the same audio changes no sample.
func TestEverySwitchIsTheSameCrossFade(t *testing.T) {
	clips := tones(48000)
	audio := [][]float32{clips[0].Float32(), clips[1].Float32()}
	route := []int{0, 1, 1}
	for from := range route {
		for to := range route {
			s := newSwitcher(t, clips...)
			must(t, s.Deal(route...))
			must(t, s.Switch(from))
			fill(s, 1000)
			must(t, s.Switch(to))
			got := fill(s, 1000)
			x, y := audio[route[from]], audio[route[to]]
			for n := range 1000 {
				w := 0.5 - 0.5*math.Cos(math.Pi*float64(min(n+1, fade))/fade)
				for c := range 2 {
					k := 2*(1000+n) + c
					want := (1-w)*float64(x[k]) + w*float64(y[k])
					// Rounding to float32 below 1 is at most 2⁻²⁵.
					if e := math.Abs(float64(got[2*n+c]) - want); e > 0x1p-25 {
						t.Fatalf("%d to %d: frame %d is off by %g", from, to, n, e)
					}
					if route[from] == route[to] && got[2*n+c] != x[k] {
						t.Fatalf("%d to %d, the same audio: frame %d changed", from, to, n)
					}
				}
			}
		}
	}
}

// The time from key to change is the same whatever X is: over thousands of switches at random instants between A, B and X,
// every change begins in the next frame and ends after exactly one fade.
func TestTimeToChangeDoesNotTellTheSource(t *testing.T) {
	a, b := pcm.NewClip(rate, 1, 4800), pcm.NewClip(rate, 1, 4800)
	for i := range a.Channels[0] {
		a.Channels[0][i], b.Channels[0][i] = 0.5, -0.5
	}
	r := rand.New(rand.NewPCG(3, 4))
	for hidden := range 2 {
		s := newSwitcher(t, a, b)
		must(t, s.Deal(0, 1, hidden))
		must(t, s.Switch(0))
		fill(s, 2*fade)
		for range 4000 {
			other := 1 - hidden
			must(t, s.Switch(other))
			fill(s, fade+r.IntN(300))
			must(t, s.Switch(2))
			got := fill(s, fade+r.IntN(300))
			before, after := []float32{0.5, -0.5}[other], []float32{0.5, -0.5}[hidden]
			begins := slices.IndexFunc(got, func(v float32) bool { return v != before })
			ends := slices.Index(got, after)
			if begins != 0 || ends != fade-1 {
				t.Fatalf("X is %d: the change begins at frame %d and ends at %d", hidden, begins, ends)
			}
		}
	}
}

// A step of the output is a click. Switching between constants at any moment, even inside a running fade, pausing,
// restarting and looping never steps by more than the steepest part of the fade, π/(2N) of the distance.
func TestNoActionClicks(t *testing.T) {
	a, b := pcm.NewClip(rate, 1, 9600), pcm.NewClip(rate, 1, 9600)
	for i := range a.Channels[0] {
		a.Channels[0][i], b.Channels[0][i] = 1, -1
	}
	s := newSwitcher(t, a, b)
	must(t, s.Deal(0, 1, 1))
	r := rand.New(rand.NewPCG(5, 6))
	last := float32(0)
	// A level fade and a cross-fade may coincide: π/(2N)·(1 + 2); plus rounding to float32.
	limit := 3*math.Pi/2/fade + 1e-6
	for range 5000 {
		switch r.IntN(6) {
		case 0:
			s.Pause()
		case 1:
			must(t, s.Restart(r.IntN(3)))
		case 2:
			from := r.IntN(4000)
			must(t, s.Region(from, from+4*fade+r.IntN(4000)))
		case 3:
			if r.IntN(20) == 0 {
				must(t, s.Deal(1, 0, 0))
			}
		default:
			must(t, s.Switch(r.IntN(3)))
		}
		for _, v := range fill(s, r.IntN(400)) {
			if math.Abs(float64(v-last)) > limit {
				t.Fatalf("a step of %v", v-last)
			}
			last = v
		}
	}
}

func TestTheLoopsSeamIsACrossFade(t *testing.T) {
	clips := tones(48000)
	s := newSwitcher(t, clips...)
	must(t, s.Deal(0, 1))
	must(t, s.Region(10000, 14800))
	must(t, s.Switch(1))
	got := fill(s, 3*4800)
	want := clips[1].Channels[0]
	period := 4800 - fade
	for i := fade; i < len(got)/2; i++ { // after the fade-in
		n := i % period
		v := want[10000+n]
		if i >= period && n < fade {
			w := 0.5 - 0.5*math.Cos(math.Pi*float64(n+1)/fade)
			v = w*v + (1-w)*want[10000+period+n]
		}
		if math.Abs(float64(got[2*i])-v) > 0x1p-25 {
			t.Fatalf("frame %d is %v, want %v", i, got[2*i], v)
		}
	}
}

func TestHeardCountsOnlyWhatSoundedAlone(t *testing.T) {
	s := newSwitcher(t, tones(48000)...)
	must(t, s.Deal(0, 1, 0))
	must(t, s.Switch(0))
	fill(s, 1000)
	must(t, s.Switch(2))
	fill(s, 500)
	s.Pause()
	fill(s, 5000)
	// The frame that completes a fade counts.
	st := s.State()
	if want := []int64{1000 - fade + 1, 0, 500 - fade + 1}; !slices.Equal(st.Heard, want) {
		t.Errorf("heard %v, want %v", st.Heard, want)
	}
	if st.Switches != 2 || st.Clock != 6500 || st.Playing || st.Slot != 2 {
		t.Errorf("%+v", st)
	}
	must(t, s.Deal(0, 1, 1))
	if st := s.State(); st.Slot != -1 || st.Switches != 0 || slices.Max(st.Heard) != 0 {
		t.Errorf("after the next deal: %+v", st)
	}
}

func TestAudioThatCannotBePlayedIsRefused(t *testing.T) {
	loud := pcm.NewClip(rate, 1, 4800)
	loud.Channels[0][9] = 1.001
	nan := pcm.NewClip(rate, 1, 4800)
	nan.Channels[0][9] = math.NaN()
	for name, clips := range map[string][]pcm.Clip{
		"none":           nil,
		"above full":     {loud},
		"not a number":   {nan},
		"another length": {pcm.NewClip(rate, 1, 4800), pcm.NewClip(rate, 1, 4801)},
		"another rate":   {pcm.NewClip(rate, 1, 4800), pcm.NewClip(44100, 1, 4800)},
		"too short":      {pcm.NewClip(rate, 1, 100)},
	} {
		if _, err := playback.New(playback.Config{}, clips...); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func TestFillDoesNotAllocate(t *testing.T) {
	s := newSwitcher(t, tones(48000)...)
	must(t, s.Deal(0, 1, 1))
	dst := make([]float32, 960)
	slot := 0
	if n := testing.AllocsPerRun(200, func() {
		slot = (slot + 1) % 3
		s.Switch(slot)
		s.Fill(dst)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkFill(b *testing.B) {
	s := newSwitcher(b, tones(480000)...)
	must(b, s.Deal(0, 1, 1))
	must(b, s.Switch(2))
	dst := make([]float32, 2*480) // 10 ms
	b.SetBytes(int64(len(dst) * 4))
	b.ReportAllocs()
	for b.Loop() {
		s.Fill(dst)
	}
}

// BenchmarkKeyToChange measures from the key to the first changed frame in the block that the device gets next, while the
// device pulls blocks of 2 ms by the clock. The device's own buffer adds to it.
func BenchmarkKeyToChange(b *testing.B) {
	x, y := pcm.NewClip(rate, 1, 48000), pcm.NewClip(rate, 1, 48000)
	for i := range x.Channels[0] {
		x.Channels[0][i], y.Channels[0][i] = 0.5, -0.5
	}
	s := newSwitcher(b, x, y)
	must(b, s.Deal(0, 1))
	must(b, s.Switch(0))
	fill(s, 1000)
	dst := make([]float32, 96)
	var took []time.Duration
	slot := 0
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	for b.Loop() {
		fill(s, 2*fade)
		slot = 1 - slot
		begun := time.Now()
		must(b, s.Switch(slot))
		<-tick.C
		s.Fill(dst)
		took = append(took, time.Since(begun))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-µs")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
}
