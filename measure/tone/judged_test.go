package tone_test

import (
	"errors"
	"math"
	"testing"

	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// Products of the capture and of the set-up are the same within a thousandth and a hertz, whatever else is near.
func TestProductsOfAFloorAreMatchedByFrequency(t *testing.T) {
	for _, c := range []struct {
		hz, floorHz float64
		same        bool
	}{{10000, 10010, true}, {10000, 10012, false}, {10000, 9990, true}, {100, 101, true}, {100, 101.5, false}} {
		of := func(hz float64) tone.TwoToneResult {
			return tone.TwoToneResult{RateHz: 48000, Channel: []tone.TwoToneChannel{{Channel: 1, LowHz: 18000, HighHz: 20000, Method: "difference-frequency",
				Products: []tone.Product{{Hz: hz, Order: 4, DBC: -100, LimitDBC: -130}}}}}
		}
		r := of(c.hz)
		if err := r.SetFloor(of(c.floorHz)); err != nil {
			t.Fatal(err)
		}
		same := false
		for _, l := range r.Channel[0].Limits {
			same = same || l.Figure == "products[0].dbc"
		}
		if same != c.same {
			t.Errorf("%v Hz and the floor's %v Hz are one: %v", c.hz, c.floorHz, same)
		}
	}
}

// No clock is off by a hundredth: tones farther apart are two signals.
func TestAFloorOfAnotherFrequencyIsRefused(t *testing.T) {
	for hz, same := range map[float64]bool{1000: true, 1009: true, 991: true, 1011: false, 989: false} {
		r := tone.Result{RateHz: 48000, Channel: []tone.Channel{{Channel: 1, FrequencyHz: 1000}}}
		err := r.SetFloor(tone.Result{RateHz: 48000, Channel: []tone.Channel{{Channel: 1, FrequencyHz: hz}}})
		if (err == nil) != same || err != nil && !errors.Is(err, pcm.ErrMismatch) {
			t.Errorf("a floor at %v Hz of a capture at 1000 Hz: error %v", hz, err)
		}
	}
}

// Lines at multiples of the mains are hum where one of the first three is there; 200 and 250 Hz alone may be anything.
func TestMultiplesOfTheMainsAloneAreNoHum(t *testing.T) {
	for _, c := range []struct {
		hz  []float64
		hum int
	}{{[]float64{200, 250}, 0}, {[]float64{150, 200, 250}, 3}, {[]float64{50.35}, 1}, {[]float64{50.7}, 0}} {
		var parts []part
		for _, hz := range c.hz {
			parts = append(parts, part{hz, 1e-4, 0})
		}
		r, err := tone.Noise(synth(48000, 4, 1e-6, parts...), nil)
		if err != nil {
			t.Fatal(err)
		}
		if ch := r.Channel[0]; len(ch.Hum) != c.hum || len(ch.Spurs) != len(c.hz)-c.hum {
			t.Errorf("lines at %v Hz: hum %v, others %v", c.hz, ch.Hum, ch.Spurs)
		}
	}
}

// Noise from −40 dBFS on is warned of, and from −30 on refused: it is no recording of silence.
func TestLoudNoiseIsNoSilence(t *testing.T) {
	for dbfs, want := range map[float64]struct{ warned, refused bool }{-43: {}, -37: {warned: true}, -33: {warned: true}, -27: {refused: true}} {
		rms := pcm.RMSOf(dbfs) * math.Sqrt(24./20) // of which 20 of 24 kHz count
		r, err := tone.Noise(synth(48000, 4, rms), nil)
		if refused := errors.Is(err, tone.ErrNoSignal); refused != want.refused || !refused && err != nil || r.Warned(tone.NotSilence) != want.warned {
			t.Errorf("noise of %v dBFS: error %v, warnings %q", dbfs, err, r.Texts)
		}
	}
}

// A tone beyond the band, as the jitter signal of 96 kHz is, is the tone of its capture unless it is little stronger than one within.
func TestHumUnderAToneBeyondTheBandIsNotTheTone(t *testing.T) {
	for belowDB, want := range map[float64]float64{-80: 24000, -50: 50} {
		r, err := tone.Measure(synth(96000, 3, 1e-7, part{24000, 0.5, 0}, part{50, 0.5 * pcm.Ratio(belowDB), 0}))
		if err != nil || math.Abs(r.Channel[0].FrequencyHz-want) > 1 {
			t.Errorf("hum %v dB below: %+v, error %v, want a tone of %v Hz", belowDB, r.Channel, err, want)
		}
	}
}
