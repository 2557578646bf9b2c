package plot_test

import (
	"regexp"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
)

// A curve of noise within a few decibels has more labels than the two that a step of 20 dB leaves; what is not drawn is not named.
func TestAFlatCurveHasLabelsBesideIt(t *testing.T) {
	flat := plot.Curve{Name: "channel 1"}
	for hz := 20.0; hz < 20000; hz *= 1.1 {
		flat.Hz, flat.Y = append(flat.Hz, hz), append(flat.Y, -154)
	}
	drawn := func() string {
		var b strings.Builder
		if err := plot.Write(&b, plot.Spectrum{Title: "noise", Chains: []plot.Curve{flat}}, plot.FormatSVG); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	svg := drawn()
	if labels := regexp.MustCompile(`>−1[0-9]+<`).FindAllString(svg, -1); len(labels) < 4 {
		t.Errorf("labels %q", labels)
	}
	if strings.Contains(svg, "stems (lines)") {
		t.Error("stems are named, and there are none")
	}
	flat.Spurs = []plot.Spur{{Hz: 100, Y: -120}}
	if !strings.Contains(drawn(), "stems (lines): dBFS") {
		t.Error("stems are not named")
	}
}
