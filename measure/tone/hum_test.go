package tone_test

import (
	"math"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// The frequency of the mains swings as the load on the grid does: each line then is as wide as its order.
func TestHumUnderWanderingMains(t *testing.T) {
	const noise, peak = 1e-6, 1e-5
	for _, swing := range []float64{0, 0.02, 0.05} { // Hz RMS
		for _, period := range []float64{7, 30} { // seconds
			c := synth(48000, 30, noise, part{997, 0.8, 0})
			quiet := synth(48000, 30, noise)
			for i := range c.Channels[0] {
				s := float64(i) / 48000
				turns := 50.01*s + swing*math.Sqrt2*period/(2*math.Pi)*math.Sin(2*math.Pi*s/period)
				for _, order := range []float64{1, 3, 5, 7, 9} {
					v := peak * math.Cos(2*math.Pi*order*turns+order)
					c.Channels[0][i] += v
					quiet.Channels[0][i] += v
				}
			}
			r, err := tone.Measure(c)
			if err != nil {
				t.Fatal(err)
			}
			n, err := tone.Noise(quiet, nil)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Channel[0].Hum) != 5 || len(n.Channel[0].Hum) != 5 || len(n.Channel[0].Spurs) != 0 {
				t.Errorf("±%v Hz in %v s: hum %v and %v", swing, period, r.Channel[0].Hum, n.Channel[0].Hum)
			}
			for _, h := range r.Channel[0].Hum {
				if math.Abs(h.DBC-pcm.DB(peak/0.8)) > 0.3 {
					t.Errorf("±%v Hz in %v s: %.2f Hz at %.2f dBc, want %.2f", swing, period, h.Hz, h.DBC, pcm.DB(peak/0.8))
				}
			}
			for _, h := range n.Channel[0].Hum {
				if math.Abs(h.DBFS-pcm.DB(peak)) > 0.3 {
					t.Errorf("±%v Hz in %v s: %.2f Hz at %.2f dBFS, want %.2f", swing, period, h.Hz, h.DBFS, pcm.DB(peak))
				}
			}
		}
	}
}
