package tone

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"heardiff/playback/pcm"
)

const (
	phaseSeconds = 0.05 // a phase is read over
	// leastJump is in turns. Wander and jitter of any chain worth the name move a tone of 20 kHz by less in 0.05 s: it is
	// 250 ns. Common practice, no source.
	leastJump = 0.005
)

// course returns the phase of the uppermost tone in successive parts of x, in turns off where the frequency first found
// would have it.
func (t *tracker) course(x []float64) []float64 {
	omega := t.omegas[len(t.omegas)-1]
	n := max(1, int(phaseSeconds*t.rate))
	var list []float64
	for from := 0; from+n <= len(x); from += n {
		at := float64(t.frames+from) + float64(n-1)/2
		turns := cmplx.Phase(project(x[from:from+n], omega))/(2*math.Pi) - omega*at/(2*math.Pi)
		list = append(list, turns)
	}
	return list
}

// jumps returns how often the phase of the tone jumps, and when it does first, in seconds from the beginning of the
// active part: where a block was dropped or repeated, the tone goes on elsewhere in its period.
func (t *tracker) jumps() (count int, first float64) {
	if len(t.phases) < 10 {
		return 0, math.NaN()
	}
	steps := make([]float64, len(t.phases)-1)
	for i := range steps {
		steps[i] = t.phases[i+1] - t.phases[i]
		steps[i] -= math.Round(steps[i])
	}
	centre := median(slices.Clone(steps))
	off := make([]float64, len(steps))
	for i, s := range steps {
		off[i] = math.Abs(s - centre - math.Round(s-centre))
	}
	least := max(leastJump, 12*median(slices.Clone(off)))
	last := -10
	for i, d := range off {
		if d < least {
			continue
		}
		if i-last > 2 { // one jump inside a part shows in the step before it and in the one after
			count++
		}
		if count == 1 && last < 0 {
			first = float64(i+1) * float64(t.frames) / float64(len(t.phases)) / t.rate
		}
		last = i
	}
	return count, first
}

func (t tracked) jumpWarnings() []string {
	var list []string
	for c, ch := range t.channels {
		if ch == nil {
			continue
		}
		if n, at := ch.jumps(); n > 0 {
			list = append(list, fmt.Sprintf("channel %d: the tone jumps in phase at %d places, the first %.2f s from the beginning: samples were dropped or repeated, and the noise is not the chain's",
				c+1, n, float64(t.from)/ch.rate+at))
		}
	}
	return list
}

// jitterTone returns a warning where a tone stands at a quarter of the rate.
func jitterTone(channel int, hz float64, rate pcm.Rate) []string {
	if math.Abs(4*hz/rate.Hz()-1) > 1e-3 { // the loosest clock that interface standards allow
		return nil
	}
	return []string{fmt.Sprintf("channel %d: the tone stands at %.2f Hz, a quarter of the rate: the jitter signal, for --as jitter? Its harmonics lie beyond the band", channel, hz)}
}

// wrongRate returns a warning where a tone stands where one of the usual test tones would come to stand if it were
// recorded or played at another rate than its own.
func wrongRate(channel int, hz float64, tests ...float64) []string {
	rates := []float64{32000, 44100, 48000, 88200, 96000, 176400, 192000}
	const near = 3e-4 // clocks agree within 300 ppm or are broken
	for _, f := range tests {
		if math.Abs(hz/f-1) < near {
			return nil
		}
	}
	for _, f := range tests {
		for _, played := range rates {
			for _, own := range rates {
				if r := played / own; r != 1 && math.Abs(hz/(f*r)-1) < near {
					return []string{fmt.Sprintf("channel %d: the tone stands at %.2f Hz: a tone of %.0f Hz at %.5g times its rate, as where a file of %.5g Hz is taken for one of %.5g Hz",
						channel, hz, f, r, own, played)}
				}
			}
		}
		if off := hz/f - 1; math.Abs(off) < 0.01 {
			return []string{fmt.Sprintf("channel %d: the tone stands at %.3f Hz, %+.0f ppm off %.0f Hz: no converter's clock is that far off", channel, hz, off*1e6, f)}
		}
	}
	return nil
}
