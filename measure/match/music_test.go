package match_test

import (
	"flag"
	"math"
	"slices"
	"testing"

	"heardiff/measure/impair"
	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

var musicFile = flag.String("music", "", "WAV `file` of recorded music to recover known truth on, instead of synthetic music")

// recorded returns 20 s of the file, or of synthetic music.
func recorded(t *testing.T) pcm.Clip {
	t.Helper()
	if *musicFile == "" {
		return newMusic(41, 8, 12000).capture(32000, 8*32000, way{})
	}
	f, err := wav.Open(*musicFile)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	from := max(0, f.Frames()/2-10*int(f.Format().Rate))
	c, err := pcm.Load(f, from, min(f.Frames(), from+20*int(f.Format().Rate)))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The second capture is made by the interpolator of doses, of another design than that of matching; what is found of
// music altered by another program is in the package doc.
func TestRecoversKnownTruthOnMusic(t *testing.T) {
	a := recorded(t)
	for _, ch := range a.Channels { // a cut would click in the one that goes on after it
		for i := range 2000 {
			fade := math.Pow(math.Sin(math.Pi/4000*float64(i)), 2)
			ch[i] *= fade
			ch[len(ch)-1-i] *= fade
		}
	}
	for _, d := range []impair.Dose{
		{DelaySamples: 1234.3, GainDB: -1.5, DriftPPM: 20, Noise: []impair.Noise{{DBFS: -90}}, Seed: 1},
		{DelaySamples: -777.7, GainDB: 0.25, DriftPPM: -150, Noise: []impair.Noise{{DBFS: -110}}, Seed: 2},
	} {
		b := pcm.Clip{Rate: a.Rate, Channels: make([][]float64, len(a.Channels))}
		if _, err := impair.Apply(t.Context(), a, d, func(block [][]float64) error {
			for c, ch := range block {
				b.Channels[c] = append(b.Channels[c], slices.Clone(ch)...)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		r, err := match.Compare(a, b)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("offset %+.2g ± %.2g, drift %+.2g ± %.2g ppm, gain %+.2g ± %.2g dB, null %.1f dB, confidence %.2f", r.OffsetSamples-d.DelaySamples, r.StandardErrors.OffsetSamples,
			r.DriftPPM-d.DriftPPM, r.StandardErrors.DriftPPM, r.GainDB-d.GainDB, r.StandardErrors.GainDB, r.NullDB, r.Confidence)
		if math.Abs(r.OffsetSamples-d.DelaySamples) > max(0.005, 3*r.StandardErrors.OffsetSamples) || math.Abs(r.DriftPPM-d.DriftPPM) > max(0.02, 3*r.StandardErrors.DriftPPM) ||
			math.Abs(r.GainDB-d.GainDB) > max(0.002, 3*r.StandardErrors.GainDB) || len(r.Texts) > 0 {
			t.Errorf("%+v: offset %.4f, drift %.4f ppm, gain %.4f dB, %q", d, r.OffsetSamples, r.DriftPPM, r.GainDB, r.Texts)
		}
		// The noise of the dose in the band, less B's gain; both channels alike.
		band := (math.Min(20000, 0.92*a.Rate.Hz()/2) - 20) / (a.Rate.Hz() / 2)
		want := d.Noise[0].DBFS - 3.0103 - d.GainDB + pcm.PowerDB(band/meanSquare(a))
		if math.Abs(r.NullDB-want) > 1 {
			t.Errorf("null %.2f dB, the noise predicts %.2f", r.NullDB, want)
		}
	}
}
