package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/measure/match"
	"heardiff/trials/bundle"
	"heardiff/trials/study"
)

// Whatever reads a file, or computes for long, ends with 130 when it is interrupted, and leaves nothing.
func TestAnInterruptEndsEveryCommandOnFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "signal", "jitter", "--seconds", "4", "--out", "a.wav")
	must(t, os.WriteFile("dose.csv", []byte("dose,correct,trials\n1,5,10\n10,9,10\n"), 0o600))
	before := files(t, ".")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, line := range []string{
		"inspect a.wav", "measure a.wav --as jitter", "measure a.wav --as tone", "measure transfer a.wav a.wav", "compare a.wav a.wav",
		"integrity a.wav a.wav", "impair a.wav --out b.wav --gain-db -1", "signal tone --seconds 1 --out b.wav",
		"fit dose.csv --bootstrap 100000", "power --p-true 0.6 --listeners 12",
	} {
		var errs strings.Builder
		if code := run(ctx, strings.Fields(line), strings.NewReader(""), io.Discard, &errs); code != exitInterrupted || errs.String() != "heardiff: interrupted\n" {
			t.Errorf("heardiff %s: exit %d, %q", line, code, errs.String())
		}
		if after := files(t, "."); after != before {
			t.Errorf("heardiff %s left %s", line, after)
		}
	}
}

func TestAnInterruptEndsTheMatchingOfCaptures(t *testing.T) {
	listeningStudy(t, "abx", 3)
	s := openCurrent(t)
	defer s.Close()
	captures, err := s.Captures(context.Background())
	must(t, err)
	t.Setenv("XDG_CACHE_HOME", t.TempDir()) // an empty cache: the comparison is made, not remembered
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for name, work := range map[string]func() error{
		"prepare": func() error {
			_, err := s.Prepare(ctx, study.PrepareOptions{Excerpt: match.Excerpt{StartS: 1, LengthS: 2}})
			return err
		},
		"suggest": func() error {
			_, _, err := s.Suggest(ctx, "", match.SuggestConfig{Count: 1, LengthS: 1})
			return err
		},
		"link": func() error { _, err := s.Link(ctx); return err },
		"capture add": func() error {
			_, err := s.AddCapture(ctx, study.CaptureOptions{Chain: captures[0].Chain, Kind: "tone"}, s.Path(captures[0].Path))
			return err
		},
	} {
		if err := work(); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// Sparse files of a terabyte: a command that reads one to its end does not return before the test gives up.
func TestAnInterruptEndsHashingAndCopying(t *testing.T) {
	folder := listeningStudy(t, "abx", 3)
	out := filepath.Join(filepath.Dir(folder), "kit.bundle")
	command(t, 0, "export", "--kit", out, "--plan", "1")
	s := openCurrent(t)
	defer s.Close()
	hole := filepath.Join(folder, "audio", "hole.wav")
	must(t, os.WriteFile(hole, nil, 0o600))
	must(t, os.Truncate(hole, 1<<40))
	for name, work := range map[string]func(ctx context.Context) error{
		"inspect": func(ctx context.Context) error { _, _, err := fingerprint(ctx, hole); return err },
		"a bundle's audio": func(ctx context.Context) error {
			f, size, err := study.OpenWhole(ctx, out)
			must(t, err)
			defer f.Close()
			b, err := bundle.Read(f, size)
			must(t, err)
			<-ctx.Done()
			return b.Audio(io.Discard, b.AudioSums()[0])
		},
	} {
		ctx, cancel := context.WithCancel(context.Background())
		time.AfterFunc(50*time.Millisecond, cancel)
		if err := work(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: error %v", name, err)
		}
		cancel()
	}
	captures, err := s.Captures(context.Background())
	must(t, err)
	must(t, os.Truncate(s.Path(captures[0].Path), 1<<40))
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(200*time.Millisecond, cancel)
	var errs strings.Builder
	if code := run(ctx, []string{"verify"}, strings.NewReader(""), io.Discard, &errs); code != exitInterrupted || errs.String() != "heardiff: interrupted\n" {
		t.Errorf("verify: exit %d, %q", code, errs.String())
	}
}
