package match_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// suite is 60 s with one thing in each quarter: clicks, a high tone, a soft low tone, and noise out of phase. Underneath
// lies a low tone at −20 dBFS but for the soft quarter.
func suite() pcm.Clip {
	const rate = 48000
	c := pcm.NewClip(rate, 2, 60*rate)
	random := rand.New(rand.NewPCG(1, 2))
	for i := range c.Len() {
		s := float64(i) / rate
		low := 0.1 * math.Sin(2*math.Pi*220*s)
		left, right := low, low
		switch int(s / 15) {
		case 0:
			if phase := math.Mod(s, 0.25); phase < 0.02 {
				v := 0.3 * math.Exp(-phase/0.004) * random.NormFloat64()
				left, right = left+v, right+v
			}
		case 1:
			v := 0.1 * math.Sin(2*math.Pi*5200*s)
			left, right = left+v, right+v
		case 2:
			left, right = 0.02*low, 0.02*low
		case 3:
			v := 0.05 * random.NormFloat64()
			left, right = left+v, right-v
		}
		c.Channels[0][i], c.Channels[1][i] = left, right
	}
	return c
}

func TestSuggestionsFindWhatIsThere(t *testing.T) {
	got, err := match.Suggest([]pcm.Reader{suite()}, match.SuggestConfig{Count: 4, LengthS: 8})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]int{match.Transients: 0, match.HighTones: 1, match.Quiet: 2, match.Wide: 3}
	if len(got) != len(want) {
		t.Fatalf("%d suggestions: %+v", len(got), got)
	}
	for _, s := range got {
		quarter := float64(want[s.Kind]) * 15
		if middle := s.StartS + s.Seconds/2; middle < quarter || middle > quarter+15 {
			t.Errorf("%s at %.1f s, want within %.0f to %.0f s", s.Kind, s.StartS, quarter, quarter+15)
		}
	}
	// −20 dBFS peak of 0.1 is −20 dBFS by AES17; 0.02 of it −54 dBFS.
	if v := got[2].Value; math.Abs(v+54) > 0.1 {
		t.Errorf("the quiet passage is said to have %v dBFS, want −54", v)
	}
}

func TestSuggestionsNeverOverlapAndStayWithinTheMusic(t *testing.T) {
	got, err := match.Suggest([]pcm.Reader{suite()}, match.SuggestConfig{Count: 20, LengthS: 5})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) < 4 || len(got) > 12 {
		t.Errorf("%d stretches of 5 s in 60 s", len(got))
	}
	for i, a := range got {
		if a.StartS < 0 || a.StartS+a.Seconds > 60 {
			t.Errorf("%+v lies outside", a)
		}
		for _, b := range got[:i] {
			if a.StartS < b.StartS+b.Seconds-0.05 && b.StartS < a.StartS+a.Seconds-0.05 {
				t.Errorf("%+v overlaps %+v", a, b)
			}
		}
	}
}

func TestSuggestionsRefuseWhatIsTooShortAndSkipSilence(t *testing.T) {
	if _, err := match.Suggest([]pcm.Reader{pcm.NewClip(48000, 2, 48000)}, match.SuggestConfig{LengthS: 5}); !errors.Is(err, match.ErrUnfit) {
		t.Errorf("one second: %v", err)
	}
	got, err := match.Suggest([]pcm.Reader{pcm.NewClip(48000, 2, 10*48000)}, match.SuggestConfig{LengthS: 5})
	if err != nil || len(got) != 0 {
		t.Errorf("silence: %+v, %v", got, err)
	}
	if err := (match.SuggestConfig{Count: 100, LengthS: 600}).Validate(); err != nil {
		t.Errorf("the most: %v", err)
	}
	for _, cfg := range []match.SuggestConfig{{Count: -1}, {Count: 101}, {LengthS: 601}, {LengthS: 0.9}} {
		if err := cfg.Validate(); err == nil {
			t.Errorf("%+v was accepted", cfg)
		}
	}
}

func BenchmarkSuggest(b *testing.B) {
	c := suite()
	b.SetBytes(int64(8 * 2 * c.Len()))
	for b.Loop() {
		if _, err := match.Suggest([]pcm.Reader{c}, match.SuggestConfig{}); err != nil {
			b.Fatal(err)
		}
	}
}
