package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/trials/study"
)

// filedCapture is what the tests read of a capture.
type filedCapture struct {
	ID     int       `json:"id"`
	Chain  string    `json:"chain"`
	Kind   string    `json:"kind"`
	SHA256 string    `json:"sha256"`
	Added  time.Time `json:"added"`
}

func filed(t *testing.T) []filedCapture {
	t.Helper()
	var s struct {
		Captures []filedCapture `json:"captures"`
	}
	decode(t, &s, "study", "show", "--json")
	return s.Captures
}

// misfiledStudy holds silence filed as the jitter signal (capture 1), a tone filed as what it is (2) and silence filed as a sweep (3).
func misfiledStudy(t *testing.T) (dir, study string) {
	t.Helper()
	dir, study = emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	command(t, 0, "capture", "add", "box", throughChain(t, dir, "silence", "first.wav", 3e-5, 0), "--as", "jitter")
	command(t, 0, "capture", "add", "box", throughChain(t, dir, "tone", "second.wav", 2e-5, 1e-3), "--as", "tone")
	command(t, 0, "capture", "add", "box", throughChain(t, dir, "silence", "third.wav", 1e-5, 0), "--as", "sweep")
	return dir, study
}

func TestOneBadCaptureStopsNoOther(t *testing.T) {
	_, study := misfiledStudy(t)
	_, errs := command(t, 3, "measure")
	for _, part := range []string{"2 of 3 captures", "capture 1 (box, jitter)", "capture 3 (box, sweep)", "refile"} {
		if !strings.Contains(errs, part) {
			t.Errorf("said %q, want %q in it", errs, part)
		}
	}
	if m := measureStored(t, study); len(m) != 1 || m[0].Capture != 2 {
		t.Errorf("measurements kept: %+v", m)
	}
	// What could not be measured is due again; nothing else is.
	if _, errs := command(t, 3, "measure"); !strings.Contains(errs, "2 of 2 captures") {
		t.Errorf("the second time: %q", errs)
	}
}

func TestAMisfiledCaptureIsMended(t *testing.T) {
	_, study := misfiledStudy(t)
	command(t, 3, "measure")
	command(t, 0, "capture", "refile", "1", "--as", "silence", "--why", "the wrong button")
	path := filepath.Join(study, "audio", "captures")
	before, err := os.ReadDir(path)
	must(t, err)
	command(t, 0, "capture", "remove", "3")
	after, err := os.ReadDir(path)
	must(t, err)
	if len(after) != len(before)-1 {
		t.Errorf("%d files before a capture was removed, %d after", len(before), len(after))
	}
	out, _ := command(t, 0, "measure")
	if !strings.Contains(out, "A-weighted") {
		t.Errorf("measured after mending: %s", out)
	}
	all := filed(t)
	if len(all) != 2 || all[0].Kind != "noise" {
		t.Errorf("captures now: %+v", all)
	}
	command(t, 0, "verify")
	// A number that was given once is never given again.
	command(t, 0, "capture", "add", "box", throughChain(t, t.TempDir(), "sweep", "fourth.wav", 1e-5, 0), "--as", "sweep")
	if all = filed(t); all[2].ID != 4 {
		t.Errorf("the capture after a removed third is number %d", all[2].ID)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"capture", "remove", "9"}, 3, "not in the study"},
		{[]string{"capture", "remove", "one"}, 2, "number"},
		{[]string{"capture", "refile", "2"}, 2, "--as"},
		{[]string{"capture", "refile", "2", "--as", "tone", "--music", "suite"}, 2, "--music"},
		{[]string{"capture", "refile", "2", "--as", "integrity"}, 3, "sent"},
	} {
		if errs := refused(t, c.code, c.args...); !strings.Contains(errs, c.says) {
			t.Errorf("%v: said %q, want %q in it", c.args, errs, c.says)
		}
	}
}

// measureStored returns the measurements that the study holds.
func measureStored(t *testing.T, folder string) []study.Measurement {
	t.Helper()
	s := openIn(t, folder)
	defer s.Close()
	all, err := s.Measurements(t.Context())
	must(t, err)
	return all
}

func TestMusicThatWasCutStays(t *testing.T) {
	dir, _ := emptyStudy(t)
	a, b := twoCaptures(t, dir)
	for chain, file := range map[string]string{"direct": a, "isolator": b} {
		command(t, 0, "chain", "add", chain)
		command(t, 0, "capture", "add", chain, file, "--as", "music")
	}
	command(t, 0, "prepare", "--excerpt", "0.5:2")
	if errs := refused(t, 3, "capture", "remove", "1"); !strings.Contains(errs, "excerpt") {
		t.Errorf("said %q", errs)
	}
	if errs := refused(t, 3, "capture", "refile", "2", "--as", "tone"); !strings.Contains(errs, "excerpt") {
		t.Errorf("said %q", errs)
	}
}

// One recording filed for two chains is a control, and the time of a capture is the one at which it was added.
func TestOneRecordingForTwoChains(t *testing.T) {
	dir, _ := emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	command(t, 0, "chain", "add", "copy")
	file := throughChain(t, dir, "tone", "box.wav", 1e-5, 1e-3)
	out, _ := command(t, 0, "capture", "add", "box", file, "--as", "tone", "--json")
	if strings.Contains(out, "0001-01-01") {
		t.Errorf("a time in the year 1: %s", out)
	}
	_, errs := command(t, 0, "capture", "add", "copy", file, "--as", "tone")
	if !strings.Contains(errs, "control") {
		t.Errorf("said %q of a copy", errs)
	}
	if refused(t, 3, "capture", "add", "copy", file, "--as", "tone"); len(filed(t)) != 2 {
		t.Errorf("captures: %+v", filed(t))
	}
	if m := measureAll(t); len(m.Measured) != 2 {
		t.Errorf("%d measured", len(m.Measured))
	}
	command(t, 0, "verify")
	// Removing one leaves the other's file.
	command(t, 0, "capture", "remove", "1")
	if m := measureAll(t, "--again"); len(m.Measured) != 1 {
		t.Errorf("%d measured again", len(m.Measured))
	}
}
