package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"heardiff/playback/wav"
)

// clean writes a second of tone, 24 bits, and returns its path.
func clean(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(dir, "clean.wav")
	command(t, 0, "signal", "tone", "--rate", "48000", "--bits", "24", "--seconds", "1", "--out", path)
	return path
}

func TestTheSidecarSaysAllThatWasDone(t *testing.T) {
	dir := t.TempDir()
	in, out := clean(t, dir), filepath.Join(dir, "dose.wav")
	args := strings.Fields("--jitter random --jitter-ps 500 --jitter-band 20:5000 --jitter periodic --jitter-ps 40 --jitter-hz 60 " +
		"--noise-dbfs -100 --noise pink --hum-dbfs -90 --hum-hz 60 --hum-harmonics 2 --gain-db -3 --delay-samples 1.5 --drift-ppm 7 --seed 11")
	command(t, 0, append([]string{"impair", in, "--out", out}, args...)...)
	data, err := os.ReadFile(out + ".json")
	must(t, err)
	var s struct {
		Schema   string
		RateHz   int     `json:"rate_hz"`
		Frames   int     `json:"frames"`
		RMS      float64 `json:"jitter_rms_ps"`
		PeakDBFS float64 `json:"peak_dbfs"`
		Dose     struct {
			Jitter []map[string]any
			Noise  []map[string]any
			Hum    []map[string]any
			Gain   float64 `json:"gain_db"`
			Delay  float64 `json:"delay_samples"`
			Drift  float64 `json:"drift_ppm"`
			Seed   float64
		}
	}
	must(t, json.Unmarshal(data, &s))
	d := s.Dose
	if s.Schema != "heardiff.impair/1" || s.RateHz != 48000 || s.Frames != 48000 || d.Gain != -3 || d.Delay != 1.5 || d.Drift != 7 || d.Seed != 11 {
		t.Errorf("%s", data)
	}
	if len(d.Jitter) != 2 || d.Jitter[0]["kind"] != "random" || d.Jitter[0]["rms_ps"] != 500.0 || d.Jitter[0]["low_hz"] != 20.0 || d.Jitter[0]["high_hz"] != 5000.0 ||
		d.Jitter[1]["kind"] != "periodic" || d.Jitter[1]["rms_ps"] != 40.0 || d.Jitter[1]["frequency_hz"] != 60.0 {
		t.Errorf("jitter %v", d.Jitter)
	}
	if len(d.Noise) != 1 || d.Noise[0]["colour"] != "pink" || d.Noise[0]["dbfs"] != -100.0 || len(d.Hum) != 1 || d.Hum[0]["harmonics"] != 2.0 {
		t.Errorf("noise %v, hum %v", d.Noise, d.Hum)
	}
	if want := math.Hypot(500, 40); math.Abs(s.RMS/want-1) > 0.01 { // the two are independent but for chance
		t.Errorf("%v ps together, want %v", s.RMS, want)
	}

	again := filepath.Join(dir, "again.wav")
	command(t, 0, append([]string{"impair", in, "--out", again}, args...)...)
	one, _ := os.ReadFile(out)
	two, _ := os.ReadFile(again)
	if !bytes.Equal(one, two) {
		t.Error("the same seed made another file")
	}
}

func TestZeroDoseAndWordLengths(t *testing.T) {
	dir := t.TempDir()
	in := clean(t, dir)
	before := audioOf(t, in)
	// TPDF dither reaches one step, rounding half of one; words that fit need none.
	for bits, limit := range map[string]float64{"32": 0, "24": 0, "16": 2 * math.Ldexp(1, -15)} {
		out := filepath.Join(dir, bits+".wav")
		command(t, 0, "impair", in, "--out", out, "--bits", bits, "--jitter", "random", "--jitter-ps", "0")
		f, err := wav.Open(out)
		must(t, err)
		format := f.Format()
		must(t, f.Close())
		if bits == "32" != format.Float || bits != strconv.Itoa(format.Bits) {
			t.Errorf("--bits %s wrote %s", bits, format)
		}
		data, err := os.ReadFile(out + ".json")
		must(t, err)
		if dither := map[string]string{"32": "none", "24": "none", "16": "tpdf"}[bits]; !strings.Contains(string(data), `"bits":`+bits+`,"dither":"`+dither+`"`) {
			t.Errorf("--bits %s: the sidecar says %s", bits, data)
		}
		after := audioOf(t, out)
		for i, v := range before.Channels[0] {
			if math.Abs(after.Channels[0][i]-v) > limit {
				t.Fatalf("--bits %s, frame %d: %v became %v", bits, i, v, after.Channels[0][i])
			}
		}
	}
}

func TestAFailedImpairLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	in := clean(t, dir)
	data, err := os.ReadFile(in)
	must(t, err)
	bad := filepath.Join(dir, "bad.wav")
	nan := append([]byte(nil), data...)
	must(t, os.WriteFile(bad, nan[:len(nan)/2], 0o666))
	before := files(t, dir)
	for _, c := range []struct {
		code int
		args string
	}{
		{3, "impair " + bad + " --out " + dir + "/x.wav --gain-db -1"},
		{3, "impair " + in + " --out " + dir + "/x.wav --delay-samples 1e9"},
		{3, "impair " + in + " --out " + dir + "/x.wav --delay-samples -1e9"},
		{2, "impair " + in + " --out " + in + " --gain-db -1"},
		{2, "impair " + in + " --gain-db -1"},
		{2, "impair " + in + " --out " + dir + "/x.wav --bits 20"},
		{2, "impair " + in + " --out " + dir + "/x.wav --jitter random"},
		{2, "impair " + in + " --out " + dir + "/x.wav --jitter periodic --jitter-ps 5"},
		{2, "impair " + in + " --out " + dir + "/x.wav --jitter random --jitter-ps 5 --jitter-band 10:30000"},
		{2, "impair " + in + " --out " + dir + "/x.wav --gain-db NaN"},
		{2, "impair " + in + " --out " + dir + "/x.wav --hum-hz 60"},
		{2, "impair " + in + " --out " + dir + "/x.wav --hum-harmonics 2"},
		{2, "impair " + in + " --out " + dir + "/x.wav --noise pink"},
		{2, "impair " + in + " --out " + dir + "/x.wav --jitter periodic --jitter-ps 5 --jitter-hz 60 --jitter-band 10:300"},
		{3, "impair " + in + " --out " + dir + "/none/x.wav --gain-db -1"},
	} {
		if _, errs := command(t, c.code, strings.Fields(c.args)...); strings.Count(errs, "\n") > 2 || errs == "" || strings.Contains(errs, ".part") {
			t.Errorf("heardiff %s said %q", c.args, errs)
		}
		if after := files(t, dir); after != before {
			t.Errorf("heardiff %s left %s, want %s", c.args, after, before)
		}
	}
}
