package impair_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure"
	"heardiff/measure/impair"
	"heardiff/playback/pcm"
)

// erb is the equivalent rectangular bandwidth of the auditory filter at a frequency, in Hz. ref: Glasberg & Moore (1990).
func erb(hz float64) float64 { return 24.7 * (4.37*hz/1000 + 1) }

// ref: Glasberg & Moore (1990): the ERB at 1 kHz is 132.6 Hz and its number 15.6, as the formulas are usually quoted (Moore, An Introduction
// to the Psychology of Hearing; the worked values from memory).
func TestERBAsPublished(t *testing.T) {
	if got := erb(1000); math.Abs(got-132.6) > 0.05 {
		t.Errorf("ERB at 1 kHz %v Hz", got)
	}
	if got := impair.ERBNumber(1000); math.Abs(got-15.6) > 0.05 {
		t.Errorf("ERB number at 1 kHz %v", got)
	}
	// The number counts the bands: its slope is one over their width, to the rounding of the published constants.
	for _, hz := range []float64{100, 1000, 8000} {
		slope := (impair.ERBNumber(hz+1) - impair.ERBNumber(hz-1)) / 2
		if math.Abs(slope*erb(hz)-1) > 0.01 {
			t.Errorf("at %v Hz the bands are %v Hz wide, the formula says %v", hz, 1/slope, erb(hz))
		}
	}
}

// What a tone masks falls with frequency as the critical-band rate climbs, 14.5 dB and a decibel for each Bark: at the edges of Zwicker's
// critical bands, the n-th of which is n Bark by definition, to the 0.2 Bark that the formula for the rate claims.
//
// ref: Zwicker (1961), Subdivision of the audible frequency range into critical bands, J. Acoust. Soc. Am. 33, 248, the edges from memory.
func TestMaskingClimbsByTheBark(t *testing.T) {
	for i, hz := range []float64{100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700, 3150, 3700, 4400, 5300, 6400, 7700, 9500, 12000, 15500} {
		if got, want := impair.MaskedBelowDB(hz), 14.5+float64(i+1); math.Abs(got-want) > 0.2 {
			t.Errorf("%v Hz: masked %.2f dB below a tone, want %.1f", hz, got, want)
		}
	}
}

// toneAndNoise returns a clip of one channel with a sine of full-scale level dB, and noise of mean square power.
func toneAndNoise(seconds, hz, levelDB, power float64, random *rand.Rand) pcm.Clip {
	c := pcm.NewClip(48000, 1, int(seconds*48000))
	for i := range c.Channels[0] {
		c.Channels[0][i] = math.Pow(10, levelDB/20)*math.Sin(2*math.Pi*hz*float64(i)/48000) + math.Sqrt(power)*random.NormFloat64()
	}
	return c
}

func TestBandsHoldTheirLevels(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	const seconds = 20
	clean := toneAndNoise(seconds, 1000, -20, 0, random)
	dosed := pcm.NewClip(48000, 1, clean.Len())
	const power = 1e-8 // white: a band of w Hz holds w/24000 of it
	for i, v := range clean.Channels[0] {
		dosed.Channels[0][i] = v + math.Sqrt(power)*random.NormFloat64()
	}
	s, err := impair.Show(clean, dosed, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range s.Bands {
		want := 10 * math.Log10(2*power*(b.HighHz-b.LowHz)/24000)
		// The mean square of a band of noise is known to 1/√(width·seconds); four and a half of these, and half overlapping windows see 0.95 of it.
		se := 10 / math.Ln10 / math.Sqrt((b.HighHz-b.LowHz)*seconds*0.95)
		if math.Abs(b.AddedDBFS-want) > 4.5*se {
			t.Errorf("%.0f Hz: %.2f dBFS added, want %.2f", b.CentreHz, b.AddedDBFS, want)
		}
		if b.LowHz < 950 && b.HighHz > 1050 && math.Abs(b.MusicDBFS+20) > 0.1 {
			t.Errorf("the tone of −20 dBFS is one of %.2f", b.MusicDBFS)
		}
	}
	// Where there is no music, noise of −100 dBFS in a band shows, for it exceeds −112.
	if top := s.Bands[len(s.Bands)-1]; !(top.NearestDB > 0 && s.NearestDB > 0 && !s.Hopeless) {
		t.Errorf("noise with a lone tone: %+v", top)
	}
}

// A dose shows where the music pauses; 60 dB less of it is 60 dB further off; far below everything is hopeless.
func TestPassagesAreRankedByWhatTheyHide(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 1))
	clean := toneAndNoise(8, 300, -100, 1e-3, random) // loud noise …
	for i := 4 * 48000; i < 6*48000; i++ {            // … with a soft stretch
		clean.Channels[0][i] *= 1e-3
	}
	show := func(power float64) impair.Showing {
		dosed := pcm.NewClip(48000, 1, clean.Len())
		noise := rand.New(rand.NewPCG(3, 1))
		for i, v := range clean.Channels[0] {
			dosed.Channels[0][i] = v + math.Sqrt(power)*noise.NormFloat64()
		}
		s, err := impair.Show(clean, dosed, 2)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	loud, soft := show(1e-7), show(1e-13)
	if p := loud.Passages[0]; math.Abs(p.StartS-4) > 0.2 || p.NearestDB < loud.Passages[len(loud.Passages)-1].NearestDB+30 || loud.Hopeless {
		t.Errorf("the soft stretch at 4 s shows it best: %+v", loud.Passages)
	}
	if d := loud.Passages[3].NearestDB - soft.Passages[3].NearestDB; math.Abs(d-60) > 6 || !soft.Hopeless || !soft.Warned(measure.FarBelow) || loud.Warned(measure.FarBelow) {
		t.Errorf("60 dB less is %.1f dB further; hopeless %v, nearest %.1f", d, soft.Hopeless, soft.NearestDB)
	}
	if _, err := impair.Show(clean, clean, 2); err == nil {
		t.Error("a clip compared with itself was accepted")
	}
	if _, err := impair.Show(clean, clean.Slice(0, 48000), 2); err == nil {
		t.Error("clips of two lengths were taken")
	}
}
