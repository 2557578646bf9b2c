package main

import (
	"fmt"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/measure"
	"heardiff/measure/clock"
	"heardiff/measure/integrity"
	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/study"
)

// effect is what warnings mean for the figures of a chain, in a sentence for whoever reads the report.
type effect struct {
	says  string
	codes []warning.Code
}

// effects are in the order in which they are printed: what spoils a figure comes first.
func effects() []effect {
	return []effect{
		{"The recording was damaged: something is missing, repeated or jumps, and the figures may contain that.",
			[]warning.Code{measure.Interrupted, measure.LongZeros, measure.HeldValue, jitter.LostBlock, jitter.PhaseJump, jitter.ClockStep, clock.TimeJump, tone.Dropouts, tone.Muted,
				tone.PhaseJumps, tone.RepeatedBlocks, tone.Clicks, tone.Bursts, jitter.TicksKept}},
		{"The recording was overdriven: distortion is too high, and other figures may be.", []warning.Code{measure.Clipped, measure.FlatTops, measure.TruePeakOver}},
		{"The level did not keep still, as with automatic gain, a limiter or a loose contact: no figure of such a recording is the chain’s alone.", []warning.Code{measure.LevelMoves}},
		{"The recording does not hold what this measurement needs: its figures are missing, or are of something else.",
			[]warning.Code{measure.NoSignal, measure.DigitalSilence, tone.WrongRate, tone.OffFrequency, tone.OtherLevel, tone.JitterSignal, tone.NotSilence, tone.SilentReference, jitter.PlainTone}},
		{"The channels are the same recording twice: the figures are of one channel.", []warning.Code{measure.IdenticalChannels}},
		{"How much of the figures is the recorder’s own is not known, since the recorder alone was not captured in the same way.", []warning.Code{measure.NoFloor}},
		{"The recorder alone was captured at another level: how much of the distortion is the recorder’s own is known only roughly. Noise and hum are not affected.", []warning.Code{measure.FloorLevel}},
		{"Player and recorder ran almost in step. Very fast jitter then looks partly like noise: the random jitter has wider margins, which its limits contain.", []warning.Code{jitter.LockedClocks}},
		{"Some of the noise moves the level and not the timing: it is not counted as jitter.", []warning.Code{jitter.AmplitudeNoise}},
		{"Short disturbances were left out of the random jitter: it is that of the rest.", []warning.Code{jitter.Ticks}},
		{"The recording is short for this figure, or the figure covers only a part of its range: it is less exact there.",
			[]warning.Code{jitter.FewPeriods, tone.BandLimited, tone.LostHarmonics, tone.ShortSweep, measure.QuietRecording, measure.UnusedBits, jitter.ShorterWords}},
		{"There are more disturbing frequencies than are listed, or they wander: the list of lines is not complete.", []warning.Code{jitter.ManyLines, jitter.WanderingLines}},
		{"A constant voltage is in the recording: it is not heard and changes no figure here.", []warning.Code{measure.DCOffset}},
		{"The data did not arrive as they were sent.", []warning.Code{integrity.AlsoFaults, integrity.FaultsUnknown, integrity.Resampled, integrity.Exchanged, integrity.Copied, integrity.Dead, integrity.Inverted,
			integrity.Filtered, integrity.UnknownChange, integrity.GainChanged, integrity.Dithered, integrity.Shortened, integrity.NoiseAdded, integrity.LateChannels, integrity.ConstantsAdded}},
	}
}

// otherRemarks is for warnings whose effect is not in the list.
const otherRemarks = "Other remarks of the measurements:"

// warnedOf groups what the captures warn of by what it means, and there by chain and kind.
func warnedOf(all []study.CaptureWarning) []report.Warned {
	var out []report.Warned
	for _, e := range append(effects(), effect{says: otherRemarks}) {
		g := report.Warned{Means: e.says}
		of := map[string][]int{}
		var order []string
		for _, w := range all {
			if !e.holds(w.Code) {
				continue
			}
			name := fmt.Sprintf("%s (%s)", w.Chain, w.Kind)
			if of[name] == nil {
				order = append(order, name)
			}
			if !slices.Contains(of[name], w.Capture) {
				of[name] = append(of[name], w.Capture)
			}
			g.InFull = append(g.InFull, fmt.Sprintf("capture %d (%s, %s): %s", w.Capture, w.Chain, w.Kind, w.Text))
		}
		for _, name := range order {
			g.Where = append(g.Where, name+", "+capturesWords(of[name]))
		}
		if len(order) > 0 {
			out = append(out, g)
		}
	}
	return out
}

// holds reports whether a code belongs here; the effect without codes takes what no other has.
func (e effect) holds(code warning.Code) bool {
	if e.codes != nil {
		return slices.Contains(e.codes, code)
	}
	return !slices.ContainsFunc(effects(), func(o effect) bool { return slices.Contains(o.codes, code) })
}

func capturesWords(all []int) string {
	words := make([]string, len(all))
	for i, n := range all {
		words[i] = fmt.Sprint(n)
	}
	if len(all) == 1 {
		return "capture " + words[0]
	}
	return "captures " + strings.Join(words, ", ")
}
