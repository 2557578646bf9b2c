package match_test

import (
	"math"
	"strings"
	"testing"

	"heardiff/measure"
	"heardiff/measure/match"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// A band limit is named though noise fills the gap, or though a code has replaced the treble below it; and music that ends
// by itself, under the noise of one capture, is none.
func TestBandLimitsUnderNoiseAndInCodes(t *testing.T) {
	clean := dull(faultRate*6, 3)
	limit := lowpass(7750.0/12000, 8250.0/12000)
	coded := clean.Clone()
	other := dull(faultRate*6, 4)
	low := lowpass(3750.0/12000, 4250.0/12000)(music{}, other)
	for c, ch := range coded.Channels {
		for i := range ch { // what a code makes of the treble: as strong, but hardly the same
			ch[i] += 0.9 * (other.Channels[c][i] - low.Channels[c][i])
		}
	}
	for _, c := range []struct {
		name           string
		a, b           pcm.Clip
		noiseA, noiseB float64
		says           string // "" = no band limit
	}{
		{"a low-pass under equal noise", clean, limit(music{}, clean), 4e-4, 4e-4, "B ends at 8."},
		{"a code", clean, limit(music{}, coded), 1e-7, 1e-7, "B ends at 8."},
		{"music that ends by itself", limit(music{}, clean), limit(music{}, clean), 1e-4, 1e-6, ""},
		{"noise alone", clean, clean, 1e-6, 1e-4, ""},
	} {
		r, err := match.Compare(way{noise: c.noiseA, seed: 1}.finish(c.a.Clone()), way{noise: c.noiseB, seed: 2}.finish(c.b.Clone()))
		if err != nil {
			t.Fatal(err)
		}
		checkLimit(t, c.name, r, c.says)
	}
}

// checkLimit checks what r says about where the music's band ends: one warning that begins with says, or none where says is "".
func checkLimit(t *testing.T, name string, r match.Result, says string) {
	t.Helper()
	limits := of(r.Details, fault.BandLimit)
	if says == "" && len(limits) > 0 || says != "" && (len(limits) != 1 || !strings.HasPrefix(limits[0].Text, says)) {
		t.Errorf("%s: null %.1f dB, %q, want %q", name, r.NullDB, r.Texts, says)
	}
}

// Music that ends below the band in both captures, white noise in one of them alone: the band of the other does not end any lower.
func TestNoiseInOneIsNoBandLimitOfTheOther(t *testing.T) {
	const rate, seconds = 48000, 10
	for seed := uint64(2); seed < 4; seed++ {
		m := newMusic(seed, seconds, 19000)
		a := m.capture(rate, rate*seconds, way{bits: 24})
		r, err := match.Compare(a, m.capture(rate, rate*seconds, way{bits: 24, noise: 3e-3, seed: seed + 7, gain: 1}))
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Texts) > 0 {
			t.Errorf("music %d: %q", seed, r.Texts)
		}
	}
}

// Clipping makes treble above the music of one capture; that is no band limit of the other. A real one is still named.
func TestClippingIsNoBandLimitOfTheOther(t *testing.T) {
	m := newMusic(12, 6, 8000)
	a := m.capture(faultRate, 6*faultRate, way{noise: 1e-6, seed: 4})
	b := each(func(v float64) float64 { return max(-0.2, min(0.2, v)) })(m, m.capture(faultRate, 6*faultRate, way{offset: 350.25, noise: 1e-6, seed: 5}))
	short := way{noise: 1e-6, seed: 6}.finish(lowpass(4750.0/12000, 5250.0/12000)(m, a.Clone()))
	for _, c := range []struct {
		name string
		a    pcm.Clip
		says string // "" = no band limit
	}{{"A is whole", a, ""}, {"A ends at 5 kHz", short, "A ends at 5.0 kHz"}} {
		r, err := match.Compare(c.a, b)
		if err != nil {
			t.Fatal(err)
		}
		checkLimit(t, c.name, r, c.says)
		if !r.Warned(measure.Clipped) {
			t.Errorf("%s: %q: the test needs clipping", c.name, r.Texts)
		}
		if r.Warned(fault.Outburst) {
			t.Errorf("%s: %q: clipping is said by itself", c.name, r.Texts)
		}
	}
}

// A cut into the middle of the music, a fault and what only one capture holds are no treble of the music: neither capture
// is said to end where the other goes on. A real band limit in addition is still named.
func TestWhatIsNoTrebleOfTheMusic(t *testing.T) {
	bright := dull(faultRate*6, 3)
	music := limitedTo(8000, bright)
	late := func(c pcm.Clip, frames int) pcm.Clip { // it begins abruptly, where it is loud
		out := pcm.NewClip(c.Rate, len(c.Channels), c.Len())
		for k, ch := range c.Channels {
			copy(out.Channels[k][frames:], ch[3*faultRate/4:])
		}
		return out
	}
	muted := late(music, 20)
	for _, ch := range muted.Channels {
		clear(ch[3*faultRate : 3*faultRate+160])
	}
	longer := music.Clone()
	for k := range longer.Channels {
		longer.Channels[k] = append(longer.Channels[k], bright.Channels[k]...)
	}
	for _, c := range []struct {
		name string
		a, b pcm.Clip
		says string // "" = nothing
	}{
		{"A begins abruptly", late(music, 2000), late(music, 20), ""},
		{"B begins abruptly", late(music, 20), late(music, 2000), ""},
		{"a mute in B", late(music, 7), muted, ""},
		{"brighter music in B after the end of A", music, longer, ""},
		{"a mute in B, which ends at 8 kHz", late(bright, 7), muted, "B ends at 8."},
	} {
		r, err := match.Compare(way{noise: 1e-5, seed: 1}.finish(c.a), way{noise: 1e-5, seed: 2}.finish(c.b.Clone()))
		if err != nil {
			t.Fatal(err)
		}
		checkLimit(t, c.name, r, c.says)
	}
}

// Straight lines between samples leave images above the end of the music: the fault is named where it is.
func TestImagesAreNoBandLimitOfTheOther(t *testing.T) {
	a := limitedTo(8500, dull(faultRate*6, 5))
	b := pcm.Clip{Rate: a.Rate, Channels: make([][]float64, len(a.Channels))}
	for c, ch := range a.Channels {
		b.Channels[c] = straightLines(straightLines(ch, 12.0/13), 13.0/12)
	}
	r, err := match.Compare(way{noise: 1e-7, seed: 1}.finish(a), way{noise: 1e-7, seed: 2}.finish(b))
	if err != nil {
		t.Fatal(err)
	}
	if !(warned{code: fault.Images, value: 9000, within: 50}).in(r.Details) {
		t.Errorf("%q", r.Texts)
	}
}

// straightLines evaluates x every step frames on straight lines between its samples.
func straightLines(x []float64, step float64) []float64 {
	var out []float64
	for t := 0.0; int(t)+1 < len(x); t += step {
		i, f := int(t), t-math.Floor(t)
		out = append(out, (1-f)*x[i]+f*x[i+1])
	}
	return out
}

func limitedTo(hz float64, c pcm.Clip) pcm.Clip {
	nyquist := float64(c.Rate) / 2
	return lowpass((hz-250)/nyquist, (hz+250)/nyquist)(music{}, c)
}

// Two captures clipped alike null as deep as any: the clipping is warned of by itself, though the two polarities
// differ by a step.
func TestClippingOfBothIsSaid(t *testing.T) {
	a := newMusic(12, 6, 8000).capture(faultRate, 6*faultRate, way{bits: 24})
	for _, ch := range a.Channels {
		for i, v := range ch {
			ch[i] = max(-0.2, min(0.2-0x1p-23, v))
		}
	}
	b := pcm.NewClip(a.Rate, len(a.Channels), a.Len())
	for c, ch := range a.Channels {
		copy(b.Channels[c][101:], ch)
	}
	r, err := match.Compare(a, b)
	if err != nil || !r.Identical || !r.Warned(fault.BothClipped) {
		t.Errorf("identical %v, %q, %v", r.Identical, r.Texts, err)
	}
}
