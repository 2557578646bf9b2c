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

	"heardiff/playback/pcm"
)

// twoCaptures writes the same synthetic music as two captures, 24 bits, B delayed, drifting, quieter and upside down.
func twoCaptures(t *testing.T, dir string) (a, b string) {
	t.Helper()
	a, b = filepath.Join(dir, "direct.wav"), filepath.Join(dir, "isolator.wav")
	saveWords(t, a, music(4))
	command(t, 0, "impair", a, "--out", b, "--bits", "24", "--delay-samples", "123.4", "--drift-ppm", "20", "--gain-db", "-1.5", "--noise-dbfs", "-90")
	return a, b
}

// rounded writes JSON anew, indented, with numbers to two significant digits, so that only what a person would call a
// change differs from a golden file.
func rounded(t *testing.T, text string) string {
	t.Helper()
	var round func(v any) any
	round = func(v any) any {
		switch v := v.(type) {
		case json.Number:
			x, _ := v.Float64()
			if math.Abs(x) < 5e-4 {
				x = 0
			}
			return json.Number(strconv.FormatFloat(x, 'g', 2, 64))
		case map[string]any:
			for k := range v {
				if v[k] = round(v[k]); strings.Contains(k, "share") || k == "level_slope" {
					v[k] = "…" // chance decides their digits
				}
			}
		case []any:
			for i := range v {
				v[i] = round(v[i])
			}
		}
		return v
	}
	out, err := json.MarshalIndent(round(withNumbers(t, text)), "", " ")
	must(t, err)
	return string(out) + "\n"
}

func TestCompareSaysHowTwoCapturesDiffer(t *testing.T) {
	dir := t.TempDir()
	a, b := twoCaptures(t, dir)
	text, _ := command(t, 0, "compare", a, b, "--json")
	golden(t, "compare", rounded(t, text))
	text, _ = command(t, 0, "compare", a, b)
	for _, want := range []string{"123.4", "+20.0", "−1.5", "noise", "octave from Hz"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

func files(t *testing.T, dir string) string {
	t.Helper()
	all, err := os.ReadDir(dir)
	must(t, err)
	var names []string
	for _, e := range all {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

func TestCompareWritesBothFilesOrNone(t *testing.T) {
	dir := t.TempDir()
	a, b := twoCaptures(t, dir)
	pair := filepath.Join(dir, "new", "pair")
	var said struct {
		Written writtenPair `json:"written"`
	}
	decode(t, &said, "compare", a, b, "--out", pair, "--json")
	const four = "a.wav b.wav residual-louder.wav residual.wav"
	if got := files(t, pair); got != four || files(t, filepath.Dir(pair)) != "pair" {
		t.Fatalf("%s in the folder, %s beside it", got, files(t, filepath.Dir(pair)))
	}
	checkPair(t, pair, said.Written)

	// An existing file is kept, and is replaced with --force.
	before, err := os.ReadFile(filepath.Join(pair, "b.wav"))
	must(t, err)
	if _, errs := command(t, 2, "compare", a, a, "--out", pair); !strings.Contains(errs, "already") || !strings.Contains(errs, "--force") {
		t.Errorf("said %q", errs)
	}
	if after, _ := os.ReadFile(filepath.Join(pair, "b.wav")); !bytes.Equal(before, after) {
		t.Error("a refused run changed b.wav")
	}
	command(t, 0, "compare", a, a, "--out", pair, "--overwrite")
	if after, _ := os.ReadFile(filepath.Join(pair, "b.wav")); bytes.Equal(before, after) || files(t, pair) != four {
		t.Errorf("not replaced, or %s left", files(t, pair))
	}
	command(t, 2, "compare", a, b, "--overwrite")
	command(t, 2, "compare", a, b, "--out", a)
}

// checkPair subtracts b from a, sample by sample, and demands the residual, and the louder residual at the gain that was said.
func checkPair(t *testing.T, dir string, said writtenPair) {
	t.Helper()
	var clips [4]pcm.Clip
	for i, name := range pairNames {
		clips[i] = audioOf(t, filepath.Join(dir, name))
	}
	gain, peak := pcm.Ratio(said.AudibleGainDB), 0.0
	for i, v := range clips[0].Channels[0] {
		r := clips[2].Channels[0][i]
		peak = max(peak, math.Abs(r))
		if math.Abs(v-clips[1].Channels[0][i]-r) > 1e-7 || math.Abs(r*gain-clips[3].Channels[0][i]) > 1e-6 {
			t.Fatalf("frame %d: a %v, b %v, residual %v, louder %v", i, v, clips[1].Channels[0][i], r, clips[3].Channels[0][i])
		}
	}
	if peak == 0 || said.AudibleGainDB < 10 || peak > pcm.Ratio(said.ResidualPeakDB)*1.0001 {
		t.Errorf("peak %v, %+v", peak, said)
	}
}

// A pair that cannot be put in place leaves what was there.
func TestAPairThatCannotBePlacedLeavesWhatWasThere(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	for _, d := range []string{from, to} {
		must(t, os.Mkdir(d, 0o777))
	}
	for _, path := range []string{filepath.Join(from, "a.wav"), filepath.Join(from, "b.wav")} { // and no residual
		must(t, os.WriteFile(path, []byte("new"), 0o666))
	}
	must(t, os.WriteFile(filepath.Join(to, "b.wav"), []byte("RIFF....WAVE, the old one"), 0o666))
	d, err := (&app{force: true}).pairDestination(to)
	must(t, err)
	if err := d.putInPlace(from); err == nil {
		t.Fatal("no error")
	}
	if b, err := os.ReadFile(filepath.Join(to, "b.wav")); err != nil || !strings.HasSuffix(string(b), "the old one") || files(t, to) != "b.wav" {
		t.Errorf("b.wav is %q, %v; %s are there", b, err, files(t, to))
	}
}
