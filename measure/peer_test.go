package measure_test

import (
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/playback/pcm"
)

// plucks returns twelve seconds of struck strings, 24-bit words: the formula is all that is needed to reproduce it.
func plucks() pcm.Clip {
	c := pcm.NewClip(48000, 2, 48000*12)
	q := pcm.NewPlainQuantizer(24)
	for i := range c.Len() {
		n := i / 12000
		t := float64(i-n*12000) / 48000
		f := 110 * math.Pow(2, float64(n*7%24)/12)
		amplitude := 0.02 + 0.5*float64(n*5%9)/8
		for k := range c.Channels {
			v := amplitude * math.Exp(-6*t) * (math.Sin(2*math.Pi*f*t) + 0.5*math.Sin(2*math.Pi*float64(3+k)*f*t) + 0.25*math.Sin(2*math.Pi*9.1*f*t))
			w, _ := q.Word(v)
			c.Channels[k][i] = q.Value(w)
		}
	}
	return c
}

// Recorded music agrees as well, though it cannot be part of this tree: of nine pieces of orchestral music of 5.5 to 410 s, 44.1 and
// 48 kHz, as 24-bit WAV files, ffmpeg 5.1.9 with the command below and "heardiff inspect" said
//
//	LUFS  −17.5 −17.510  −15.1 −15.078  −12.3 −12.297  −16.9 −16.921  −12.8 −12.762  −12.9 −12.883  −14.4 −14.349  −18.2 −18.154  −17.7 −17.740
//	dBTP   −0.1  −0.141    0.0   0.049    0.2   0.183   −2.9  −2.897   −0.7  −0.690    0.2   0.222    0.0   0.014    0.0   0.003   −1.1  −1.089
//
// ref: ffmpeg 5.1.9, of a WAV file of the same samples:
//
//	ffmpeg -nostats -i plucks.wav -filter_complex ebur128=peak=true -f null -
//
// printed I: −14.5 LUFS, LRA: 1.1 LU, true peak −1.8 dBFS, each rounded to 0.1. With ebur128=metadata=1,ametadata=print the greatest
// r128.M is −10.832 and the greatest r128.S −13.524.
func TestLoudnessAgreesWithAnotherMeter(t *testing.T) {
	l, err := measure.Loudness(plucks())
	if err != nil {
		t.Fatal(err)
	}
	p, err := measure.TruePeak(plucks())
	if err != nil {
		t.Fatal(err)
	}
	for what, v := range map[string][2]float64{
		"integrated": {l.IntegratedLUFS, -14.5}, "range": {l.RangeLU, 1.1}, "true peak": {p.DBTP, -1.8},
		"momentary": {l.MaxMomentaryLUFS, -10.832}, "short-term": {l.MaxShortTermLUFS, -13.524},
	} {
		if math.Abs(v[0]-v[1]) > 0.1 { // the printed rounding, and what filters may differ by
			t.Errorf("%s: %.3f, the other meter says %.1f", what, v[0], v[1])
		}
	}
}
