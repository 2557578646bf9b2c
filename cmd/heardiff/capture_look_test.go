package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A signal that is filed as its own kind is accepted without a word; filed as any other kind of signal, with a warning.
func TestACaptureSaysWhatItHolds(t *testing.T) {
	dir, _ := emptyStudy(t)
	command(t, 0, "chain", "add", "box")
	for i, c := range []struct{ signal, holds, as, wrong string }{
		{"jitter", "a steady tone at 12000.0 Hz, −", "jitter", "tone"},
		{"tone", "a steady tone at 997.0 Hz, −2.9 dBFS", "tone", "jitter"},
		{"low-tone", "a steady tone at 997.0 Hz, −6", "low-tone", "noise"},
		{"silence", "silence or noise, −", "noise", "two-tone"},
		{"two-tone", "two tones at 18000.0 Hz and 20000.0 Hz", "two-tone", "sweep"},
		{"sweep", "a sweep, −", "sweep", "music"},
		{"level", "music, say", "music", "low-tone"},
	} {
		sent := filepath.Join(dir, c.signal+".wav")
		command(t, 0, "signal", c.signal, "--force", "--seconds", "4", "--channels", "1", "--out", sent)
		for k, as := range []string{c.as, c.wrong} {
			file := spoiled(t, sent, filepath.Join(dir, strings.Repeat("x", 2*i+k+1)+".wav"), 1e-5, 0)
			out, errs := command(t, 0, "capture", "add", "box", file, "--as", as)
			if !strings.Contains(out, c.holds) {
				t.Errorf("%s: %s", c.signal, out)
			}
			if warned := strings.Contains(errs, "does not look like "+as+" but like "+c.as); warned != (k == 1) {
				t.Errorf("%s filed as %s: %s", c.signal, as, errs)
			}
		}
	}
}
