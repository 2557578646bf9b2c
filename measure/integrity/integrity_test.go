package integrity_test

import (
	"encoding/json"
	"errors"
	"flag"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"heardiff/measure/integrity"
	"heardiff/measure/interpolate"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
)

var full = flag.Bool("full", false, "compare an hour at 192 kHz instead of 16 s: some minutes")

func words(t testing.TB, bits int, seconds float64) pcm.Clip {
	t.Helper()
	c, err := signal.Make(signal.Config{Kind: signal.Integrity, Rate: 48000, Bits: bits, Seconds: seconds})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// melody returns struck notes, each with a burst of noise and partials that are no harmonics, in 24-bit words:
// what music is to the search.
func melody(seconds float64) pcm.Clip {
	c := pcm.NewClip(48000, 2, int(seconds*48000))
	random := rand.New(rand.NewPCG(8, 9))
	q := pcm.NewQuantizer(24, 3)
	for i := range c.Len() {
		t := float64(i) / 48000
		note := math.Floor(t * 3)
		env := math.Exp(-3 * (t - note/3))
		f := 220 * math.Pow(2, math.Mod(note*7, 12)/12) * (1 + note*1e-4)
		for k := range c.Channels {
			v := 0.3*env*(math.Sin(2*math.Pi*f*t)+0.5*math.Sin(2*math.Pi*(2.76+float64(k))*f*t)) + 0.2*env*env*env*random.NormFloat64()
			w, _ := q.Word(v)
			c.Channels[k][i] = q.Value(w)
		}
	}
	return c
}

// delayed returns frames of c from from on, with before frames of zero ahead of them.
func delayed(c pcm.Clip, from, to, before int) pcm.Clip {
	d := pcm.NewClip(c.Rate, len(c.Channels), to-from+before)
	for k := range c.Channels {
		copy(d.Channels[k][before:], c.Channels[k][from:to])
	}
	return d
}

func TestEqualWordsAreFoundAtAnyOffset(t *testing.T) {
	for name, c := range map[string]pcm.Clip{"words": words(t, 24, 3), "16 bits": words(t, 16, 3), "melody": melody(3)} {
		for _, o := range []struct{ from, to, before int }{
			{0, c.Len(), 0}, {0, c.Len(), 12345}, {0, c.Len() - 5000, 1}, {40_007, c.Len(), 0}, {40_007, 90_000, 33},
		} {
			r, err := integrity.Compare(c, delayed(c, o.from, o.to, o.before))
			if err != nil {
				t.Fatalf("%s %v: %v", name, o, err)
			}
			if o.from > 0 && o.before > 0 { // zeros in the place of words that were sent
				if r.OffsetSamples != o.before-o.from || r.MismatchedSamples == 0 || r.MismatchedSamples > 66 {
					t.Errorf("%s %v: %+v", name, o, r)
				}
				continue
			}
			if !r.BitPerfect || r.OffsetSamples != o.before-o.from || r.ComparedSamples != 2*(o.to-o.from) || r.Cause != nil {
				t.Errorf("%s %v: %+v", name, o, r)
			}
		}
	}
}

// A result of a version that gave the offset of SENT in RECEIVED reads as one of this.
func TestAStoredOffsetHasOneSign(t *testing.T) {
	c := words(t, 24, 1)
	now, err := integrity.Compare(c, delayed(c, 0, c.Len(), 321))
	if err != nil || now.OffsetSamples != 321 {
		t.Fatalf("offset %d, error %v", now.OffsetSamples, err)
	}
	for text, want := range map[string]int{
		`{"schema":"heardiff.integrity/1","offset_samples":-321,"gain_db":null}`:                       321,
		`{"schema":"heardiff.integrity/1","offset_samples":321,"offset_of":"received","gain_db":null}`: 321,
	} {
		var r integrity.Result
		if err := json.Unmarshal([]byte(text), &r); err != nil || r.OffsetSamples != want {
			t.Errorf("%s: offset %d, error %v", text, r.OffsetSamples, err)
		}
	}
}

func each(c pcm.Clip, f func(v float64) float64) pcm.Clip {
	d := c.Clone()
	for k := range d.Channels {
		for i, v := range d.Channels[k] {
			d.Channels[k][i] = f(v)
		}
	}
	return d
}

func quantised(c pcm.Clip, q *pcm.Quantizer) pcm.Clip {
	return each(c, func(v float64) float64 { w, _ := q.Word(v); return q.Value(w) })
}

// resampled evaluates c at (i + shift)·(1 + ppm·1e-6), in 24-bit words.
func resampled(t *testing.T, c pcm.Clip, shift, ppm float64) pcm.Clip {
	t.Helper()
	k, err := interpolate.New(interpolate.Config{})
	if err != nil {
		t.Fatal(err)
	}
	d := pcm.NewClip(c.Rate, len(c.Channels), c.Len())
	by := make([]float64, c.Len())
	for i := range by {
		by[i] = shift + float64(i)*ppm*1e-6
	}
	if err := interpolate.NewStream(k, c).Read(d.Channels, 0, by); err != nil {
		t.Fatal(err)
	}
	return quantised(d, pcm.NewPlainQuantizer(24))
}

func TestCausesAreNamed(t *testing.T) {
	for name, c := range map[string]pcm.Clip{"words": each(words(t, 24, 4), func(v float64) float64 { return v / 2 }), "melody": melody(4)} {
		c = quantised(c, pcm.NewPlainQuantizer(24))
		swapped := pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[1], c.Channels[0]}}
		muted, repeated, lost, doubled := c.Clone(), c.Clone(), c.Clone(), pcm.NewClip(c.Rate, 2, c.Len()+512)
		for k := range c.Channels {
			clear(muted.Channels[k][100_000:101_000])
			copy(repeated.Channels[k][100_000:101_000], c.Channels[k][99_000:100_000])
			lost.Channels[k] = append(append([]float64(nil), c.Channels[k][:100_000]...), c.Channels[k][101_000:]...)
			copy(doubled.Channels[k], c.Channels[k][:100_000])
			copy(doubled.Channels[k][100_000:], c.Channels[k][100_000-512:])
		}
		for _, f := range []struct {
			name     string
			received pcm.Clip
			want     integrity.Cause
		}{
			{"−3 dB", quantised(each(c, func(v float64) float64 { return v * 0.7 }), pcm.NewPlainQuantizer(24)), integrity.Gain},
			{"−0.01 dB, dithered", quantised(each(c, func(v float64) float64 { return v * 0.99885 }), pcm.NewQuantizer(24, 4)), integrity.Gain},
			{"dithered twice", quantised(c, pcm.NewQuantizer(24, 5)), integrity.Dither},
			{"dithered to 16 bits", quantised(c, pcm.NewQuantizer(16, 5)), integrity.Dither},
			{"cut to 16 bits", each(c, func(v float64) float64 { return math.Floor(v*32768) / 32768 }), integrity.Truncation},
			{"rounded to 16 bits", quantised(c, pcm.NewPlainQuantizer(16)), integrity.Truncation},
			{"inverted", each(c, func(v float64) float64 { return -v }), integrity.Polarity},
			{"channels exchanged", swapped, integrity.ChannelSwap},
			{"muted for 1000 frames", muted, integrity.Dropout},
			{"1000 frames lost", lost, integrity.Dropout},
			{"a block played twice in place", repeated, integrity.Repeat},
			{"a block played twice", doubled, integrity.Repeat},
			{"half a sample late", resampled(t, c, 0.5, 0), integrity.Resampling},
			{"20 ppm fast", resampled(t, c, 0.1, 20), integrity.Resampling},
			{"clipped hard", each(c, func(v float64) float64 { return min(max(v, -.1), .1) }), integrity.Unknown},
		} {
			r, err := integrity.Compare(c, delayed(f.received, 0, f.received.Len(), 777))
			if err != nil {
				t.Errorf("%s, %s: %v", name, f.name, err)
				continue
			}
			if r.BitPerfect || r.Cause == nil || *r.Cause != f.want || (r.OffsetSamples != 777 && f.name != "half a sample late") {
				t.Errorf("%s, %s: cause %v, want %v; %+v", name, f.name, deref(r.Cause), f.want, r)
			}
			if (f.want == integrity.Dropout || f.want == integrity.Repeat) && (r.FirstMismatch == nil || *r.FirstMismatch < 100_000 || *r.FirstMismatch > 100_010 || r.MismatchedSamples > 2000) {
				t.Errorf("%s, %s: first %v, %d differ", name, f.name, deref(r.FirstMismatch), r.MismatchedSamples)
			}
		}
	}
}

func deref[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// lowPassed cuts c above hz: a sinc of half frames to either side under a Blackman window. 500 frames are 260 Hz at 48 kHz.
func lowPassed(c pcm.Clip, hz float64, half int) pcm.Clip {
	h := make([]float64, 2*half+1)
	for i := range h {
		x, u := float64(i-half), float64(i)/float64(2*half)
		h[i] = 2 * hz / c.Rate.Hz() * (0.42 - 0.5*math.Cos(2*math.Pi*u) + 0.08*math.Cos(4*math.Pi*u))
		if x != 0 {
			h[i] *= math.Sin(2*math.Pi*hz/c.Rate.Hz()*x) / (2 * math.Pi * hz / c.Rate.Hz() * x)
		}
	}
	d := pcm.NewClip(c.Rate, len(c.Channels), c.Len())
	for k := range c.Channels {
		for i := range d.Channels[k] {
			for j := max(0, half-i); j < min(len(h), c.Len()-i+half); j++ {
				d.Channels[k][i] += h[j] * c.Channels[k][i+j-half]
			}
		}
	}
	return quantised(d, pcm.NewPlainQuantizer(24))
}

// A band cut at 20 to 22.05 kHz is what a conversion down to 44.1 kHz and back leaves, whatever it does to the level.
func TestAWayThroughALowerRateIsResampling(t *testing.T) {
	c := words(t, 24, 1)
	c = quantised(each(c, func(v float64) float64 { return v / 2 }), pcm.NewPlainQuantizer(24))
	for _, top := range []float64{20000, 21000, 22050} {
		for _, gain := range []float64{1, 0.5} {
			received := quantised(each(lowPassed(c, top, 500), func(v float64) float64 { return gain * v }), pcm.NewPlainQuantizer(24))
			r, err := integrity.Compare(c, delayed(received, 0, c.Len(), 333))
			if err != nil || r.Cause == nil || *r.Cause != integrity.Resampling {
				t.Errorf("cut at %v Hz, gain %v: %v, cause %v, want resampling", top, gain, err, deref(r.Cause))
			}
		}
	}
}

func TestGainIsStatedOnlyWhereThereIsOne(t *testing.T) {
	c := words(t, 24, 2) // full-scale words
	mono := pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[0], c.Channels[0]}}
	swapped := pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[1], c.Channels[0]}}
	half := c.Clone()
	for i, v := range half.Channels[1] {
		half.Channels[1][i] = -v
	}
	top := 1 - math.Ldexp(1, -23)
	for _, f := range []struct {
		name     string
		received pcm.Clip
		want     integrity.Cause
		gainDB   float64
		warned   bool
	}{
		{"half a decibel up, clipped", quantised(each(c, func(v float64) float64 { return min(max(v*math.Pow(10, 0.5/20), -1), top) }), pcm.NewPlainQuantizer(24)), integrity.Gain, 0.5, false},
		{"channel 1 in both", mono, integrity.Unknown, math.NaN(), true},
		{"channels exchanged", swapped, integrity.ChannelSwap, 0, false},
		{"one channel inverted", half, integrity.Polarity, 0, true},
	} {
		r, err := integrity.Compare(c, delayed(f.received, 0, c.Len(), 777))
		if err != nil {
			t.Errorf("%s: %v", f.name, err)
			continue
		}
		right := math.IsNaN(f.gainDB) && math.IsNaN(r.GainDB) || math.Abs(r.GainDB-f.gainDB) < 1e-5
		if r.Cause == nil || *r.Cause != f.want || !right || f.warned != (len(r.Texts) > 0) {
			t.Errorf("%s: cause %v, gain %v dB, warnings %q; want %v, %v dB", f.name, deref(r.Cause), r.GainDB, r.Texts, f.want, f.gainDB)
		}
	}
}

func TestUnrelatedAndUnequalShapesAreRefused(t *testing.T) {
	c := words(t, 24, 1)
	other, err := signal.Make(signal.Config{Kind: signal.Integrity, Rate: 48000, Bits: 24, Seconds: 1, Seed: 99})
	if err != nil {
		t.Fatal(err)
	}
	for k := range other.Channels {
		other.Channels[k] = other.Channels[k][signal.SyncFrames:] // the sync mark is the same in all
	}
	if _, err := integrity.Compare(c, other); !errors.Is(err, integrity.ErrUnrelated) {
		t.Errorf("other words: %v", err)
	}
	if _, err := integrity.Compare(c, pcm.NewClip(48000, 2, 48000)); !errors.Is(err, integrity.ErrUnrelated) {
		t.Errorf("silence: %v", err)
	}
	for _, d := range []pcm.Clip{{Rate: 44100, Channels: c.Channels}, {Rate: 48000, Channels: c.Channels[:1]}} {
		if _, err := integrity.Compare(c, d); !errors.Is(err, pcm.ErrMismatch) {
			t.Errorf("%v: %v", d.Format(), err)
		}
	}
}

// endless is a signal made as it is read, so that a test of length needs no memory of its own.
type endless struct {
	*signal.Signal
	shift int
}

func (e endless) ReadFrames(dst [][]float64, from int) (int, error) {
	if from+e.shift >= e.Signal.Frames() {
		return 0, io.EOF
	}
	return e.Signal.ReadFrames(dst, from+e.shift)
}

func (e endless) Frames() int { return e.Signal.Frames() - e.shift }

func TestMemoryDoesNotGrowWithLength(t *testing.T) {
	used := func(seconds float64) uint64 {
		s, err := signal.New(signal.Config{Kind: signal.Integrity, Rate: 192000, Bits: 24, Seconds: seconds})
		if err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r, err := integrity.Compare(endless{s, 0}, endless{s, 1000})
		runtime.ReadMemStats(&after)
		if err != nil || !r.BitPerfect || r.OffsetSamples != -1000 {
			t.Fatalf("%+v, error %v", r, err)
		}
		return after.TotalAlloc - before.TotalAlloc // all that was ever allocated: more than was held at once
	}
	length := 16.0
	if *full {
		length = 3600
	}
	short, long := used(2), used(length)
	// What is allocated and freed for each block may add up to 16 kB for a second of audio, which is 3 MB itself. Measured over an hour:
	// 5 kB, and a resident set of 9 MB at its peak.
	if float64(long) > float64(short)+(length-2)*16*1024 || long > 100<<20 {
		t.Errorf("2 s took %d bytes, %.0f s %d", short, length, long)
	}
	var held runtime.MemStats
	runtime.ReadMemStats(&held)
	t.Logf("%.0f s at 192 kHz: %d MB were taken in all; the process has %d MB from the system", length, long>>20, held.Sys>>20)
}

func BenchmarkCompare(b *testing.B) {
	c := words(b, 24, 20)
	d := delayed(c, 0, c.Len(), 5000)
	b.SetBytes(int64(c.Len() * 2 * 3))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := integrity.Compare(c, d); err != nil {
			b.Fatal(err)
		}
	}
}

// Silence says nothing of where channels went, however much of it comes first.
func TestChannelsAreDistinguishedWhereTheySound(t *testing.T) {
	for _, lead := range []int{0, 24_000, 48_000, 300_000} {
		c := delayed(melody(4), 0, 4*48000, lead)
		inverted := c.Clone()
		for i, v := range c.Channels[1] {
			inverted.Channels[1][i] = -v
		}
		for _, f := range []struct {
			name     string
			received pcm.Clip
			want     integrity.Cause
			warned   bool
		}{
			{"one inverted", inverted, integrity.Polarity, true},
			{"mono", pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[0], c.Channels[0]}}, integrity.Unknown, true},
			{"exchanged", pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[1], c.Channels[0]}}, integrity.ChannelSwap, false},
		} {
			r, err := integrity.Compare(c, f.received)
			if err != nil || r.Cause == nil || *r.Cause != f.want || f.warned != (len(r.Texts) > 0) {
				t.Errorf("%s after %d frames: %v, cause %v, want %v, warnings %q", f.name, lead, err, deref(r.Cause), f.want, r.Texts)
			}
		}
	}
}

// A cable pulled out after a third, and left out.
func TestMutedToTheEndIsADropout(t *testing.T) {
	c := words(t, 24, 6)
	pulled := c.Clone()
	for k := range pulled.Channels {
		clear(pulled.Channels[k][90_000:])
	}
	r, err := integrity.Compare(c, pulled)
	if err != nil || r.Cause == nil || *r.Cause != integrity.Dropout || len(r.Faults) != 1 || r.Faults[0].Frame != 90_000 {
		t.Errorf("%v, cause %v, %+v", err, deref(r.Cause), r)
	}
}
