package integrity_test

import (
	"runtime"
	"testing"

	"heardiff/measure/integrity"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
)

// joined returns the stretches from, to of c one after the other; from < 0 means that many frames of zeros.
func joined(c pcm.Clip, stretches ...[2]int) pcm.Clip {
	d := pcm.Clip{Rate: c.Rate, Channels: make([][]float64, len(c.Channels))}
	for k, x := range c.Channels {
		for _, s := range stretches {
			if s[0] < 0 {
				d.Channels[k] = append(d.Channels[k], make([]float64, -s[0])...)
				continue
			}
			d.Channels[k] = append(d.Channels[k], x[s[0]:s[1]]...)
		}
	}
	return d
}

// A cable is out for some seconds, a recorder's buffer is not refilled for as long: 1.37 s at 48 kHz is 65536 frames.
func TestTheOffsetIsRecoveredAfterALossOfAnyLength(t *testing.T) {
	const at = 250_000
	for name, c := range map[string]pcm.Clip{"words": words(t, 24, 10), "melody": melody(10)} {
		for _, n := range []int{60_000, 66_000, 96_000, 200_000} {
			end := c.Len()
			for _, f := range []struct {
				name     string
				received pcm.Clip
				want     integrity.Cause
			}{
				{"lost", joined(c, [2]int{0, at}, [2]int{at + n, end}), integrity.Dropout},
				{"zeros put in", joined(c, [2]int{0, at}, [2]int{-n, 0}, [2]int{at, end}), integrity.Dropout},
				{"muted", joined(c, [2]int{0, at}, [2]int{-n, 0}, [2]int{at + n, end}), integrity.Dropout},
				{"played twice", joined(c, [2]int{0, at}, [2]int{at - n, end}), integrity.Repeat},
			} {
				r, err := integrity.Compare(c, delayed(f.received, 0, f.received.Len(), 555))
				if err != nil {
					t.Errorf("%s, %d %s: %v", name, n, f.name, err)
					continue
				}
				if r.Cause == nil || *r.Cause != f.want || r.OffsetSamples != 555 || r.MismatchedSamples > 2*n || r.MismatchedSamples < 2*n-100 ||
					len(r.Faults) != 1 || r.Faults[0].Frame < at || r.Faults[0].Frame > at+10 || r.Faults[0].Frames > n || r.Faults[0].Frames < n-10 {
					t.Errorf("%s, %d %s: cause %v, want %v; %+v", name, n, f.name, deref(r.Cause), f.want, r)
				}
			}
		}
	}
}

// What clocks that are not locked do: a buffer overflows, and seconds later one underflows.
func TestALossMadeUpForSpoilsNothingBetween(t *testing.T) {
	c := words(t, 24, 10)
	for _, n := range []int{1, 48, 1000} {
		r, err := integrity.Compare(c, joined(c, [2]int{0, 100_000}, [2]int{100_000 + n, 300_000 + n}, [2]int{300_000, c.Len()}))
		if err != nil || len(r.Faults) != 2 || r.MismatchedSamples != 4*n ||
			r.Faults[0] != (integrity.Fault{Cause: integrity.Dropout, Frame: 100_000, Frames: n}) ||
			r.Faults[1] != (integrity.Fault{Cause: integrity.Repeat, Frame: 300_000 + n, Frames: n}) {
			t.Errorf("%d frames: %v, %+v", n, err, r)
		}
	}
}

// The stretch that the recordings are aligned by is a loud one; a loss in the quiet before it is one all the same.
func TestALossBeforeTheLoudestStretchIsFound(t *testing.T) {
	c := words(t, 24, 6)
	for k := range c.Channels {
		for i := range 150_000 {
			c.Channels[k][i] /= 64 // full-scale words of 24 bits, of which the lower 18 are left
			c.Channels[k][i] = float64(int(c.Channels[k][i]*8388608)) / 8388608
		}
	}
	for _, n := range []int{1000, 70_000} {
		r, err := integrity.Compare(c, joined(c, [2]int{0, 60_000}, [2]int{60_000 + n, c.Len()}))
		if err != nil || r.OffsetSamples != 0 || len(r.Faults) != 1 ||
			r.Faults[0] != (integrity.Fault{Cause: integrity.Dropout, Frame: 60_000, Frames: n}) {
			t.Errorf("%d frames: %v, %+v", n, err, r)
		}
	}
}

// A sample played twice is no dropout.
func TestSlipsAreNamedByWhatTheyDo(t *testing.T) {
	c := melody(6)
	lost, repeated := c.Clone(), c.Clone()
	for k, x := range c.Channels {
		lost.Channels[k], repeated.Channels[k] = nil, nil
		for from := 0; from < len(x); from += 48_000 { // one slip a second: 21 ppm
			to := min(from+48_000, len(x))
			lost.Channels[k] = append(lost.Channels[k], x[from:to-1]...)
			repeated.Channels[k] = append(append(repeated.Channels[k], x[from:to]...), x[to-1])
		}
	}
	for _, f := range []struct {
		name     string
		received pcm.Clip
		want     integrity.Cause
	}{{"lost", lost, integrity.Dropout}, {"played twice", repeated, integrity.Repeat}} {
		r, err := integrity.Compare(c, f.received)
		if err != nil || r.Cause == nil || *r.Cause != f.want || len(r.Faults) < 5 || r.MismatchedSamples > 12 {
			t.Errorf("%s: %v, cause %v, want %v; %+v", f.name, err, deref(r.Cause), f.want, r)
			continue
		}
		for _, fault := range r.Faults {
			if fault.Cause != f.want || fault.Frames != 1 {
				t.Errorf("%s: %+v", f.name, fault)
			}
		}
	}
}

// counted is a reader that counts the frames read from it.
type counted struct {
	pcm.Reader
	frames *int
}

func (c counted) ReadFrames(dst [][]float64, from int) (int, error) {
	n, err := c.Reader.ReadFrames(dst, from)
	*c.frames += n
	return n, err
}

// strayed is one recording up to the middle, and another from there on.
type strayed struct{ endless, other endless }

func (s strayed) Format() pcm.Format { return s.endless.Format() }
func (s strayed) Frames() int        { return s.endless.Frames() }

func (s strayed) ReadFrames(dst [][]float64, from int) (int, error) {
	n, err := s.endless.ReadFrames(dst, from)
	if middle := s.Frames() / 2; err == nil && from+n > middle {
		i := max(0, middle-from)
		rest := make([][]float64, len(dst))
		for k := range dst {
			rest[k] = dst[k][i:n]
		}
		_, err = s.other.ReadFrames(rest, from+i)
	}
	return n, err
}

func TestWordsThatNoLongerAgreeCostInProportion(t *testing.T) {
	cost := func(rate pcm.Rate, seconds float64) float64 {
		var made [2]endless
		for i := range made {
			s, err := signal.New(signal.Config{Kind: signal.Integrity, Rate: rate, Bits: 24, Seconds: seconds, Seed: uint64(7 * i)})
			if err != nil {
				t.Fatal(err)
			}
			made[i] = endless{s, 0}
		}
		n := 0
		r, err := integrity.Compare(counted{made[0], &n}, counted{strayed{made[0], made[1]}, &n})
		if err != nil || r.Cause == nil || *r.FirstMismatch < made[0].Frames()/2 {
			t.Fatalf("%v, %+v", err, r)
		}
		return float64(n) / float64(2*made[0].Frames())
	}
	short, long := cost(48000, 20), cost(48000, 120)
	t.Logf("every frame is read %.1f times in 20 s, %.1f in 120 s", short, long)
	if long > 1.5*short || long > 20 {
		t.Errorf("every frame is read %.1f times in 20 s, %.1f in 120 s", short, long)
	}
	if *full {
		var held runtime.MemStats
		times := cost(192000, 3600)
		runtime.ReadMemStats(&held)
		t.Logf("%.1f times in an hour at 192 kHz; the process has %d MB from the system", times, held.Sys>>20)
	}
}
