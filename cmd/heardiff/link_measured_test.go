package main

import (
	"math"
	"strings"
	"testing"

	"heardiff/trials/link"
)

// Figures have three digits in a unit that suits them, decibels one place; a bound is shown as one, and what two rows of one comparison
// have in common is printed once.
func TestMeasuredFiguresOfAComparison(t *testing.T) {
	nan := math.NaN()
	spoilt := false
	row := link.Row{Comparison: "hall – spare", Measured: link.Measured{NullDB: -43.27, BitPerfect: &spoilt, Figures: link.Figures{
		{Declared: link.RandomJitter.Declare(), Pair: link.Pair{A: 29.36, B: 290818.1, Difference: 290788.7, AAtMost: nan, BAtMost: nan, DifferenceBeyond: nan, Uncertainty: nan, Limit: 26626.1, Floor: 10.7}},
		{Declared: link.DeterministicJitter.Declare(), Pair: link.Pair{A: nan, B: 214.2, Difference: nan, AAtMost: 15.13, BAtMost: nan, DifferenceBeyond: 199.07, Uncertainty: nan, Limit: nan, Floor: nan}},
		{Declared: link.Noise.Declare(), Pair: link.Pair{A: -113.62, B: -115.07, Difference: -1.45, AAtMost: nan, BAtMost: nan, DifferenceBeyond: nan, Uncertainty: nan, Limit: -119.6, Floor: -119.6}},
		{Declared: link.THDN.Declare(), Pair: link.Pair{A: nan, B: nan, Difference: nan, AAtMost: nan, BAtMost: nan, DifferenceBeyond: nan, Uncertainty: nan, Limit: nan, Floor: nan}},
		{Declared: link.IMD.Declare(), Pair: link.Pair{A: -115.14, B: -75.14, Difference: 40, AAtMost: nan, BAtMost: nan, DifferenceBeyond: nan, Uncertainty: nan, Limit: -121.2, Floor: nan, EnteredB: true}},
		{Declared: link.SecondHarmonic.Declare(), Pair: link.Pair{A: nan, B: -91.26, Difference: nan, AAtMost: -103.2, BAtMost: nan, DifferenceBeyond: 11.94, Uncertainty: nan, Limit: nan, Floor: -103.2}},
	}}}
	var b strings.Builder
	linkMeasuredText(&b, []link.Row{row, row})
	const want = `
Measured, hall – spare:
figure                                 A                B  B less A  recorder's floor  own limit  unit
random jitter                     0.0294              291      +291            0.0107       26.6  ns RMS
deterministic jitter              ≤ 15.1              214    > +199                 –          –  ps RMS
noise, A-weighted                 −113.6           −115.1      −1.4            −119.6     −119.6  dBFS
intermodulation                   −115.1  −75.1 (entered)     +40.0                 –     −121.2  dB
second harmonic over the sweep  ≤ −103.2            −91.3   > +11.9            −103.2          –  dB
residual of the null                                          −43.3                               dB
words delivered as sent                                          no
`
	if got, _, _ := strings.Cut(lay(b.String(), 0), "\nA and B"); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
}
