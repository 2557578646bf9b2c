package jitter_test

import (
	"math"
	"slices"
	"testing"

	"heardiff/measure/jitter"
	"heardiff/measure/jitter/jittertest"
)

// Captures as a workshop's recorder gives them: total, random and deterministic jitter and the decades hold within their errors, every line
// is found where it is and as large as it is, and at most one line in a hundred is false. Every run takes some devices of each kind, and
// the hard ones: weak pieces beside lines of the mains (38, 65), steady lines in noise that a loop raises (44), an idle tone in noise (45).
func TestDevicesAreMeasuredWithinTheirErrors(t *testing.T) {
	numbers := []int{1, 8, 36, 38, 44, 45, 65}
	if *full {
		numbers = nil
		for i := range jittertest.Devices {
			numbers = append(numbers, i)
		}
	}
	seen := coverages{}
	lines, wrong, missed := 0, 0, 0
	for _, number := range numbers {
		c := jittertest.Device(number)
		r := measureClips(t, jitter.Config{}, c)
		ch, want := r.Channel[0], c.LinesIn(r.BandHz[0], r.BandHz[1])
		square := 0.0
		left := slices.Clone(ch.Lines)
		for _, w := range want {
			square += w.Peak * w.Peak / 2 * 1e24
			i := slices.IndexFunc(left, func(l jitter.Line) bool { return math.Abs(l.OffsetHz-w.Hz) < 2/c.Seconds+5e-4*w.Hz })
			if i < 0 {
				missed++
				t.Errorf("device %d: no line at %.2f Hz, want %.3f ps", number, w.Hz, w.Peak*1e12)
				continue
			}
			seen.add(t, "line", left[i].PeakPs, left[i].PeakSEPs, w.Peak*1e12)
			left = slices.Delete(left, i, i+1)
		}
		lines, wrong = lines+len(ch.Lines), wrong+len(left)
		if len(left) > 0 {
			t.Logf("device %d: lines that are not there: %+v", number, left)
		}
		random, deterministic := c.RandomIn(r.BandHz[0], r.BandHz[1]), math.Sqrt(square)
		if ch.RandomAtFloor || ch.DeterministicAtFloor {
			t.Errorf("device %d: random or deterministic jitter at the floor", number)
			continue
		}
		seen.add(t, "random", ch.RandomPs, ch.RandomSEPs, random)
		seen.add(t, "deterministic", ch.DeterministicPs, ch.DeterministicSEPs, deterministic)
		seen.add(t, "total", ch.TotalPs, ch.TotalSEPs, math.Hypot(random, deterministic))
		for _, b := range ch.RandomBands {
			if w := c.RandomIn(b.LowHz, b.HighHz); !b.AtFloor {
				seen.add(t, "decade", b.Ps, b.SEPs, w)
			} else if b.LimitPs < w {
				t.Errorf("device %d: %.0f to %.0f Hz: at most %.2f ps, there are %.2f", number, b.LowHz, b.HighHz, b.LimitPs, w)
			}
		}
	}
	t.Logf("%d lines, %d not there, %d not found", lines, wrong, missed)
	if wrong > lines/100 {
		t.Errorf("of %d lines %d are not there, want one in a hundred at the most", lines, wrong)
	}
	seen.check(t, nil)
}
