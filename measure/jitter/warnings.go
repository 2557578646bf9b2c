package jitter

import (
	"fmt"
	"math"
	"strings"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// The codes of warnings about jitter, in addition to those of all measurements.
const (
	AmplitudeNoise warning.Code = "amplitude-noise"  // amplitude exceeds phase; Value is the lowest frequency where it does
	ClockStep      warning.Code = "clock-step"       // the phase steps by Value, less than half a sample, at the instant
	FewPeriods     warning.Code = "few-periods"      // Value, in seconds, holds few periods of the band's low end
	LockedClocks   warning.Code = "locked-clocks"    // Value per cent of the jitter that folds back show in the phase
	LostBlock      warning.Code = "lost-block"       // a block was lost or repeated: the phase steps by Value, in samples
	ManyLines      warning.Code = "many-lines"       // more lines than are listed
	PhaseJump      warning.Code = "phase-jump"       // the largest step of phase between two baseband samples
	PlainTone      warning.Code = "plain-tone"       // the carrier is a quarter of no expected rate; Value is its frequency
	ShorterWords   warning.Code = "shorter-words"    // Value is how many lines are those of a signal of 16 bits
	Ticks          warning.Code = "ticks"            // Value is how many were left out of the random jitter; the instant is the first
	TicksKept      warning.Code = "ticks-in-figures" // Value is how many the random jitter holds; the instant is the first
	WanderingLines warning.Code = "wandering-lines"  // Value is how many lines wander in frequency
)

// largestStep is the step of phase, in radians, between two baseband samples that noise of no usual recording makes (judgement, no source;
// TestFaultsAreRefusedOrWarned holds it).
const largestStep = 0.3

func loudness(rms float64) string {
	if rms == 0 {
		return "digital silence"
	}
	return fmt.Sprintf("%.1f dBFS", pcm.DBFS(rms))
}

// wanders says which lines of a channel wander.
func wanders(channel int, lines []Line) []warning.Warning {
	var named []string
	for _, l := range lines {
		if l.WanderHz > 0 {
			named = append(named, fmt.Sprintf("%.1f Hz (by %.2g Hz RMS)", l.OffsetHz, l.WanderHz))
		}
	}
	if named == nil {
		return nil
	}
	return []warning.Warning{warning.Newf(WanderingLines, "channel %d has lines of jitter that wander: %s; each counts as one line, its peak from the power that it is spread over",
		channel, strings.Join(named, ", ")).In(channel).Of(float64(len(named)), "lines")}
}

// amplitudeNoise says in which stretches amplitude exceeds phase.
func amplitudeNoise(channel int, bands []noiseBand) []warning.Warning {
	var stretches []string
	low := math.NaN()
	for i := 0; i < len(bands); i++ {
		from := i
		for i < len(bands) && bands[i].ownAmplitude {
			i++
		}
		if i > from {
			if stretches == nil {
				low = bands[from].low
			}
			stretches = append(stretches, fmt.Sprintf("%.0f to %.0f Hz", bands[from].low, bands[i-1].high))
		}
	}
	if stretches == nil {
		return nil
	}
	return []warning.Warning{warning.Newf(AmplitudeNoise, "channel %d has amplitude noise beyond additive noise from %s: how much of the phase noise there is additive is "+
		"uncertain, which the errors and limits of the random jitter allow for", channel, strings.Join(stretches, ", ")).In(channel).Of(low, "Hz")}
}

// lockedWarning says what locked clocks mean for the figures, nothing where they are not, or in an exact digital signal.
func (m *measurement) lockedWarning() []warning.Warning {
	for _, c := range m.sounding {
		kappa := m.inPhase(c)
		if folds(kappa) && sum(m.channels[c].bands, 0, math.Inf(1)).pm > rounded {
			return []warning.Warning{warning.Newf(LockedClocks, "the carrier hardly slides against the recorder's samples: of timing errors faster than %.0f Hz, which fold back, %.0f %% "+
				"show in the phase and the rest in the amplitude, which otherwise shows additive noise; the errors and limits of the random jitter "+
				"allow for it; record with a clock of its own to know", m.reader.Format().Rate.Hz()/2-m.carrierHz, 50*(1+kappa)).In(c+1).Of(50*(1+kappa), "%")}
		}
	}
	return nil
}

// shorterWords warns where the lines belong to the jitter signal of 16 bits, while the signal of 24 bits is taken off.
func (m *measurement) shorterWords() []warning.Warning {
	for _, c := range m.channels {
		if own := m.testSignal().shorterWords(m.group(c.jitter)); own >= ownLines {
			return []warning.Warning{warning.Newf(ShorterWords, "%d lines are those that the jitter signal of 16 bits has of itself: if that was played, they are not the chain's", own).Of(float64(own), "lines")}
		}
	}
	return nil
}
