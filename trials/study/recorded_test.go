package study

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/measure/match"
	"heardiff/measure/signal"
	"heardiff/playback/wav"
)

// preparedStudy is a study of two chains with an excerpt of both, its keys and cache in folders of the test.
func preparedStudy(t *testing.T) *Study {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	places := map[string]string{"HEARDIFF_KEYS": filepath.Join(dir, "keys"), "XDG_CACHE_HOME": filepath.Join(dir, "cache")}
	s, err := Create(ctx, filepath.Join(dir, "study"), About{Title: "invented for a test"}, &Host{Getenv: func(name string) string { return places[name] }})
	must(t, err)
	for i, chain := range []string{"left", "right"} {
		must(t, s.AddChain(ctx, Chain{Name: chain, Role: "source"}))
		clip, err := signal.Make(signal.Config{Kind: signal.Level, Rate: 48000, Bits: 24, Channels: 1, Seconds: 4, Seed: 1})
		must(t, err)
		for k := range clip.Channels[0] { // an amplitude error of its own
			clip.Channels[0][k] *= 1 - 1e-4*float64(i*(k%2))
		}
		file := filepath.Join(dir, chain+".wav")
		must(t, wav.Save(file, clip, ""))
		_, err = s.AddCapture(ctx, CaptureOptions{Chain: chain, Kind: Music.Name}, file)
		must(t, err)
	}
	_, err = s.Prepare(ctx, PrepareOptions{Excerpt: match.Excerpt{StartS: 1, LengthS: 2}, Name: "e"})
	must(t, err)
	return s
}

// A sparse file of a terabyte: reading it to the end would take longer than the test waits.
func TestHashingEndsWithItsContext(t *testing.T) {
	s := preparedStudy(t)
	defer s.Close()
	of := recordedFile{path: filepath.Join("audio", "hole.wav"), sum: strings.Repeat("0", 64)}
	hole := s.Path(of.path)
	must(t, os.WriteFile(hole, nil, 0o600))
	must(t, os.Truncate(hole, 1<<40))
	for name, work := range map[string]func(ctx context.Context) error{
		"verify, measure, prepare": func(ctx context.Context) error { _, err := s.checkRecorded(ctx, of); return err },
		"listen, link":             func(ctx context.Context) error { _, err := s.openRecorded(ctx, of); return err },
		"import":                   func(ctx context.Context) error { _, err := hashUntil(ctx, hole); return err },
	} {
		ctx, cancel := context.WithCancel(context.Background())
		time.AfterFunc(50*time.Millisecond, cancel)
		if err := work(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: error %v", name, err)
		}
		cancel()
	}
}
