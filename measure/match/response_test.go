package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
)

// dull returns noise that falls by 12 dB an octave above 300 Hz and swells by 20 dB twice in three seconds: its treble
// sinks in a recorder's noise.
func dull(frames int, seed uint64) pcm.Clip {
	r := rand.New(rand.NewPCG(seed, 14))
	c := pcm.NewClip(faultRate, 2, frames)
	const pole = 2 * math.Pi * 300 / faultRate
	for _, ch := range c.Channels {
		var one, two float64
		for i := range ch {
			one += pole * (r.NormFloat64() - one)
			two += pole * (one - two)
			ch[i] = two * pcm.Ratio(-10-10*math.Cos(2*math.Pi*float64(i)/(1.5*faultRate)))
		}
	}
	return c
}

// Noise is no difference in response, and a real one is still found with it: 0.5 dB at 6 kHz, where noise is of the
// music's own level. ref: the filter's own response in closed form.
func TestNoiseIsNoDifferenceInResponse(t *testing.T) {
	clean := dull(faultRate*faultSeconds, 3)
	const hz, db, q = 6000, 0.5, 1
	for _, c := range []struct {
		name   string
		a, b   float64 // RMS of the noise
		filter bool
	}{
		{name: "noise in A", a: 1e-3, b: 1e-5},
		{name: "noise in both and a filter in B", a: 1e-4, b: 1e-4, filter: true},
	} {
		b := clean.Clone()
		if c.filter {
			b = peaking(hz, db, q)(music{}, b)
		}
		r, err := match.Compare(way{noise: c.a, seed: 1}.finish(clean.Clone()), way{noise: c.b, seed: 2}.finish(b))
		if err != nil {
			t.Fatal(err)
		}
		judged, worst := 0, 0.0
		for _, band := range r.ResponseBands {
			if math.IsNaN(band.DB) {
				continue
			}
			want := -r.GainDB // the common gain follows the filter by a trace
			if c.filter {
				want += peakingDB(faultRate, hz, db, q, math.Sqrt(band.LowHz*band.HighHz))
			}
			judged++
			worst = math.Max(worst, math.Abs(band.DB-want)/math.Hypot(band.StandardErrorDB, 0.01)) // the filter is not flat in a band
		}
		t.Logf("%s: null %.1f dB, response %+.2f dB, %d bands, worst %.1f standard errors, %q", c.name, r.NullDB, r.ResponseMaxDB, judged, worst, r.Texts)
		if worst > 4 || judged < 15 {
			t.Errorf("%s: %d bands judged, the worst off by %.1f standard errors", c.name, judged, worst)
		}
		if !c.filter && (r.ResponseMaxDB != 0 || len(r.Texts) > 0) || c.filter && (r.ResponseMaxDB < 0.3 || len(r.Texts) != 1) {
			t.Errorf("%s: response %+.2f dB, %q", c.name, r.ResponseMaxDB, r.Texts)
		}
	}
}

// Beyond 20 kHz the captures are not compared: music there, of which an interpolator leaves much, must not make noise pass for
// distortion.
func TestMusicBeyondTheAudibleBandIsNoResidual(t *testing.T) {
	capture := func(w way) pcm.Clip {
		c := steady(44100, 2*44100, 21900, w)
		for _, ch := range c.Channels {
			for i := range ch { // louder and softer, as music is
				ch[i] *= 1 + 0.95*math.Sin(2*math.Pi*3*(float64(i)-w.offset)/44100)
			}
		}
		return w.finish(c)
	}
	a, b := capture(way{noise: 1e-5, seed: 1}), capture(way{offset: 40.37, noise: 1e-5, seed: 2})
	r, err := match.Compare(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if r.Residual.Kind != "noise" || r.Residual.Noise < 0.9 {
		t.Errorf("null %.1f dB: %+v, want noise", r.NullDB, r.Residual)
	}
}
