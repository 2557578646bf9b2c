package study

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials"
)

// MeasureReport is what Measure returns.
type MeasureReport struct {
	Schema   string            `json:"schema"`
	Measured []MeasuredCapture `json:"measured"`
	Failed   []FailedCapture   `json:"failed"`
	warning.Warnings
	// Late counts the captures that were measured before the floor that they are to be read against; they are read against it once they are
	// measured again.
	Late int `json:"-"`

	unmeasured error
}

// The codes of a MeasureReport's own warnings, with measure.NoFloor, whose Value is the number of the capture.
const (
	LateFloor     warning.Code = "late-floor"      // Value is how many captures were measured before their floor came
	UnknownKind   warning.Code = "unknown-kind"    // Value is the number of the capture: no measurement of its kind is known
	NotMeasuredAs warning.Code = "not-measured-as" // Value is the number of the capture: it was not measured as another kind too
)

// FailedCapture is a capture that does not hold what its kind says.
type FailedCapture struct {
	Capture int    `json:"capture"`
	Chain   string `json:"chain"`
	Kind    string `json:"kind"`
	Why     string `json:"why"`
}

// MeasuredCapture is a capture that was measured.
type MeasuredCapture struct {
	Capture int    `json:"capture"`
	Chain   string `json:"chain"`
	Kind    string `json:"kind"`
	Floor   *int   `json:"floor"` // the capture of the recording set-up against which it is read
	Result  any    `json:"result"`
	// Warnings are the warnings in the result.
	Warnings warning.Warnings `json:"-"`
}

// Measure measures every capture that lacks a measurement, or, with again, all of them. A capture that cannot be measured does not stop the
// others, see Unmeasured.
func (s *Study) Measure(ctx context.Context, again bool, o MeasureOptions) (MeasureReport, error) {
	r := MeasureReport{Schema: "heardiff.measured/1"}
	m, err := newStudyMeter(ctx, s, o)
	if err != nil {
		return r, err
	}
	due := m.due(again)
	if r.Late = m.late(due); r.Late > 0 {
		r.Warn(warning.Newf(LateFloor, "a floor came after %s had been measured: only a new measurement is read against it", trials.Counted(r.Late, "capture")).Of(float64(r.Late), ""))
	}
	progress := s.progress("measuring")
	defer progress(1)
	for i, d := range due {
		one, err := m.capture(ctx, d)
		fault, known := FaultOf(err)
		switch {
		case err == nil:
			r.Measured = append(r.Measured, one)
		case known && fault.Blame == Rejection:
			r.reject(m, d, err)
		default:
			return r, err
		}
		progress(float64(i+1) / float64(len(due)+1))
	}
	slices.SortStableFunc(r.Measured, func(x, y MeasuredCapture) int { return x.Capture - y.Capture })
	r.Warn(m.warnings...)
	r.unmeasured = r.failure(capturesOf(due))
	return r, nil
}

// Unmeasured is an error that names the captures that could not be measured, nil where all were.
func (r MeasureReport) Unmeasured() error { return r.unmeasured }

// reject notes what could not be measured. If a capture was measured as its own kind, a further kind that cannot be measured from it is
// only worth a warning; if it was not, its own failure says everything.
func (r *MeasureReport) reject(m *studyMeter, d due, err error) {
	m.withoutFloor(d)
	c := d.capture
	switch {
	case d.kind.From == "":
		r.Failed = append(r.Failed, FailedCapture{c.ID, c.Chain, c.Kind, err.Error()})
	case m.results[of{c.ID, c.Kind}] != nil:
		m.warn(NotMeasuredAs, c.ID, "capture %d (%s, %s) is not measured as %s: %v", c.ID, c.Chain, c.Kind, d.kind.Name, err)
	}
}

// failure names the captures that could not be measured, nil where all were.
func (r MeasureReport) failure(of int) error {
	if len(r.Failed) == 0 {
		return nil
	}
	var says []string
	for _, f := range r.Failed {
		says = append(says, fmt.Sprintf("capture %d (%s, %s): %s", f.Capture, f.Chain, f.Kind, f.Why))
	}
	first := with(OptionCapture, r.Failed[0].Capture)
	return advised(Rejection, fmt.Errorf("%d of %s could not be measured: %s", len(r.Failed), trials.Counted(of, "capture"), strings.Join(says, "; ")),
		phrasef("is each the signal that was played? %v files it anew, %v removes it", call(ToRefileCapture, first, open(OptionKind)), call(ToRemoveCapture, first)))
}

// studyMeter measures captures of a study against the recording set-up's own.
type studyMeter struct {
	study    *Study
	options  MeasureOptions
	captures []Capture
	floors   map[setting]int // the latest capture of a floor chain for each setting
	results  map[of][]byte   // stored
	isFloor  map[string]bool // chains
	warnings []warning.Warning
}

// of identifies a measurement: which capture was measured, and as what.
type of struct {
	capture int
	kind    string
}

// due is a measurement to be made.
type due struct {
	capture Capture
	kind    Kind
}

// capturesOf counts the captures of measurements: one may be measured as several kinds.
func capturesOf(list []due) int {
	seen := map[int]bool{}
	for _, d := range list {
		seen[d.capture.ID] = true
	}
	return len(seen)
}

// of returns what identifies the measurement.
func (d due) of() of { return of{d.capture.ID, d.kind.Name} }

// setting is what a measurement and its floor must have in common.
type setting struct {
	kind             string
	rateHz, channels int
}

// setting returns what the measurement must have in common with its floor.
func (d due) setting() setting { return setting{d.kind.Name, d.capture.RateHz, d.capture.Channels} }

func newStudyMeter(ctx context.Context, s *Study, o MeasureOptions) (*studyMeter, error) {
	m := &studyMeter{study: s, options: o, floors: map[setting]int{}, results: map[of][]byte{}, isFloor: map[string]bool{}}
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
		if _, known := KindNamed(c.Kind); !known {
			m.warn(UnknownKind, c.ID, "capture %d (%s): no measurement of %q is known", c.ID, c.Chain, c.Kind)
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

// all returns every measurement of the study's captures, made or not. Comparisons with a sent file were made when the capture was added.
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

// late counts the captures that were measured without a floor which is only measured now.
func (m *studyMeter) late(list []due) int {
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
	return len(late)
}

// capture makes one measurement of a capture and keeps the result.
func (m *studyMeter) capture(ctx context.Context, d due) (MeasuredCapture, error) {
	c, measurement := d.capture, d.kind.Measurement
	one := MeasuredCapture{Capture: c.ID, Chain: c.Chain, Kind: d.kind.Name}
	f, err := m.study.openRecorded(ctx, recordedFile{path: c.Path, sum: c.SHA256})
	if err != nil {
		return one, err
	}
	defer f.Close()
	one.Result, err = measurement.Capture(pcm.Until(ctx, f, nil), m.options)
	if ctx.Err() != nil {
		return one, ctx.Err()
	}
	if err != nil {
		return one, Rejected(err, "")
	}
	if floor := m.floors[d.setting()]; floor == 0 {
		m.warnOfOtherFloors(d)
	} else if !m.isFloor[c.Chain] {
		one.Floor = &floor
		limited, err := measurement.Against(one.Result, m.results[of{floor, d.kind.Name}])
		if err != nil {
			one.Floor = nil
			m.warn(measure.NoFloor, c.ID, "capture %d (%s, %s) has no limit from floor capture %d: %v", c.ID, c.Chain, d.kind.Name, floor, err)
		} else {
			one.Result = limited
		}
	}
	one.Warnings = measurement.WarningsIn(one.Result)
	data, err := wire.Marshal(one.Result)
	if err != nil {
		return one, err
	}
	m.results[d.of()] = data
	return one, m.study.record.SaveMeasurement(ctx, Measurement{Capture: c.ID, Kind: d.kind.Name, Result: data})
}

// withoutFloor reads captures against the latest measured floor of a setting if f, the latest of all, cannot be measured.
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

// warnOfOtherFloors warns where floors of a capture's kind were recorded, but none at its rate and in its channels: such a floor sets no
// limit.
func (m *studyMeter) warnOfOtherFloors(d due) {
	c := d.capture
	for s := range m.floors {
		if s.kind == d.kind.Name && d.kind.From == "" {
			m.warn(measure.NoFloor, c.ID, "capture %d (%s, %s) has no limit: no floor of this kind was recorded at its %d Hz and in as many channels (%d); record one",
				c.ID, c.Chain, c.Kind, c.RateHz, c.Channels)
			return
		}
	}
}

// warn adds a warning about a capture.
func (m *studyMeter) warn(code warning.Code, capture int, format string, args ...any) {
	m.warnings = append(m.warnings, warning.Newf(code, format, args...).Of(float64(capture), ""))
}
