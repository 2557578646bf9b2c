package fault

import (
	"testing"

	"heardiff/stats/warning"
)

// Below the audible band captures may differ by 40 dB less than the quieter one holds, or by 10⁻⁵ of full scale; rumble by a factor of four in
// power as well.
func TestWhatIsBelowTheBandIsWarnedOfWhereItIsMuch(t *testing.T) {
	for name, c := range map[string]struct {
		level, direct, rumbleA, rumbleB float64
		want                            warning.Code
	}{
		"direct voltage":            {1e-2, 1.1e-3, 0, 0, DirectVoltage},
		"little direct voltage":     {1e-2, 0.9e-3, 0, 0, ""},
		"direct voltage, no music":  {1e-12, 1.1e-5, 0, 0, DirectVoltage},
		"rounding":                  {1e-12, 0.9e-5, 0, 0, ""},
		"rumble":                    {1e-2, 0, 5e-6, 1e-6, Rumble},
		"little rumble":             {1e-2, 0, 0.9e-6, 1e-8, ""},
		"rumble of the music's own": {1e-2, 0, 5e-6, 1.5e-6, ""},
	} {
		const samples = 1000
		of := func(direct, rumble float64) *Capture {
			return &Capture{below: &below{samples: samples, channels: []belowChannel{{sum: samples * direct, square: samples * (c.level + direct*direct), rumble: []float64{rumble}}}}}
		}
		f := finder{Evidence: Evidence{A: of(0, c.rumbleA), B: of(c.direct, c.rumbleB)}}
		f.belowBand()
		if len(f.warnings) > 0 != (c.want != "") || c.want != "" && f.warnings[0].Code != c.want {
			t.Errorf("%s: warnings %v, want %q", name, f.warnings, c.want)
		}
	}
}

// A capture is clipped more than another if it has more than ten clipped samples, and more than ten times as many
// as the other.
func TestOneCaptureIsClippedMore(t *testing.T) {
	for _, c := range []struct {
		own, other int
		more       bool
	}{{11, 0, true}, {10, 0, false}, {1001, 100, true}, {1000, 100, false}} {
		if got := (&Capture{clipped: c.own}).clippedMore(&Capture{clipped: c.other}); got != c.more {
			t.Errorf("%d samples against %d: clipped more %v", c.own, c.other, got)
		}
	}
}
