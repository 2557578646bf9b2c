package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A file that cannot be read does not keep the others from being inspected, and is named at the end.
func TestInspectGoesOnAfterABadFile(t *testing.T) {
	dir := t.TempDir()
	good, bad := filepath.Join(dir, "good.wav"), filepath.Join(dir, "bad.wav")
	command(t, 0, "signal", "silence", "--rate", "48000", "--bits", "16", "--seconds", "0.5", "--out", good)
	must(t, os.WriteFile(bad, []byte("no audio"), 0o600))
	out, errs := command(t, 3, "inspect", bad, good, filepath.Join(dir, "none.wav"), "--json")
	var r struct {
		Files  []struct{ Path string }
		Failed []struct{ Path, Error string }
	}
	must(t, json.Unmarshal([]byte(out), &r))
	if len(r.Files) != 1 || r.Files[0].Path != good || len(r.Failed) != 2 || r.Failed[0].Path != bad || !strings.Contains(r.Failed[0].Error, "neither a WAV nor a FLAC") {
		t.Errorf("%+v", r)
	}
	if strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "2 of 3 files could not be inspected: ") || !strings.Contains(errs, "none.wav") {
		t.Errorf("%q", errs)
	}
	if out, _ = command(t, 3, "inspect", bad, good); !strings.Contains(out, good+": wav, 48000 Hz") {
		t.Errorf("%q", out)
	}
}
