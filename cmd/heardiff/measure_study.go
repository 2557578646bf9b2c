package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"heardiff/cmd/heardiff/internal/wire"
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

// measureStudy measures every capture of the study that lacks a measurement, or all of them again. Captures that cannot be measured
// keep none of the others from it, and are named together at the end.
func (a *app) measureStudy(ctx context.Context, again bool, o measureOptions) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	m, err := newStudyMeter(ctx, a, s, o)
	if err != nil {
		return err
	}
	due := m.due(again)
	r := studyMeasured{Schema: "heardiff.measured/1", Warnings: m.late(due)}
	progress := a.progress("measuring")
	defer progress(1)
	for i, d := range due {
		one, err := m.capture(ctx, d)
		var f *failure
		switch {
		case err == nil:
			r.Measured = append(r.Measured, one)
		case errors.As(err, &f) && f.code == exitRejected:
			r.reject(m, d, err)
		default:
			return err
		}
		progress(float64(i+1) / float64(len(due)+1))
	}
	slices.SortStableFunc(r.Measured, func(x, y measuredCapture) int { return x.Capture - y.Capture })
	r.Warnings = append(r.Warnings, m.warnings...)
	if err := a.print(r, func(w io.Writer) { r.text(w) }); err != nil {
		return err
	}
	return r.failure(capturesOf(due))
}

// reject notes what could not be measured. Where a capture was measured as its own kind, that another cannot be measured from it
// is no more than a warning; where it was not, nothing more is to be said.
func (r *studyMeasured) reject(m *studyMeter, d due, err error) {
	m.withoutFloor(d)
	c := d.capture
	switch {
	case d.kind.from == "":
		r.Failed = append(r.Failed, failedCapture{c.ID, c.Chain, c.Kind, err.Error()})
	case m.results[of{c.ID, c.Kind}] != nil:
		m.warnings = append(m.warnings, fmt.Sprintf("capture %d (%s, %s) is not measured as %s: %v", c.ID, c.Chain, c.Kind, d.kind.name, err))
	}
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
	options  measureOptions
	captures []store.Capture
	floors   map[setting]int // the latest capture of each setting of a floor chain
	results  map[of][]byte   // stored
	isFloor  map[string]bool // chains
	warnings []string
}

// of is what was measured of a capture.
type of struct {
	capture int
	kind    string
}

// due is a measurement to be made.
type due struct {
	capture store.Capture
	kind    kind
}

// of names the measurement.
// capturesOf counts the captures of measurements: one may be measured as several kinds.
func capturesOf(list []due) int {
	seen := map[int]bool{}
	for _, d := range list {
		seen[d.capture.ID] = true
	}
	return len(seen)
}

func (d due) of() of { return of{d.capture.ID, d.kind.name} }

// setting is what a measurement and its floor must have in common.
type setting struct {
	kind             string
	rateHz, channels int
}

// setting returns that of the measurement.
func (d due) setting() setting { return setting{d.kind.name, d.capture.RateHz, d.capture.Channels} }

func newStudyMeter(ctx context.Context, a *app, s *store.Store, o measureOptions) (*studyMeter, error) {
	m := &studyMeter{app: a, store: s, options: o, floors: map[setting]int{}, results: map[of][]byte{}, isFloor: map[string]bool{}}
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
		if _, known := kindNamed(c.Kind); !known {
			m.warnings = append(m.warnings, fmt.Sprintf("capture %d (%s): no measurement of %q is known", c.ID, c.Chain, c.Kind))
		}
	}
	for _, d := range m.all() {
		if m.isFloor[d.capture.Chain] {
			m.floors[d.setting()] = max(m.floors[d.setting()], d.capture.ID)
		}
	}
	have, err := s.Measurements(ctx)
	if err != nil {
		return nil, err
	}
	for _, r := range have {
		m.results[of{r.Capture, r.Kind}] = r.Result
	}
	return m, nil
}

// all returns every measurement of the study's captures, made or not. Those of a sent file were made when the capture came.
func (m *studyMeter) all() []due {
	var all []due
	for _, c := range m.captures {
		for _, k := range measuredFrom(c.Kind) {
			all = append(all, due{c, k})
		}
	}
	return all
}

// due returns the measurements to be made, those of floor chains first: the others need them.
func (m *studyMeter) due(again bool) []due {
	var floors, others []due
	for _, d := range m.all() {
		switch {
		case m.results[d.of()] != nil && !again:
		case m.isFloor[d.capture.Chain]:
			floors = append(floors, d)
		default:
			others = append(others, d)
		}
	}
	return append(floors, others...)
}

// late returns a warning where a floor comes after captures that have been measured without it.
func (m *studyMeter) late(list []due) []string {
	var late []int
	for _, f := range list {
		if !m.isFloor[f.capture.Chain] || m.floors[f.setting()] != f.capture.ID {
			continue
		}
		for _, d := range m.all() {
			measured := m.results[d.of()] != nil && !slices.ContainsFunc(list, func(o due) bool { return o.of() == d.of() })
			if d.setting() == f.setting() && measured && !m.isFloor[d.capture.Chain] && !slices.Contains(late, d.capture.ID) {
				late = append(late, d.capture.ID)
			}
		}
	}
	if len(late) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%d captures were measured before the floor they are to be read against: \"heardiff measure --again\" measures them anew", len(late))}
}

// capture makes one measurement of a capture and keeps the result.
func (m *studyMeter) capture(ctx context.Context, d due) (measuredCapture, error) {
	c, measurement := d.capture, d.kind.measurement
	one := measuredCapture{Capture: c.ID, Chain: c.Chain, Kind: d.kind.name}
	f, err := m.app.openRecorded(ctx, m.store, recordedFile{c.Path, c.SHA256})
	if err != nil {
		return one, err
	}
	defer f.Close()
	one.Result, err = measurement.capture(interruptible(ctx, f), m.options)
	if ctx.Err() != nil {
		return one, ctx.Err()
	}
	if err != nil {
		return one, rejected(err, "")
	}
	if floor := m.floors[d.setting()]; floor == 0 {
		m.warnings = append(m.warnings, m.otherFloors(d)...)
	} else if !m.isFloor[c.Chain] {
		one.Floor = &floor
		limited, err := measurement.against(one.Result, m.results[of{floor, d.kind.name}])
		if err != nil {
			one.Floor = nil
			m.warnings = append(m.warnings, fmt.Sprintf("capture %d (%s, %s) has no limit from floor capture %d: %v", c.ID, c.Chain, d.kind.name, floor, err))
		} else {
			one.Result = limited
		}
	}
	one.Figures, one.Warnings = measurement.figuresOf(one.Result), measurement.warningsIn(one.Result)
	data, err := wire.Marshal(one.Result)
	if err != nil {
		return one, err
	}
	m.results[d.of()] = data
	return one, m.store.SaveMeasurement(ctx, store.Measurement{Capture: c.ID, Kind: d.kind.name, Result: data})
}

// withoutFloor reads captures against the latest floor of a setting that was measured, where f, the latest, cannot be.
func (m *studyMeter) withoutFloor(f due) {
	if m.floors[f.setting()] != f.capture.ID {
		return
	}
	delete(m.floors, f.setting())
	for _, d := range m.all() {
		if m.isFloor[d.capture.Chain] && d.setting() == f.setting() && m.results[d.of()] != nil {
			m.floors[f.setting()] = max(m.floors[f.setting()], d.capture.ID)
		}
	}
}

// otherFloors returns a warning where floors of a capture's kind were recorded, but none at its rate and in its channels: such a one
// sets it no limit.
func (m *studyMeter) otherFloors(d due) []string {
	c := d.capture
	for s := range m.floors {
		if s.kind == d.kind.name && d.kind.from == "" {
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
