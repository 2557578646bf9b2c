package measure_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"heardiff/measure"
	"heardiff/playback/pcm"
)

func TestASurveyFindsLevelsClippingAndCopies(t *testing.T) {
	c := tones(24, 1)
	c.Channels = append(c.Channels, slices.Clone(c.Channels[0]))
	c.Channels[1][100], c.Channels[1][101] = 1-0x1p-23, -1
	s, err := measure.SurveyOf(stored{c, 24}, 4800, nil)
	if err != nil || len(s.Levels[0]) != 10 || math.Abs(s.Levels[0][3]-0.5/math.Sqrt2) > 1e-3 {
		t.Fatalf("%+v, error %v", s, err)
	}
	if !slices.Equal(s.Clipped, []int{0, 2, 0}) || !slices.Equal(s.Copies, []int{3}) || s.Identical() {
		t.Errorf("clipped %v, copies %v, identical %v", s.Clipped, s.Copies, s.Identical())
	}
	c.Channels = c.Channels[2:]
	if one, err := measure.SurveyOf(stored{c, 24}, 4800, nil); err != nil || one.Identical() {
		t.Errorf("one channel alone is no copy: %+v, error %v", one, err)
	}
}

// A tone is found between silence and a click, and where it pauses its longest part is.
func TestATonesStretchIsFound(t *testing.T) {
	c := pcm.NewClip(48000, 1, 10*48000)
	x := c.Channels[0]
	for i := 48000; i < 9*48000; i++ {
		x[i] = 0.5 * math.Sin(2*math.Pi*12000.5*float64(i)/48000)
	}
	for i := range 100 {
		x[12000+i] = 0.9
	}
	clear(x[3*48000 : 3*48000+480])
	found, err := measure.FindTone(c, nil)
	if err != nil || !found.Sounds(0) || math.Abs(found.Level[0]-0.5/math.Sqrt2) > 1e-3 {
		t.Fatalf("%+v, error %v", found.Level, err)
	}
	// Clear of the pause by 50 ms, and of the end by a tenth of a second.
	if from, to := float64(found.From)/48000, float64(found.To)/48000; math.Abs(from-3.06) > 0.001 || to > 9 || to < 8.85 {
		t.Errorf("from %.3f to %.3f s", from, to)
	}
	if len(found.Warnings) != 1 || found.Warnings[0].Code != measure.Interrupted || math.Abs(found.Warnings[0].FromS-3) > 1e-3 || math.Abs(found.Warnings[0].ToS-3.01) > 1e-3 {
		t.Errorf("warnings %+v", found.Warnings)
	}
	if hz, err := found.Carrier(c); err != nil || math.Abs(hz-12000.5) > 0.01 {
		t.Errorf("carrier %.4f Hz, error %v", hz, err)
	}
	if _, err := measure.FindTone(pcm.NewClip(48000, 1, 48000), nil); !errors.Is(err, measure.ErrNoTone) {
		t.Errorf("silence: %v", err)
	}
}
