package main

import (
	"context"
	"fmt"
	"io"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/playback/pcm"
	"heardiff/trials/sqlite"
)

// studyMeasured is what "measure" prints in a study.
type studyMeasured struct {
	Schema   string            `json:"schema"`
	Measured []measuredCapture `json:"measured"`
	Warnings []string          `json:"warnings"`
}

type measuredCapture struct {
	Capture int    `json:"capture"`
	Chain   string `json:"chain"`
	Kind    string `json:"kind"`
	Figures string `json:"-"` // the main ones, for people
	Result  any    `json:"result"`
}

// measureStudy measures every capture of the study that has no measurement yet.
func (a *app) measureStudy(ctx context.Context) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	due, err := unmeasured(ctx, s)
	if err != nil {
		return err
	}
	r := studyMeasured{Schema: "heardiff.measured/1"}
	progress := a.progress("measuring")
	defer progress(1)
	for i, c := range due {
		if err := ctx.Err(); err != nil {
			return err
		}
		m, err := a.measureCapture(ctx, s, c)
		if err != nil {
			return err
		}
		r.Measured = append(r.Measured, m)
		progress(float64(i+1) / float64(len(due)+1))
	}
	return a.print(r, func(w io.Writer) { r.text(w) })
}

// unmeasured returns the captures of test signals that have no measurement.
func unmeasured(ctx context.Context, s *sqlite.Store) ([]sqlite.Capture, error) {
	captures, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	have, err := s.Measurements(ctx)
	if err != nil {
		return nil, err
	}
	done := map[int]bool{}
	for _, m := range have {
		done[m.Capture] = true
	}
	var due []sqlite.Capture
	for _, c := range captures {
		if c.Kind != "music" && !done[c.ID] {
			due = append(due, c)
		}
	}
	return due, nil
}

// measureCapture measures one capture and keeps the result.
func (a *app) measureCapture(ctx context.Context, s *sqlite.Store, c sqlite.Capture) (measuredCapture, error) {
	m := measuredCapture{Capture: c.ID, Chain: c.Chain, Kind: c.Kind}
	f, err := a.open(s.Path(c.Path))
	if err != nil {
		return m, err
	}
	defer f.Close()
	m.Result, m.Figures, err = figures(c.Kind, f)
	if err != nil {
		return m, rejected(fmt.Errorf("capture %d (%s, %s): %w", c.ID, c.Chain, c.Kind, err), "is this the signal that was played?")
	}
	data, err := wire.Marshal(m.Result)
	if err != nil {
		return m, err
	}
	return m, s.SaveMeasurement(ctx, sqlite.Measurement{Capture: c.ID, Kind: c.Kind, Result: data})
}

// figures measures a capture of the given kind; in words it names the main figures of the first channel.
func figures(kind string, r pcm.Reader) (result any, words string, err error) {
	switch kind {
	case "jitter":
		v, err := jitter.Measure(r, jitter.Config{Spectrum: true})
		return v, jitterWords(v), err
	case "tone":
		v, err := tone.Measure(r)
		return v, toneWords(v), err
	case "noise":
		v, err := tone.Noise(r, nil)
		return v, noiseWords(v), err
	case "low-tone":
		v, err := tone.LowTone(r)
		return v, "", err
	case "two-tone":
		v, err := tone.TwoTone(r)
		return v, "", err
	case "sweep":
		v, err := tone.Sweep(r)
		return v, "", err
	}
	return nil, "", fmt.Errorf("no measurement of %q is known", kind)
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
	return fmt.Sprintf("random %s, deterministic %s in %d lines", random, figure(c.DeterministicPs, "%.1f ps RMS"), len(c.Lines))
}

func toneWords(r tone.Result) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s at %s, THD+N %s", figure(c.FrequencyHz, "%.2f Hz"), figure(c.LevelDBFS, "%.2f dBFS"), figure(c.THDNDB, "%.1f dB"))
}

func noiseWords(r tone.NoiseResult) string {
	if len(r.Channel) == 0 {
		return ""
	}
	c := r.Channel[0]
	return fmt.Sprintf("%s, A-weighted %s", figure(c.UnweightedDBFS, "%.1f dBFS"), figure(c.AWeightedDBFS, "%.1f dBFS"))
}

func (r studyMeasured) text(w io.Writer) {
	if len(r.Measured) == 0 {
		fmt.Fprintln(w, "nothing new to measure")
		return
	}
	t := newTable("capture", "chain", "kind", "channel 1")
	t.right(0)
	for _, m := range r.Measured {
		t.row(fmt.Sprint(m.Capture), m.Chain, m.Kind, m.Figures)
	}
	t.print(w, "")
}
