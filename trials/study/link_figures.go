package study

import (
	"context"
	"fmt"
	"math"
	"slices"

	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials/link"
)

// studyFigures are the measured figures of a study's chains, the last result of each kind and chain, and whether each chain delivered the
// words it was sent, in every capture that shows it.
type studyFigures struct {
	chains  []link.Chain
	latest  map[string]map[string][]byte // by kind and chain, as stored
	intact  map[string]bool
	entered []link.Entered
	// warnings are the warnings in the results of the captures.
	warnings []CaptureWarning
}

// CaptureWarning is a warning in a result of a capture.
type CaptureWarning struct {
	Capture     int
	Chain, Kind string
	warning.Warning
}

// readFigures reads every stored measurement. Of several channels the worst counts, because a listener who hears one channel hears it.
func (s *Study) readFigures(ctx context.Context) (studyFigures, error) {
	f := studyFigures{latest: map[string]map[string][]byte{}, intact: map[string]bool{}}
	chains, err := s.Chains(ctx)
	if err != nil {
		return f, err
	}
	captures, err := s.Captures(ctx)
	if err != nil {
		return f, err
	}
	chainOf := map[int]string{}
	for _, c := range captures {
		chainOf[c.ID] = c.Chain
	}
	measured, err := s.Measurements(ctx)
	if err != nil {
		return f, err
	}
	entered, err := s.EnteredFigures(ctx)
	if err != nil {
		return f, err
	}
	all := map[string]map[link.Metric][]link.Figure{}
	for _, c := range chains {
		all[c.Name] = map[link.Metric][]link.Figure{}
	}
	for _, m := range measured {
		name := chainOf[m.Capture]
		if err := f.add(name, all[name], m); err != nil {
			return f, fmt.Errorf("measurement of capture %d: %w", m.Capture, err)
		}
		r, err := Stored[warning.Warnings](m.Result)
		if err != nil {
			return f, fmt.Errorf("measurement of capture %d: %w", m.Capture, err)
		}
		f.warn(m, name, r)
	}
	for _, e := range entered {
		one := link.Entered{Chain: e.Chain, Metric: link.Metric(e.Metric), Value: OrNaN(e.Value), Limit: OrNaN(e.Limit), Unit: e.Unit, Source: e.Source}
		f.entered = append(f.entered, one)
		if figures, ok := all[e.Chain]; ok {
			figures[one.Metric] = append(figures[one.Metric], link.Figure{Value: one.Value, Limit: one.Limit, Entered: true})
		}
	}
	for _, c := range chains {
		f.chains = append(f.chains, link.Chain{Name: c.Name, About: c.About, Role: c.Role, Cost: OrNaN(c.Cost), After: c.After, Figures: all[c.Name]})
	}
	return f, nil
}

// warn adds the warnings in a result, each once if a capture is measured as several kinds.
func (f *studyFigures) warn(m Measurement, chain string, r warning.Warnings) {
	for _, w := range r.All() {
		known := func(o CaptureWarning) bool { return o.Capture == m.Capture && o.Same(w) }
		if !slices.ContainsFunc(f.warnings, known) {
			f.warnings = append(f.warnings, CaptureWarning{m.Capture, chain, m.Kind, w})
		}
	}
}

// OrNaN returns the number, NaN for nil.
func OrNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// add adds the figures in a stored result of a chain.
func (f studyFigures) add(chain string, figures map[link.Metric][]link.Figure, m Measurement) error {
	k, _ := KindNamed(m.Kind) // results of kinds from another program are ignored here
	if k.delivers != nil {
		intact, err := k.delivers(m.Result)
		if err != nil {
			return err
		}
		before, known := f.intact[chain]
		f.intact[chain] = intact && (before || !known)
	}
	if k.Measurement == nil {
		return nil
	}
	if f.latest[m.Kind] == nil {
		f.latest[m.Kind] = map[string][]byte{}
	}
	f.latest[m.Kind][chain] = m.Result
	return k.Measurement.Read(m.Result, func(metric link.Metric, figure link.Figure) { figures[metric] = append(figures[metric], figure) })
}

// delivered says whether both chains delivered the words they were sent; nil where that is not known.
func (f studyFigures) delivered(a, b string) *bool {
	intactA, knownA := f.intact[a]
	intactB, knownB := f.intact[b]
	both := intactA && intactB
	if both || knownA && !intactA || knownB && !intactB {
		return &both
	}
	return nil
}

// preparedErrors returns what matching left between two presentations: the difference of their own errors against the
// common reference.
func preparedErrors(a, b Presentation) (levelDB, offsetUS float64) {
	type errors struct {
		LevelErrorDB  float64 `json:"level_error_db"`
		OffsetErrorUS float64 `json:"offset_error_us"`
	}
	var ea, eb errors
	if wire.Unmarshal(a.Result, &ea) != nil || wire.Unmarshal(b.Result, &eb) != nil {
		return math.NaN(), math.NaN()
	}
	return eb.LevelErrorDB - ea.LevelErrorDB, eb.OffsetErrorUS - ea.OffsetErrorUS
}
