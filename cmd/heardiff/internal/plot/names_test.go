package plot_test

import (
	"bytes"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
)

// Eight lines of a chain, each in two channels at nearly one level: every line is named, and named once. The same line
// of another chain, well below, has a name of its own.
func TestALineOfTwoChannelsIsNamedOnce(t *testing.T) {
	var left, right, other plot.Curve
	left.Name, right.Name, other.Name = "left", "right", "other"
	for _, hz := range []float64{50, 150, 350, 700, 1500, 3000, 6000} {
		left.Spurs = append(left.Spurs, plot.Spur{Hz: hz, Y: 100})
		right.Spurs = append(right.Spurs, plot.Spur{Hz: hz, Y: 97})
	}
	other.Spurs = []plot.Spur{{Hz: 150, Y: 10}}
	for i, c := range []*plot.Curve{&left, &right, &other} {
		c.Hz, c.Y = []float64{10, 9000}, []float64{1, float64(i + 1)}
	}
	var b bytes.Buffer
	if err := plot.Write(&b, plot.JitterSpectrum{Title: "lines", Chains: []plot.Curve{left, right, other}}, plot.FormatSVG); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"50 Hz, 100 ps", "150 Hz, 100 ps", "350 Hz, 100 ps", "700 Hz, 100 ps", "1500 Hz, 100 ps", "3000 Hz, 100 ps", "6000 Hz, 100 ps", "150 Hz, 10 ps"} {
		if n := strings.Count(b.String(), ">"+name+"<"); n != 1 {
			t.Errorf("%q is there %d times, want once", name, n)
		}
	}
	if strings.Contains(b.String(), "Hz, 97 ps<") {
		t.Error("the right channel's lines are named next to the left one's")
	}
}
