package study

import (
	"context"
	"errors"
	"fmt"
	"math"

	"heardiff/measure/match"
	"heardiff/trials"
	"heardiff/trials/link"
)

// Linked is the result of Link, and what a report needs in addition.
type Linked struct {
	Result   link.Result
	Input    link.Input
	Plans    []trials.Plan
	Sessions []EndedSession
	Excerpts []Excerpt
	// Compared holds how the presentations of each pairing differ, in the order of Input.Pairings.
	Compared []match.Result
	Head     Head // of the study's record
	figures  studyFigures
}

// Latest returns the last stored result of a kind that was measured for a chain.
func (l Linked) Latest(kind, chain string) (result []byte, ok bool) {
	result, ok = l.figures.latest[kind][chain]
	return result, ok
}

// Delivered says whether both chains delivered the words they were sent; nil where that is not known.
func (l Linked) Delivered(a, b string) *bool { return l.figures.delivered(a, b) }

// CaptureWarnings are the warnings in the results of the captures.
func (l Linked) CaptureWarnings() []CaptureWarning { return l.figures.warnings }

// Link compares what listeners heard with what was measured of the same chains.
func (s *Study) Link(ctx context.Context) (Linked, error) {
	l := Linked{}
	of, err := s.Study(ctx)
	if err != nil {
		return l, err
	}
	l.Input.Title = of.Title
	if l.figures, err = s.readFigures(ctx); err != nil {
		return l, err
	}
	l.Input.Chains, l.Input.Entered = l.figures.chains, l.figures.entered
	if l.Plans, err = s.Plans(ctx); err != nil {
		return l, err
	}
	if l.Input.Family, _, err = s.StudyFamily(ctx); err != nil {
		return l, err
	}
	if err := l.readSessions(ctx, s); err != nil {
		return l, err
	}
	if l.Excerpts, err = s.Excerpts(ctx); err != nil {
		return l, err
	}
	if err := l.readPairings(ctx, s); err != nil {
		return l, err
	}
	if l.Head, err = s.Head(ctx); err != nil {
		return l, err
	}
	l.Input.Metrics = Metrics()
	l.Result, err = link.Build(l.Input)
	return l, err
}

// readSessions reads the sessions that have ended; a session that cannot be read is left out, with a warning.
func (l *Linked) readSessions(ctx context.Context, s *Study) (err error) {
	l.Sessions, err = s.EndedSessions(ctx, func(v Session, err error) error {
		s.warn("session %s is left out: %v", ShortID(v.ID), err)
		return nil
	})
	if err != nil {
		return err
	}
	absent, err := s.absences(ctx)
	if err != nil {
		return err
	}
	l.Input.Absent = absent.Details
	marks, err := s.markedSessions(ctx, l.Sessions)
	for _, v := range l.Sessions {
		l.Input.Results = append(l.Input.Results, link.Heard{Listener: v.Listener, Group: v.Who.Group, Simulated: v.Who.Simulated, Marks: marks[v.ID], Arrived: v.Arrived, Result: v.Result})
	}
	return err
}

// readPairings measures, for every comparison that was asked about, how its two presentations differ.
func (l *Linked) readPairings(ctx context.Context, s *Study) error {
	seen, by := map[[4]string]bool{}, s.comparer()
	progress := s.progress("comparing presentations")
	defer progress(1)
	for i, p := range l.Plans {
		progress(float64(i) / float64(len(l.Plans)+1))
		for _, c := range p.Comparisons {
			key := [4]string{c.A, c.B, c.Excerpt, doseAudio(c)}
			if c.Kind != trials.Scored || seen[key] {
				continue
			}
			seen[key] = true
			pairing, compared, err := l.pairing(ctx, by, c)
			if err != nil {
				return fmt.Errorf("comparison %q: %w", c.Name, err)
			}
			l.Input.Pairings, l.Compared = append(l.Input.Pairings, pairing), append(l.Compared, compared)
		}
	}
	return nil
}

func (l *Linked) pairing(ctx context.Context, by comparer, c trials.Comparison) (link.Pairing, match.Result, error) {
	nan := math.NaN()
	p := link.Pairing{A: c.A, B: c.B, Excerpt: c.Excerpt, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan, LevelErrorDB: nan, OffsetErrorUS: nan, Dose: nan,
		BitPerfect: l.Delivered(c.A, c.B), AudioB: doseAudio(c)}
	first, okA := l.presentation(c.AudioA)
	second, okB := l.presentation(c.AudioB)
	if !okA || !okB {
		return p, match.Result{}, nil
	}
	if d := doseOf(second); d != nil {
		p.Treatment, p.Dose, p.DoseMetric, p.BitPerfect = d.Words, d.Value, doseMetrics[d.Quantity], nil
	}
	p.LevelErrorDB, p.OffsetErrorUS = preparedErrors(first, second)
	r, err := by.compare(ctx, first, second)
	if errors.Is(err, match.ErrUnrelated) {
		return p, match.Result{}, nil
	}
	if err != nil {
		return p, r, err
	}
	p.NullDB, p.ResponseMaxDB, p.LoudnessDifferenceLU = r.NullDB, r.ResponseMaxDB, r.LoudnessDifferenceLU
	p.Identical = r.Identical
	return p, r, nil
}

// doseAudio distinguishes the doses of a chain that is compared with itself.
func doseAudio(c trials.Comparison) string {
	if c.A == c.B {
		return c.AudioB
	}
	return ""
}

func (l *Linked) presentation(sha string) (Presentation, bool) {
	for _, e := range l.Excerpts {
		for _, p := range e.Presentations {
			if p.SHA256 == sha {
				return p, true
			}
		}
	}
	return Presentation{}, false
}
