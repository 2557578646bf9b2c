package main

import (
	"context"
	"fmt"
	"math"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/integrity"
	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// studyFigures are the measured figures of a study's chains, the last jitter and noise of each, and whether each delivered
// the words it was sent, in every capture that tells.
type studyFigures struct {
	chains  []link.Chain
	jitter  map[string]jitter.Result
	noise   map[string]tone.NoiseResult
	intact  map[string]bool
	entered []link.Entered
	// warnings are those of the captures' own results.
	warnings []string
}

// readFigures reads every stored measurement. Of several channels the worst counts: whoever hears one hears it.
func readFigures(ctx context.Context, s *store.Store) (studyFigures, error) {
	f := studyFigures{jitter: map[string]jitter.Result{}, noise: map[string]tone.NoiseResult{}, intact: map[string]bool{}}
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
	var said captureWarnings
	for _, m := range measured {
		name := chainOf[m.Capture]
		if err := f.add(name, all[name], m); err != nil {
			return f, fmt.Errorf("measurement of capture %d: %w", m.Capture, err)
		}
		if err := stored(m.Result, func(r resultWarnings) { said.add(m.Capture, name, r.Warnings) }); err != nil {
			return f, fmt.Errorf("measurement of capture %d: %w", m.Capture, err)
		}
	}
	f.warnings = said.list()
	for _, e := range entered {
		one := link.Entered{Chain: e.Chain, Metric: link.Metric(e.Metric), Value: orNaN(e.Value), Limit: orNaN(e.Limit), Unit: e.Unit, Source: e.Source}
		f.entered = append(f.entered, one)
		if figures, ok := all[e.Chain]; ok {
			figures[one.Metric] = append(figures[one.Metric], link.Figure{Value: one.Value, Limit: one.Limit, Entered: true})
		}
	}
	for _, c := range chains {
		f.chains = append(f.chains, link.Chain{Name: c.Name, About: c.About, Role: c.Role, Cost: orNaN(c.Cost), Figures: all[c.Name]})
	}
	return f, nil
}

// resultWarnings is what results of all kinds have in common.
type resultWarnings struct {
	Warnings []string `json:"warnings"`
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func (f studyFigures) add(chain string, figures map[link.Metric][]link.Figure, m store.Measurement) error {
	put := func(metric link.Metric, value, limit float64) {
		figures[metric] = append(figures[metric], link.Figure{Value: value, Limit: limit})
	}
	switch m.Kind {
	case "jitter":
		return stored(m.Result, func(r jitter.Result) {
			if c, ok := worstJitter(r); ok {
				f.jitter[chain] = r
				putJitter(put, c)
			}
		})
	case "tone":
		return stored(m.Result, func(r tone.Result) {
			figures[link.THDN] = append(figures[link.THDN], worstFigure(r.Channel, thdnFigure))
			figures[link.Hum] = append(figures[link.Hum], worstFigure(r.Channel, humFigure))
		})
	case "noise":
		return stored(m.Result, func(r tone.NoiseResult) {
			f.noise[chain] = r
			figures[link.Noise] = append(figures[link.Noise], worstFigure(r.Channel, noiseFigure))
		})
	case "low-tone":
		return stored(m.Result, func(r tone.LowToneResult) {
			figures[link.NoiseUnderTone] = append(figures[link.NoiseUnderTone], worstFigure(r.Channel, noiseUnderTone))
		})
	case "two-tone":
		return stored(m.Result, func(r tone.TwoToneResult) {
			figures[link.IMD] = append(figures[link.IMD], worstFigure(r.Channel, imdFigure))
		})
	case "sweep":
		return stored(m.Result, func(r tone.SweepResult) {
			figures[link.SecondHarmonic] = append(figures[link.SecondHarmonic], worstFigure(r.Channel, sweepHarmonic(2)))
			figures[link.ThirdHarmonic] = append(figures[link.ThirdHarmonic], worstFigure(r.Channel, sweepHarmonic(3)))
		})
	case "integrity":
		return stored(m.Result, func(r integrity.Result) {
			before, known := f.intact[chain]
			f.intact[chain] = r.BitPerfect && (before || !known)
		})
	}
	return nil
}

// stored hands a stored result to use.
func stored[T any](data []byte, use func(T)) error {
	var r T
	if err := wire.Unmarshal(data, &r); err != nil {
		return err
	}
	use(r)
	return nil
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

// worstJitter returns the channel with the most random jitter, one at the floor counting by its bound.
func worstJitter(r jitter.Result) (jitter.Channel, bool) {
	most := math.Inf(-1)
	var found jitter.Channel
	for _, c := range r.Channel {
		size := c.RandomPs
		if math.IsNaN(size) {
			size = c.RandomLimitPs
		}
		if !(size <= most) {
			most, found = size, c
		}
	}
	return found, len(r.Channel) > 0
}

func putJitter(put func(link.Metric, float64, float64), c jitter.Channel) {
	put(link.RandomJitter, c.RandomPs, c.RandomLimitPs)
	bound := math.NaN()
	if c.DeterministicAtFloor {
		bound = c.DeterministicLimitPs
	}
	put(link.DeterministicJitter, c.DeterministicPs, bound)
	peak, bound := c.WorstLine()
	put(link.WorstLine, peak, bound)
	decades := map[float64]link.Metric{10: link.RandomJitterLow, 100: link.RandomJitterMid, 1000: link.RandomJitterHigh}
	for _, b := range c.RandomBands {
		if metric, ok := decades[b.LowHz]; ok {
			put(metric, b.Ps, b.LimitPs)
		}
	}
}

// preparedErrors returns what matching left between two presentations: the difference of their own errors against the
// common reference.
func preparedErrors(a, b store.Presentation) (levelDB, offsetUS float64) {
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
