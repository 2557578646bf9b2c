package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/jitter"
	"heardiff/trials/store"
)

// studyMeasured is what "measure" prints in a study.
type studyMeasured struct {
	Schema   string            `json:"schema"`
	Measured []measuredCapture `json:"measured"`
	Failed   []failedCapture   `json:"failed"`
	Warnings []string          `json:"warnings"`
}

// failedCapture is a capture that does not hold what its kind says.
type failedCapture struct {
	Capture int    `json:"capture"`
	Chain   string `json:"chain"`
	Kind    string `json:"kind"`
	Why     string `json:"why"`
}

type measuredCapture struct {
	Capture int    `json:"capture"`
	Chain   string `json:"chain"`
	Kind    string `json:"kind"`
	Floor   *int   `json:"floor"` // the capture of the recording set-up it is read against
	Result  any    `json:"result"`
	// For people: the main figures, and what the result warns of.
	Figures  string   `json:"-"`
	Warnings []string `json:"-"`
}

// measureStudy measures every capture of the study that has no measurement yet, or all of them again; those of the jitter signal
// as cfg says. Captures that cannot be measured keep none of the others from it, and are named together at the end.
func (a *app) measureStudy(ctx context.Context, again bool, cfg jitter.Config) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	m, err := newStudyMeter(ctx, a, s, cfg)
	if err != nil {
		return err
	}
	due := m.due(again)
	r := studyMeasured{Schema: "heardiff.measured/1", Warnings: m.late(due)}
	progress := a.progress("measuring")
	defer progress(1)
	for i, c := range due {
		one, err := m.capture(ctx, c)
		var f *failure
		switch {
		case err == nil:
			r.Measured = append(r.Measured, one)
		case errors.As(err, &f) && f.code == exitRejected:
			r.Failed = append(r.Failed, failedCapture{c.ID, c.Chain, c.Kind, err.Error()})
			m.withoutFloor(c)
		default:
			return err
		}
		progress(float64(i+1) / float64(len(due)+1))
	}
	slices.SortFunc(r.Measured, func(x, y measuredCapture) int { return x.Capture - y.Capture })
	r.Warnings = append(r.Warnings, m.warnings...)
	if err := a.print(r, func(w io.Writer) { r.text(w) }); err != nil {
		return err
	}
	return r.failure(len(due))
}

// failure names the captures that could not be measured, nil where all were.
func (r studyMeasured) failure(of int) error {
	if len(r.Failed) == 0 {
		return nil
	}
	var says []string
	for _, f := range r.Failed {
		says = append(says, fmt.Sprintf("capture %d (%s, %s): %s", f.Capture, f.Chain, f.Kind, f.Why))
	}
	return rejected(fmt.Errorf("%d of %d captures could not be measured: %s", len(r.Failed), of, strings.Join(says, "; ")),
		fmt.Sprintf("is each the signal that was played? \"heardiff capture refile %d --as KIND\" files it anew, \"heardiff capture remove %d\" takes it out", r.Failed[0].Capture, r.Failed[0].Capture))
}

// studyMeter measures captures of a study against the recording set-up's own.
type studyMeter struct {
	app      *app
	store    *store.Store
	kinds    map[string]studyKind
	captures []store.Capture
	floors   map[setting]int // the latest capture of each setting of a floor chain
	results  map[int][]byte  // stored, by capture
	isFloor  map[string]bool // chains
	warnings []string
}

// setting is what a capture and its floor must have in common.
type setting struct {
	kind             string
	rateHz, channels int
}

func settingOf(c store.Capture) setting { return setting{c.Kind, c.RateHz, c.Channels} }

func newStudyMeter(ctx context.Context, a *app, s *store.Store, cfg jitter.Config) (*studyMeter, error) {
	m := &studyMeter{app: a, store: s, kinds: studyKinds(cfg), floors: map[setting]int{}, results: map[int][]byte{}, isFloor: map[string]bool{}}
	chains, err := s.Chains(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range chains {
		m.isFloor[c.Name] = c.Role == "floor"
	}
	if m.captures, err = s.Captures(ctx); err != nil {
		return nil, err
	}
	for _, c := range m.captures {
		if m.isFloor[c.Chain] {
			m.floors[settingOf(c)] = max(m.floors[settingOf(c)], c.ID)
		}
	}
	have, err := s.Measurements(ctx)
	if err != nil {
		return nil, err
	}
	for _, r := range have {
		m.results[r.Capture] = r.Result
	}
	return m, nil
}

// due returns the captures of test signals to be measured, those of floor chains first: the others need them.
func (m *studyMeter) due(again bool) []store.Capture {
	var floors, others []store.Capture
	for _, c := range m.captures {
		_, done := m.results[c.ID]
		// Integrity was told when the capture came, beside the file that was sent.
		if c.Kind == "music" || c.Kind == "integrity" || done && !again {
			continue
		}
		if m.isFloor[c.Chain] {
			floors = append(floors, c)
		} else {
			others = append(others, c)
		}
	}
	return append(floors, others...)
}

// late returns a warning where a floor comes after captures that have been measured without it.
func (m *studyMeter) late(due []store.Capture) []string {
	count := 0
	for _, f := range due {
		if !m.isFloor[f.Chain] || m.floors[settingOf(f)] != f.ID {
			continue
		}
		for _, c := range m.captures {
			measured := m.results[c.ID] != nil && !slices.ContainsFunc(due, func(d store.Capture) bool { return d.ID == c.ID })
			if settingOf(c) == settingOf(f) && measured && !m.isFloor[c.Chain] {
				count++
			}
		}
	}
	if count == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%d captures were measured before the floor they are to be read against: \"heardiff measure --again\" measures them anew", count)}
}

// capture measures one capture and keeps the result.
func (m *studyMeter) capture(ctx context.Context, c store.Capture) (measuredCapture, error) {
	one := measuredCapture{Capture: c.ID, Chain: c.Chain, Kind: c.Kind}
	kind, ok := m.kinds[c.Kind]
	if !ok {
		return one, fmt.Errorf("capture %d: no measurement of %q is known", c.ID, c.Kind)
	}
	f, err := m.app.openRecorded(ctx, m.store, recordedFile{c.Path, c.SHA256})
	if err != nil {
		return one, err
	}
	defer f.Close()
	one.Result, err = kind.measure(interruptible(ctx, f))
	if ctx.Err() != nil {
		return one, ctx.Err()
	}
	if err != nil {
		return one, rejected(err, "")
	}
	if floor := m.floors[settingOf(c)]; floor == 0 {
		m.warnings = append(m.warnings, m.otherFloors(c)...)
	} else if !m.isFloor[c.Chain] {
		one.Floor = &floor
		limited, err := kind.against(one.Result, m.results[floor])
		if err != nil {
			one.Floor = nil
			m.warnings = append(m.warnings, fmt.Sprintf("capture %d (%s, %s) has no limit from floor capture %d: %v", c.ID, c.Chain, c.Kind, floor, err))
		} else {
			one.Result = limited
		}
	}
	one.Figures, one.Warnings = kind.words(one.Result), kind.warnings(one.Result)
	data, err := wire.Marshal(one.Result)
	if err != nil {
		return one, err
	}
	m.results[c.ID] = data
	return one, m.store.SaveMeasurement(ctx, store.Measurement{Capture: c.ID, Kind: c.Kind, Result: data})
}

// withoutFloor reads captures against the latest floor of a setting that was measured, where c, the latest, cannot be.
func (m *studyMeter) withoutFloor(c store.Capture) {
	if m.floors[settingOf(c)] != c.ID {
		return
	}
	delete(m.floors, settingOf(c))
	for _, other := range m.captures {
		if m.isFloor[other.Chain] && settingOf(other) == settingOf(c) && m.results[other.ID] != nil {
			m.floors[settingOf(c)] = max(m.floors[settingOf(c)], other.ID)
		}
	}
}

// otherFloors returns a warning where floors of a capture's kind were recorded, but none at its rate and in its channels: such a one
// sets it no limit.
func (m *studyMeter) otherFloors(c store.Capture) []string {
	for s := range m.floors {
		if s.kind == c.Kind {
			return []string{fmt.Sprintf("capture %d (%s, %s) has no limit: no floor of this kind was recorded at its %d Hz and in as many channels (%d); record one",
				c.ID, c.Chain, c.Kind, c.RateHz, c.Channels)}
		}
	}
	return nil
}

func (r studyMeasured) text(w io.Writer) {
	if len(r.Measured)+len(r.Failed) == 0 {
		fmt.Fprintln(w, "nothing new to measure; --again measures all once more")
		return
	}
	t := newTable("capture", "chain", "kind", "channel 1")
	t.right(0)
	for _, m := range r.Measured {
		t.row(fmt.Sprint(m.Capture), m.Chain, m.Kind, m.Figures)
	}
	t.print(w, "")
	warningsText(w, append(r.ofCaptures(), r.Warnings...))
}

// ofCaptures returns what the captures' own results warn of.
func (r studyMeasured) ofCaptures() []string {
	var said captureWarnings
	for _, m := range r.Measured {
		said.add(m.Capture, m.Chain, m.Warnings)
	}
	return said.list()
}

// captureWarnings gathers what results of captures warn of, each warning once.
type captureWarnings struct {
	order []string
	of    map[string][]string
}

func (w *captureWarnings) add(capture int, chain string, warnings []string) {
	if w.of == nil {
		w.of = map[string][]string{}
	}
	for _, text := range warnings {
		if len(w.of[text]) == 0 {
			w.order = append(w.order, text)
		}
		w.of[text] = append(w.of[text], fmt.Sprintf("%d (%s)", capture, chain))
	}
}

// list returns the warnings, with the captures that each is said of.
func (w *captureWarnings) list() []string {
	out := make([]string, len(w.order))
	for i, text := range w.order {
		out[i] = fmt.Sprintf("capture %s: %s", strings.Join(w.of[text], ", "), text)
	}
	return out
}
