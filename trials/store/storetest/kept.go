package storetest

import (
	"context"
	"errors"
	"reflect"
	"testing"
	"time"

	"heardiff/trials/store"
)

// What is added is returned unchanged, in the order in which it was added.
func comesBack(t *testing.T, b Backend) {
	ctx, at := context.Background(), time.Date(2030, 1, 2, 3, 4, 5, 123456789, time.UTC)
	s := b.New(t, func() time.Time { return at })
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	cost, value := 40.5, -112.25
	chains := []store.Chain{{Name: "zeta", About: "a 'quoted' ü; --", Role: "source"}, {Name: "Alpha", Cost: &cost, Role: "floor", After: "zeta"}}
	for _, c := range chains {
		check(s.AddChain(ctx, c))
	}
	c := store.Capture{Chain: "zeta", Kind: "music", Music: "suite", Path: "audio/1.wav", SHA256: "11", RateHz: 192000, Channels: 2,
		Frames: 1 << 33, Bits: 24, Added: at}
	c, err := s.AddCapture(ctx, c)
	check(err)
	for _, result := range []string{`{"a":1}`, `{"a":2}`} { // the later takes the earlier's place
		check(s.SaveMeasurement(ctx, store.Measurement{Capture: c.ID, Kind: "tone", Result: []byte(result)}))
	}
	figures := []store.Entered{{Chain: "Alpha", Metric: "noise", Unit: "dB", Source: "by hand"}, {Chain: "zeta", Metric: "noise", Value: &value, Unit: "dB", Limit: &value}}
	check(s.Enter(ctx, figures))
	check(s.Enter(ctx, figures))
	e := store.Excerpt{Name: "opening", Music: "suite", StartS: 0.1, Seconds: 15, RateHz: 48000, Result: []byte(`{"null_db":null}`),
		Presentations: []store.Presentation{{Excerpt: "opening", Chain: "zeta", Path: "b", SHA256: "22", Result: []byte("{}")},
			{Excerpt: "opening", Chain: "zeta", Treatment: "level +1 dB", Dose: 1e-300, Path: "a", SHA256: "33", Result: []byte("{}")}}}
	check(s.SaveExcerpt(ctx, e))
	again, err := b.Open(ctx, s.Dir())
	check(err)
	defer again.Close()
	for _, tt := range []struct {
		what string
		got  func() (any, error)
		want any
	}{
		{"chains", func() (any, error) { return again.Chains(ctx) }, chains},
		{"captures", func() (any, error) { return again.Captures(ctx) }, []store.Capture{c}},
		{"measurements", func() (any, error) { return again.Measurements(ctx) }, []store.Measurement{{Capture: c.ID, Kind: "tone", Result: []byte(`{"a":2}`)}}},
		{"figures", func() (any, error) { return again.EnteredFigures(ctx) }, figures},
		{"excerpts", func() (any, error) { return again.Excerpts(ctx) }, []store.Excerpt{e}},
	} {
		if got, err := tt.got(); err != nil || !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: error %v\ngot  %+v\nwant %+v", tt.what, err, got, tt.want)
		}
	}
}

// Forgetting removes what a listener said, not what was answered, and no later bundle brings it back.
func forgotten(t *testing.T, b Backend) {
	ctx := context.Background()
	s := b.New(t, time.Now)
	m := bundle(t, 0, 2)
	if _, err := s.Merge(ctx, m); err != nil {
		t.Fatal(err)
	}
	who := m.Listeners[0].ID
	if err := s.ForgetListener(ctx, who); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Merge(ctx, m); err != nil {
		t.Fatal(err)
	}
	got, err := s.Listener(ctx, who)
	if err != nil {
		t.Fatal(err)
	}
	if want := (store.Listener{ID: who, Simulated: true, Added: got.Added}); got != want {
		t.Errorf("left over: %+v", got)
	}
	if sessions, err := s.Sessions(ctx); err != nil || len(sessions) != len(m.Sessions) {
		t.Errorf("%d sessions, error %v", len(sessions), err)
	}
	if err := s.ForgetListener(ctx, "nobody"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("error %v, want ErrNotFound", err)
	}
}
