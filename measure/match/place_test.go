package match_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// part copies seconds of c with noise of its own.
func part(c pcm.Clip, from, to float64, seed uint64) pcm.Clip {
	return way{noise: 1e-5, seed: seed}.finish(c.Slice(int(from*c.Rate.Hz()), int(to*c.Rate.Hz())).Clone())
}

func TestFilesMayStartMinutesApart(t *testing.T) {
	const rate = 8000
	all := newMusic(21, 160, 3500).capture(rate, 160*rate, way{})
	for _, c := range []struct{ a, b [2]float64 }{
		{[2]float64{0, 130}, [2]float64{118, 160}},
		{[2]float64{130, 160}, [2]float64{0, 140}},
		{[2]float64{0, 160}, [2]float64{131.5, 139}}, // one within the other
	} {
		r, err := match.Compare(part(all, c.a[0], c.a[1], 1), part(all, c.b[0], c.b[1], 2), match.Config{})
		if err != nil {
			t.Errorf("%v: %v", c, err)
			continue
		}
		if want := c.a[0] - c.b[0]; math.Abs(r.OffsetS-want) > 1e-6 || r.NullDB > -60 || r.Confidence < 0.5 {
			t.Errorf("%v: offset %.7f s, want %v; null %.1f dB, confidence %.2f", c, r.OffsetS, want, r.NullDB, r.Confidence)
		}
	}
}

func TestTooShortAnOverlapIsRefusedAndAShortOneSaid(t *testing.T) {
	const rate = 16000
	all := newMusic(22, 24, 7000).capture(rate, 24*rate, way{})
	r, err := match.Compare(part(all, 0, 12, 1), part(all, 11.6, 24, 2), match.Config{})
	if !errors.Is(err, match.ErrUnrelated) {
		t.Errorf("0.4 s in common: offset %.4f s, error %v", r.OffsetS, err)
	}
	r, err = match.Compare(part(all, 0, 12, 1), part(all, 9, 24, 2), match.Config{})
	if err != nil || math.Abs(r.OffsetS+9) > 1e-6 || !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "overlap by only 3.0 s") }) {
		t.Errorf("3 s in common: offset %.7f s, %q, error %v", r.OffsetS, r.Warnings, err)
	}
}

// Between two frames the correlation of bright music stands lower than it is, and another period of a sustained tone would
// be taken for the place.
func TestMusicUpToNyquistIsFoundBetweenTwoFrames(t *testing.T) {
	const rate, seconds = 48000, 30
	m := newMusic(1, seconds, 19000)
	a := m.capture(rate, rate*seconds, way{})
	for _, offset := range []float64{0.5, -0.25} {
		r, err := match.Compare(a, m.capture(rate, rate*seconds, way{offset: offset, noise: 1e-5}), match.Config{})
		if err != nil || math.Abs(r.OffsetSamples-offset) > 1e-4 {
			t.Errorf("%v samples read as %.5f, %v", offset, r.OffsetSamples, err)
		}
	}
}

// A phrase of four seconds is played five times; each time another voice goes with it, so many dB below. B holds the
// third and fourth.
func TestTheRightRepetitionIsTaken(t *testing.T) {
	const rate, phrase = 16000, 4
	m := newMusic(23, phrase-0.5, 7000).capture(rate, phrase*rate, way{})
	for _, c := range []struct {
		voiceDB float64
		sure    bool
	}{{-10, true}, {-60, true}, {-90, false}} {
		all := pcm.NewClip(rate, 2, 5*phrase*rate)
		for k := range 5 {
			voice := newMusic(uint64(30+k), phrase-0.5, 7000).capture(rate, phrase*rate, way{gain: pcm.Ratio(c.voiceDB)})
			for ch := range all.Channels {
				for i, v := range m.Channels[ch] {
					all.Channels[ch][k*phrase*rate+i] = v + voice.Channels[ch][i]
				}
			}
		}
		r, err := match.Compare(part(all, 0, 20, 1), part(all, 8, 16, 2), match.Config{})
		if err != nil {
			t.Errorf("voices at %v dB: %v", c.voiceDB, err)
			continue
		}
		doubt := slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "another alignment") })
		if math.Abs(r.OffsetS+8) > 1e-6 || doubt == c.sure {
			t.Errorf("voices at %v dB: offset %.6f s, want −8; confidence %.3f, %q", c.voiceDB, r.OffsetS, r.Confidence, r.Warnings)
		}
		t.Logf("voices at %v dB: confidence %.4f, null %.1f dB", c.voiceDB, r.Confidence, r.NullDB)
	}
}
