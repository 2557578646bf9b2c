package tone_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"heardiff/measure/signal"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// bentSweep is a sweep at −6 dBFS, by the clock of a recorder that is so much off, through x + 0.02·x² + 0.016·x³, coupled for
// AC where that is asked for (first order, 5 Hz), with noise of −120 dBFS and silence before and after. At 48 kHz the harmonics
// above 24 kHz fold back, as they do in a digital chain.
func bentSweep(seconds, ppm float64, ac bool) pcm.Clip {
	const rate = 48000
	shape := signal.NewSweepShape(rate, int(seconds*rate))
	c := pcm.NewClip(rate, 1, int((seconds+3)*rate))
	random := rand.New(rand.NewPCG(7, 8))
	level, pole := pcm.Ratio(-6), math.Exp(-2*math.Pi*5/rate)
	y, last := 0.0, 0.0
	for i := range c.Channels[0] {
		v := level * shape.At((float64(i)/rate-1)*(1+ppm*1e-6))
		v += 0.02*v*v + 0.016*v*v*v
		if ac {
			y = pole*y + (1+pole)/2*(v-last)
			last, v = v, y
		}
		c.Channels[0][i] = 0.8*v + 1e-6*random.NormFloat64()/math.Sqrt2
	}
	return c
}

// The harmonics are right from 20 Hz to 20 kHz of theirs, and where there is none, none exceeds its limit. By formula, of
// a·sin: 0.02·a/2 and 0.016·a²/4 of 1 + 0.012·a².
func TestHarmonicsOfAShortSweepAreRightAtBothEnds(t *testing.T) {
	a := pcm.Ratio(-6)
	truth := map[int]float64{2: pcm.DB(0.02 * a / 2 / (1 + 0.012*a*a)), 3: pcm.DB(0.016 * a * a / 4 / (1 + 0.012*a*a))} // −46.03, −59.98
	pass := func(f float64) float64 { return 1 / math.Sqrt(1+25/f/f) }
	for seconds, clocks := range map[float64][]float64{10: {0, 100}, 20: {0}, 30: {-100}} {
		for _, ppm := range clocks {
			r := measureSweep(t, bentSweep(seconds, ppm, true))
			what := fmt.Sprintf("%v s, %v ppm", seconds, ppm)
			if len(r.Texts) > 0 {
				t.Errorf("%s: warnings %q", what, r.Texts)
			}
			for _, h := range r.Channel[0].Harmonics {
				n := float64(h.Order)
				for _, p := range h.Response {
					want, known := truth[h.Order]
					switch {
					case known: // 0.06 dB: what the harmonics' own spilling leaves at 20 Hz in 10 s, 0.04, and noise
						near(t, fmt.Sprintf("%s: harmonic %v of %.1f Hz", what, n, p.Hz), p.DB, want+pcm.DB(pass(n*p.Hz)/pass(p.Hz)), 0.06)
					case p.DB > p.LimitDB+6: // noise exceeds it by 4.8 dB at one of the 250 points
						t.Errorf("%s: harmonic %v of %.1f Hz, which is not there, at %.1f dB, limit %.1f", what, n, p.Hz, p.DB, p.LimitDB)
					}
				}
			}
		}
	}
}

// In a sweep too short to separate them, what is lost is left out, with a warning, and what is not is right or below its limit.
func TestWhatAShortSweepLosesIsLeftOutAndSaid(t *testing.T) {
	lost := 0
	r := measureSweep(t, bentSweep(4, 0, false))
	for _, h := range r.Channel[0].Harmonics {
		for _, p := range h.Response {
			if math.IsNaN(p.DB) {
				lost++
				if p.Hz > 60 {
					t.Errorf("harmonic %d of %.0f Hz is left out", h.Order, p.Hz)
				}
			} else if h.Order > 3 && p.DB > p.LimitDB+6 {
				t.Errorf("harmonic %d of %.1f Hz, which is not there, at %.1f dB, limit %.1f", h.Order, p.Hz, p.DB, p.LimitDB)
			}
		}
	}
	if lost == 0 || !r.Warned(tone.ShortSweep) && !r.Warned(tone.LostHarmonics) {
		t.Errorf("%d points left out, warnings %q", lost, r.Texts)
	}
}
