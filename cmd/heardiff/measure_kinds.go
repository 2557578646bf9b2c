package main

import (
	"fmt"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
)

// studyKind is how captures of one test signal are measured in a study.
type studyKind struct {
	measure func(r pcm.Reader) (any, error)
	// against gives a result the limits that a stored result of the recording set-up alone sets.
	against func(result any, floor []byte) (any, error)
	// words names the main figures of the first channel.
	words    func(result any) string
	warnings func(result any) []string
}

// studyKinds returns the kinds by the name that "capture add --as" gives them; jitter is measured as cfg says, with its spectrum.
func studyKinds(cfg jitter.Config) map[string]studyKind {
	cfg.Spectrum = true
	return map[string]studyKind{
		"jitter": kindOf(func(r pcm.Reader) (jitter.Result, error) {
			return jitter.Measure(r, cfg)
		}, jitter.Result.AgainstFloor, jitterWords, func(r jitter.Result) []string { return r.Warnings }),
		"tone":     ofFiles(toneFiles, toneWords),
		"low-tone": ofFiles(lowToneFiles, lowToneWords),
		"noise":    ofFiles(noiseFiles, noiseWords),
		"two-tone": ofFiles(twoToneFiles, twoToneWords),
		"sweep":    ofFiles(sweepFiles, sweepWords),
	}
}

// ofFiles measures captures of a study as files are.
func ofFiles[T any](k fileKind[T], words func(T) string) studyKind {
	return kindOf(k.measure, limited(k.setFloor), words, func(r T) []string { return *k.warnings(&r) })
}

func kindOf[T any](measure func(pcm.Reader) (T, error), against func(T, T) (T, error), words func(T) string, warnings func(T) []string) studyKind {
	return studyKind{
		measure: func(r pcm.Reader) (any, error) { return measure(r) },
		against: func(result any, floor []byte) (any, error) {
			var limit T
			if err := wire.Unmarshal(floor, &limit); err != nil {
				return nil, fmt.Errorf("stored measurement of the floor: %w", err)
			}
			return against(result.(T), limit)
		},
		words:    func(result any) string { return words(result.(T)) },
		warnings: func(result any) []string { return warnings(result.(T)) },
	}
}

func limited[T any](set func(*T, T) error) func(T, T) (T, error) {
	return func(result, floor T) (T, error) {
		err := set(&result, floor)
		return result, err
	}
}

func jitterWords(r jitter.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	random := figure(c.RandomPs, "%.1f ps RMS")
	if c.RandomAtFloor {
		random = "at the floor, below " + figure(c.RandomLimitPs, "%.1f ps RMS")
	}
	deterministic := fmt.Sprintf("%s in %d lines", figure(c.DeterministicPs, "%.1f ps RMS"), counted(c.Lines))
	if c.DeterministicAtFloor {
		deterministic = "at the floor, below " + figure(c.DeterministicLimitPs, "%.1f ps RMS")
	}
	return fmt.Sprintf("random %s, deterministic %s", random, deterministic)
}

// counted returns how many lines are neither the test signal's own nor at the floor.
func counted(lines []jitter.Line) int {
	n := 0
	for _, l := range lines {
		if l.Counts() {
			n++
		}
	}
	return n
}

func toneWords(r tone.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s at %s, THD+N %s", figure(c.FrequencyHz, "%.2f Hz"), figure(c.LevelDBFS, "%.2f dBFS"), figure(c.THDNDB, "%.1f dB")) +
		standing(c.Limits, "thd_n_db")
}

func lowToneWords(r tone.LowToneResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("dynamic range %s, A-weighted %s", figure(c.DynamicRangeDB, "%.1f dB"), figure(c.DynamicRangeADB, "%.1f dB")) +
		standing(c.Limits, "dynamic_range_a_db")
}

func noiseWords(r tone.NoiseResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s, A-weighted %s", figure(c.UnweightedDBFS, "%.1f dBFS"), figure(c.AWeightedDBFS, "%.1f dBFS")) +
		standing(c.Limits, "a_weighted_dbfs")
}

func twoToneWords(r tone.TwoToneResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("intermodulation %s (%s)", figure(c.IMDDB, "%.1f dB"), c.Method) + standing(c.Limits, "imd_db")
}

func sweepWords(r tone.SweepResult) string {
	if len(r.Channel) == 0 || len(r.Channel[0].Harmonics) < 2 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("second harmonic %s, third %s", figure(c.Harmonics[0].DB, "%.1f dB"), figure(c.Harmonics[1].DB, "%.1f dB"))
}

// standing returns how a figure stands to the set-up's own, where it is not clear of it.
func standing(limits []tone.Limit, figure string) string {
	for _, l := range limits {
		if l.Figure == figure && l.Standing != "measured" {
			return " (" + l.Standing + ")"
		}
	}
	return ""
}
