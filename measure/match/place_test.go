package match_test

import (
	"errors"
	"math"
	"math/rand/v2"
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
		r, err := match.Compare(part(all, c.a[0], c.a[1], 1), part(all, c.b[0], c.b[1], 2))
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
	r, err := match.Compare(part(all, 0, 12, 1), part(all, 11.6, 24, 2))
	if !errors.Is(err, match.ErrUnrelated) {
		t.Errorf("0.4 s in common: offset %.4f s, error %v", r.OffsetS, err)
	}
	r, err = match.Compare(part(all, 0, 12, 1), part(all, 9, 24, 2))
	if err != nil || math.Abs(r.OffsetS+9) > 1e-6 || !(warned{code: match.ShortOverlap, value: 3, within: 0.05}).in(r.Details) {
		t.Errorf("3 s in common: offset %.7f s, %q, error %v", r.OffsetS, r.Texts, err)
	}
}

// Between two frames the correlation of bright music looks lower than it is, and another period of a sustained tone would
// be taken for the place.
func TestMusicUpToNyquistIsFoundBetweenTwoFrames(t *testing.T) {
	const rate, seconds = 48000, 30
	m := newMusic(1, seconds, 19000)
	a := m.capture(rate, rate*seconds, way{})
	for _, offset := range []float64{0.5, -0.25} {
		r, err := match.Compare(a, m.capture(rate, rate*seconds, way{offset: offset, noise: 1e-5}))
		if err != nil || math.Abs(r.OffsetSamples-offset) > 1e-4 {
			t.Errorf("%v samples read as %.5f, %v", offset, r.OffsetSamples, err)
		}
	}
}

// A phrase of four seconds is played five times; each time another voice goes with it, so many dB below. B holds the
// third and fourth. Where the voice is far below the noise, at −68 dB, chance decides between places that null alike: then the doubt is said,
// and what is taken and named are places of the phrase, though not every one of them.
func TestTheRightRepetitionIsTaken(t *testing.T) {
	const rate, phrase = 16000, 4
	m := newMusic(23, phrase-0.5, 7000).capture(rate, phrase*rate, way{})
	for _, c := range []struct {
		voiceDB float64
		sure    bool
	}{{-10, true}, {-60, true}, {-100, false}} {
		all := pcm.NewClip(rate, 2, 5*phrase*rate)
		for k := range 5 {
			voice := newMusic(uint64(30+k), phrase-0.5, 7000).capture(rate, phrase*rate, way{gain: pcm.Ratio(c.voiceDB)})
			for ch := range all.Channels {
				for i, v := range m.Channels[ch] {
					all.Channels[ch][k*phrase*rate+i] = v + voice.Channels[ch][i]
				}
			}
		}
		r, err := match.Compare(part(all, 0, 20, 1), part(all, 8, 16, 2))
		if err != nil {
			t.Errorf("voices at %v dB: %v", c.voiceDB, err)
			continue
		}
		found := math.Abs(r.OffsetS+8) < 1e-6
		if !c.sure {
			found = !slices.ContainsFunc(append(r.OtherOffsetsS, r.OffsetS), func(offsetS float64) bool {
				return math.Abs(offsetS-phrase*math.Round(offsetS/phrase)) > 1e-6
			})
		}
		if doubt := r.Warned(match.OtherAlignment); !found || doubt == c.sure {
			t.Errorf("voices at %v dB: offset %.6f s, others %v, want −8; confidence %.3f, %q", c.voiceDB, r.OffsetS, r.OtherOffsetsS, r.Confidence, r.Texts)
		}
		t.Logf("voices at %v dB: confidence %.4f, null %.1f dB", c.voiceDB, r.Confidence, r.NullDB)
	}
}

// A loop of a second and a half goes round for a minute under another voice, so many dB below it. A is a part of it: of some
// thirty places that null nearly as deep, the true one is found.
func TestALoopIsFoundWhereItsVoiceSays(t *testing.T) {
	const rate, loop, rounds, start, seconds = 16000, 1.5, 40, 27.0, 10.0
	const n = int(loop * rate)
	bar := newMusic(81, loop-0.4, 7000).capture(rate, n, way{})
	voice := newMusic(82, loop*rounds, 7000).capture(rate, n*rounds, way{})
	for _, voiceDB := range []float64{-20, -30, -40} {
		all := pcm.NewClip(rate, 2, n*rounds)
		for ch := range all.Channels {
			for i := range all.Channels[ch] {
				all.Channels[ch][i] = bar.Channels[ch][i%n] + pcm.Ratio(voiceDB)*voice.Channels[ch][i]
			}
		}
		r, err := match.Compare(part(all, start, start+seconds, 1), part(all, 0, loop*rounds, 2))
		if err != nil {
			t.Errorf("voice at %v dB: %v", voiceDB, err)
			continue
		}
		t.Logf("voice at %v dB: offset %.7f s, null %.1f dB, confidence %.4f", voiceDB, r.OffsetS, r.NullDB, r.Confidence)
		if math.Abs(r.OffsetS-start) > 1e-6 || r.Confidence < 0.5 || len(r.Texts) > 0 {
			t.Errorf("voice at %v dB: offset %.6f s, want %v; null %.1f dB, confidence %.3f, %q", voiceDB, r.OffsetS, start, r.NullDB, r.Confidence, r.Texts)
		}
	}
}

// A loop alone, without noise, fits at every repetition: the doubt must be said, however deep the null.
func TestAnExactLoopIsSaidToFitElsewhere(t *testing.T) {
	const rate, n = 16000, 24000
	bar := newMusic(81, 1.1, 7000).capture(rate, n, way{})
	all := pcm.NewClip(rate, 2, 20*n)
	for ch := range all.Channels {
		for i := range all.Channels[ch] {
			all.Channels[ch][i] = bar.Channels[ch][i%n]
		}
	}
	a := way{bits: 24}.finish(all.Slice(9*n, 14*n).Clone())
	r, err := match.Compare(a, way{bits: 24, noise: 1e-7, seed: 3}.finish(all.Clone()))
	if err != nil {
		t.Fatal(err)
	}
	if !r.Warned(match.OtherAlignment) {
		t.Errorf("offset %.3f s, null %.1f dB, confidence %.3f, %q", r.OffsetS, r.NullDB, r.Confidence, r.Texts)
	}
	// A fits in the loop at 16 places, 1.5 s apart, and with less overlap before and after.
	var others []float64
	for _, offset := range append(r.OtherOffsetsS, r.OffsetS) {
		if bars := offset * rate / n; math.Abs(bars-math.Round(bars)) > 1e-6 {
			t.Errorf("offset %.6f s is no whole number of bars", offset)
		} else if bars > -0.5 && bars < 15.5 {
			others = append(others, math.Round(bars))
		}
	}
	slices.Sort(others)
	if others = slices.Compact(others); len(others) != 16 {
		t.Errorf("A fits at bars %v, want 0 to 15", others)
	}
}

// Clocks of consumer equipment may be 1000 ppm apart, and a recorder's noise may come near the music.
func TestFarClocksAndLoudNoiseAreNotUnrelated(t *testing.T) {
	const rate, seconds = 24000, 12
	m := newMusic(83, seconds, 9500)
	a := m.capture(rate, rate*seconds, way{noise: 1e-5, seed: 1})
	loud := math.Sqrt(meanSquare(a)) * pcm.Ratio(-12)
	for _, w := range []way{
		{offset: 77.3, drift: 600e-6, noise: 1e-5}, {offset: 77.3, drift: 1100e-6, noise: 1e-5}, {offset: -77.3, drift: -1000e-6, noise: 1e-5},
		{offset: 77.3, drift: 8e-6, noise: loud},
	} {
		w.seed = 2
		r, err := match.Compare(a, m.capture(rate, rate*seconds, w))
		if err != nil {
			t.Errorf("drift %v, noise %.2g: %v", w.drift, w.noise, err)
			continue
		}
		if math.Abs(r.OffsetSamples-w.offset) > 1e-5+4*r.StandardErrors.OffsetSamples || math.Abs(r.DriftPPM-1e6*w.drift) > 1e-4+4*r.StandardErrors.DriftPPM {
			t.Errorf("%+v: offset %.5f ± %.5f, drift %.5f ± %.5f ppm", w, r.OffsetSamples, r.StandardErrors.OffsetSamples, r.DriftPPM, r.StandardErrors.DriftPPM)
		}
	}
	_, err := match.Compare(a, m.capture(rate, rate*seconds, way{drift: 0.01}))
	if !errors.Is(err, match.ErrUnrelated) || !strings.Contains(err.Error(), "clocks up to 1100 ppm apart") {
		t.Errorf("clocks 1 %% apart: %v", err)
	}
}

// A drone, or a chord that goes on, nulls wherever all its partials are whole periods away: its place is found where it swells, and where nothing
// shows it, the doubt is said.
func TestASustainedChordIsNeverMisplacedSilently(t *testing.T) {
	const rate, seconds = 8000, 16
	for _, c := range []struct {
		name     string
		partials []float64 // Hz
		swell    float64   // at 0.11 Hz
		delay    float64
	}{
		{"a drone", []float64{55, 110, 165, 220, 330}, 0, 6.1},
		{"a chord that repeats after a quarter of a second", []float64{220, 276, 328, 440, 552}, 0, 2.77},
		{"one that swells", []float64{220, 276, 328, 440, 552}, 0.2, 2.77},
	} {
		var clips [2]pcm.Clip
		for k := range clips {
			x := pcm.NewClip(rate, 1, seconds*rate)
			random := rand.New(rand.NewPCG(uint64(k), 5))
			for i := range x.Len() {
				at := float64(i)/rate + 20 - float64(k)*c.delay
				v := 0.0
				for h, f := range c.partials {
					v += 0.2 / float64(h+1) * math.Sin(2*math.Pi*f*at+float64(h))
				}
				x.Channels[0][i] = v*(1+c.swell*math.Sin(2*math.Pi*0.11*at)) + 1e-4*random.NormFloat64()
			}
			clips[k] = x
		}
		r, err := match.Compare(clips[0], clips[1])
		off := r.OffsetS - c.delay
		t.Logf("%s: off by %.4f s, null %.1f dB, confidence %.4f", c.name, off, r.NullDB, r.Confidence)
		if right := math.Abs(off) < 1e-4; err != nil || !right && !r.Warned(match.OtherAlignment) || !right && c.swell > 0 {
			t.Errorf("%s: off by %.4f s, confidence %.4f, %q, %v", c.name, off, r.Confidence, r.Texts, err)
		}
	}
}

// A pad whose swell comes back every nine seconds, a whole number of periods of its chord, nulls there as well: the doubt is said, and the true
// place is the one taken or among those named. Where the swell does not come back within the captures its place is found.
func TestAPadWhoseSwellComesBackIsNeverMisplacedSilently(t *testing.T) {
	const rate = 8000
	for _, c := range []struct {
		name           string
		swellS, delay  float64
		seconds, noise float64
		sure, full     bool
	}{
		{"B begins earlier", 9, 6.1, 24, 1e-4, false, false},
		{"B begins later", 9, -8.3, 30, 1e-5, false, true},
		{"a period of the lowest note away it nulls to −55 dB", 9, 2.77, 30, 1e-5, false, true},
		{"it comes back after the end", 29, 2.77, 16, 1e-5, true, false},
	} {
		if c.full && !*full {
			continue
		}
		var clips [2]pcm.Clip
		for k := range clips {
			x := pcm.NewClip(rate, 1, int(c.seconds*rate))
			random := rand.New(rand.NewPCG(uint64(k), 5))
			for i := range x.Len() {
				at := float64(i)/rate + 20 - float64(k)*c.delay
				v := 0.0
				for h, f := range []float64{55, 110, 165, 220, 330} {
					v += 0.15 / math.Pow(float64(h+1), 0.7) * math.Sin(2*math.Pi*f*at+float64(h))
				}
				x.Channels[0][i] = v*(1+0.2*math.Sin(2*math.Pi*at/c.swellS)) + c.noise*random.NormFloat64()
			}
			clips[k] = x
		}
		r, err := match.Compare(clips[0], clips[1])
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		named := slices.ContainsFunc(append(r.OtherOffsetsS, r.OffsetS), func(s float64) bool { return math.Abs(s-c.delay) < 1e-4 })
		if !named || r.Warned(match.OtherAlignment) == c.sure {
			t.Errorf("%s: %.5f s, want %v or the doubt; null %.1f dB, confidence %.4f, %q", c.name, r.OffsetS, c.delay, r.NullDB, r.Confidence, r.Texts)
		}
	}
}
