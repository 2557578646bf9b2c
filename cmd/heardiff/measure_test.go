package main

import (
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"heardiff/playback/pcm"
)

var update = flag.Bool("update", false, "write the golden files of testdata anew")

// golden compares text with testdata/name.stdout.
func golden(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join("testdata", name+".stdout")
	if *update {
		must(t, os.MkdirAll("testdata", 0o755))
		must(t, os.WriteFile(path, []byte(text), 0o644))
	}
	want := contentOf(t, path)
	if text != want {
		t.Errorf("%s differs from %s; -update writes it anew\n%s", name, path, text)
	}
}

func newNoise(seed uint64) func() float64 { return rand.New(rand.NewPCG(seed, 3)).NormFloat64 }

// The noise is fixed, yet its figures may differ in the last digit from one processor to the next: lines that hold nothing
// but noise are left out of golden files.
var noiseOnly = regexp.MustCompile(`(?m)^ +\d +[2-9] +−1[3-9]\d.*\n`)

// Every signal goes through "signal", "inspect" and "measure", as WAV, with its floor; what is printed for people is
// compared with golden files, except for jitter.
func TestEverySignalIsWrittenInspectedAndMeasured(t *testing.T) {
	home, err := os.Getwd()
	must(t, err)
	dir := t.TempDir()
	for kind, as := range map[string]string{"tone": "tone", "low-tone": "low-tone", "silence": "noise", "two-tone": "two-tone", "sweep": "sweep", "jitter": "jitter"} {
		t.Run(kind, func(t *testing.T) {
			t.Chdir(dir)
			command(t, 0, "signal", kind, "--seconds", "4", "--out", kind+".wav")
			var i struct {
				Files []struct {
					Rate     int     `json:"rate_hz"`
					Bits     int     `json:"bits"`
					Channels int     `json:"channels"`
					Seconds  float64 `json:"seconds"`
					Channel  []struct {
						Clipped int `json:"clipped_samples"`
					} `json:"channel"`
				} `json:"files"`
			}
			decode(t, &i, "inspect", kind+".wav", "--json")
			if f := i.Files[0]; f.Rate != 48000 || f.Bits != 24 || f.Channels != 2 || f.Seconds != 4 || f.Channel[0].Clipped != 0 {
				t.Errorf("inspect: %+v", f)
			}
			text, _ := command(t, 0, "measure", kind+".wav", "--as", as)
			inspected, _ := command(t, 0, "inspect", kind+".wav")
			spoiled(t, kind+".wav", kind+"-floor.wav", 1e-6, 1e-6)
			limited, _ := command(t, 0, "measure", kind+".wav", "--as", as, "--floor", kind+"-floor.wav")
			if as != "jitter" && !strings.Contains(limited, "limit, dB") {
				t.Errorf("no limits in\n%s", limited)
			}
			if as == "jitter" { // no golden file holds its text
				return
			}
			t.Chdir(home)
			golden(t, "measure-"+kind, noiseOnly.ReplaceAllString(text, ""))
			golden(t, "inspect-"+kind, regexp.MustCompile(`sha256 .*`).ReplaceAllString(inspected, "sha256 …"))
		})
	}
}

// Every kind through its own command with the figures it must give: what was put in.
func TestMeasureFindsWhatWasPutIn(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "signal", "tone", "--seconds", "5", "--dither", "none", "--out", "s.wav")
	spoiled(t, "s.wav", "r.wav", 1e-5, 1e-3)
	var r struct {
		Schema  string `json:"schema"`
		Channel []struct {
			THD   float64 `json:"thd_db"`
			Noise float64 `json:"noise_db"`
			Level float64 `json:"level_dbfs"`
		} `json:"channel"`
	}
	decode(t, &r, "measure", "r.wav", "--as", "tone", "--json")
	a := pcm.Ratio(-1)
	// v + d·v² of a sine of amplitude a: second harmonic d·a/2 of it. Noise 1e-5 in 19 980 of 24 000 Hz.
	for name, f := range map[string][2]float64{
		"THD":   {r.Channel[0].THD, pcm.DB(1e-3 * a / 2)},
		"level": {r.Channel[0].Level, pcm.DB(0.8 * a)},
		"noise": {r.Channel[0].Noise, pcm.DB(1e-5 * math.Sqrt(19980.0/24000) * math.Sqrt2 / (0.8 * a))},
	} {
		if math.Abs(f[0]-f[1]) > 0.05 {
			t.Errorf("%s %.3f, want %.3f", name, f[0], f[1])
		}
	}
}

func TestPicturesAreDrawnForEveryKindOrNothingIsLeft(t *testing.T) {
	t.Chdir(t.TempDir())
	for kind, as := range map[string]string{"tone": "tone", "low-tone": "low-tone", "silence": "noise", "two-tone": "two-tone", "sweep": "sweep"} {
		command(t, 0, "signal", kind, "--seconds", "4", "--channels", "1", "--force", "--out", "s.wav")
		out, _ := command(t, 0, "measure", "s.wav", "--as", as, "--floor", "s.wav", "--overlay", "s.wav", "--plot", kind+".svg")
		if !strings.Contains(out, "wrote "+kind+".svg") {
			t.Errorf("%s: %s", kind, out)
		}
		data, err := os.ReadFile(kind + ".svg")
		must(t, err)
		if !strings.Contains(string(data), "<svg") || strings.Contains(string(data), "NaN") || strings.Contains(string(data), "Inf") {
			t.Errorf("%s: %.200s", kind, data)
		}
	}
	command(t, 0, "signal", "silence", "--seconds", "1", "--force", "--out", "s.wav")
	command(t, exitUsage, "measure", "s.wav", "--as", "tone", "--plot", "x.gif")
	command(t, exitRejected, "measure", "s.wav", "--as", "noise", "--plot", "nowhere/x.svg")
	command(t, exitRejected, "measure", "missing.wav", "--as", "tone", "--plot", "y.svg")
	left, err := filepath.Glob("*[xy].svg")
	must(t, err)
	hidden, err := filepath.Glob(".heardiff-*")
	must(t, err)
	if len(left)+len(hidden) > 0 {
		t.Errorf("left behind: %q %q", left, hidden)
	}
}

// wrongLines are command lines that must be refused, with their exit codes.
var wrongLines = map[string]int{
	"measure good.wav":                                exitUsage,
	"measure good.wav --as":                           exitUsage,
	"measure good.wav --as rhythm":                    exitUsage,
	"measure good.wav good.wav --as tone":             exitUsage,
	"measure good.wav --as tone --reference good.wav": exitUsage,
	"measure good.wav --as tone --plot x.bmp":         exitUsage,
	"measure good.wav --as two-tone":                  exitRejected,
	"measure good.wav --as low-tone":                  exitRejected,
	"measure good.wav --as noise":                     exitRejected,
	"measure good.wav --as sweep":                     exitRejected,
	"measure zeros.wav --as tone":                     exitRejected,
	"measure good.wav --as tone --floor zeros.wav":    exitRejected,
	"measure good.wav --as tone --floor none.wav":     exitRejected,
	"integrity good.wav":                              exitUsage,
	"integrity good.wav none.wav":                     exitRejected,
	"integrity zeros.wav good.wav":                    exitRejected,
	"inspect":                                         exitUsage,
	"signal song --out x.wav":                         exitUsage,
	"signal tone":                                     exitUsage,
	"signal tone --out x.wav --rate 7":                exitUsage,
	"signal tone --out x.wav --bits 8":                exitUsage,
	"signal tone --out x.wav --seconds 0":             exitUsage,
	"signal tone --out x.wav --seconds NaN":           exitUsage,
	"signal tone --out x.wav --dbfs 3":                exitUsage,
	"signal tone --out x.wav --channels 99":           exitUsage,
	"signal tone --out x.wav --channels 0":            exitUsage,
	"signal tone --out x.wav --dither pink":           exitUsage,
	"signal two-tone --out x.wav --pair middle":       exitUsage,
	"signal tone --out nowhere/x.wav":                 exitRejected,
}

func TestHelpNamesTheLevelThatEachSignalHas(t *testing.T) {
	t.Chdir(t.TempDir())
	help, _ := command(t, 0, "signal", "--help")
	for kind, want := range map[string]string{"tone": "−1", "low-tone": "−60", "two-tone": "−1", "sweep": "−6", "level": "−20"} {
		if !strings.Contains(help, " "+kind+" "+want) {
			t.Errorf("no %s at %s dBFS in\n%s", kind, want, help)
		}
		var note struct {
			Level float64 `json:"level_dbfs"`
		}
		decode(t, &note, "signal", kind, "--seconds", "4", "--force", "--out", "s.wav", "--json")
		if fmt.Sprintf("−%g", -note.Level) != want {
			t.Errorf("%s is written at %v dBFS, the help says %s", kind, note.Level, want)
		}
	}
}

func TestBadInputIsOneLineAndNothingStays(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "signal", "tone", "--seconds", "2", "--channels", "1", "--out", "good.wav")
	command(t, 0, "signal", "silence", "--seconds", "2", "--channels", "1", "--dither", "none", "--out", "zeros.wav")
	good, err := os.ReadFile("good.wav")
	must(t, err)
	eight := append([]byte(nil), good...)
	eight[bytes.Index(eight, []byte("fmt "))+8+14] = 8 // bits per sample
	nan := float32WAV(math.Float32bits(float32(math.NaN())))
	for name, data := range map[string][]byte{
		"empty.wav": {}, "head.wav": good[:30], "cut.wav": good[:len(good)/2], "eight.wav": eight, "nan.wav": nan, "text.wav": []byte("no audio at all, but some words"),
	} {
		must(t, os.WriteFile(name, data, 0o600))
	}
	must(t, os.Mkdir("folder.wav", 0o700))
	before, err := filepath.Glob("*")
	must(t, err)
	for line, want := range wrongLines {
		refused(t, want, strings.Fields(line)...)
	}
	for _, file := range []string{"missing.wav", "empty.wav", "head.wav", "cut.wav", "eight.wav", "nan.wav", "text.wav", "folder.wav"} {
		refused(t, exitRejected, "inspect", file)
		refused(t, exitRejected, "measure", file, "--as", "tone")
		refused(t, exitRejected, "measure", file, "--as", "noise")
		refused(t, exitRejected, "measure", file, "--as", "sweep")
		refused(t, exitRejected, "integrity", "good.wav", file)
		refused(t, exitRejected, "integrity", file, "good.wav")
	}
	after, err := filepath.Glob("*")
	must(t, err)
	if strings.Join(before, " ") != strings.Join(after, " ") {
		t.Errorf("left behind: %q, were %q", after, before)
	}
}

// A recorder that was interrupted leaves sizes that it never filled in.
func TestAnUnfinishedHeaderIsHintedAt(t *testing.T) {
	t.Chdir(t.TempDir())
	command(t, 0, "signal", "tone", "--seconds", "2", "--channels", "1", "--out", "good.wav")
	good, err := os.ReadFile("good.wav")
	must(t, err)
	size := bytes.Index(good, []byte("data")) + 4
	for _, stated := range []uint32{0, math.MaxUint32} {
		binary.LittleEndian.PutUint32(good[size:], stated)
		must(t, os.WriteFile("unfinished.wav", good, 0o600))
		if said := refused(t, exitRejected, "inspect", "unfinished.wav"); !strings.Contains(said, "never finished") || !strings.Contains(said, "hint: the recording was interrupted") {
			t.Errorf("size %d: %q", stated, said)
		}
	}
}

// refused runs a command line that must end with code want, one line of error and at most a hint, and print nothing else.
// It returns what was said.
func refused(t *testing.T, want int, args ...string) string {
	t.Helper()
	out, errs := command(t, want, args...)
	lines := strings.Split(strings.TrimSuffix(errs, "\n"), "\n")
	if out != "" || len(lines) > 2 || !strings.HasPrefix(lines[0], "heardiff: ") || len(lines) == 2 && !strings.HasPrefix(lines[1], "heardiff: hint: ") {
		t.Errorf("%q prints %q and %q", args, out, errs)
	}
	return errs
}

// float32WAV is a WAV file of a thousand 32-bit floats, one of which is as given.
func float32WAV(word uint32) []byte {
	le := func(v uint32, n int) []byte { return []byte{byte(v), byte(v >> 8), byte(v >> 16), byte(v >> 24)}[:n] }
	var data []byte
	for i := range 1000 {
		w := math.Float32bits(0.1)
		if i == 500 {
			w = word
		}
		data = append(data, le(w, 4)...)
	}
	b := append([]byte("RIFF"), le(uint32(36+len(data)), 4)...)
	b = append(b, "WAVEfmt "...)
	for _, f := range [][2]uint32{{16, 4}, {3, 2}, {1, 2}, {48000, 4}, {192000, 4}, {4, 2}, {32, 2}} {
		b = append(b, le(f[0], int(f[1]))...)
	}
	return append(append(append(b, "data"...), le(uint32(len(data)), 4)...), data...)
}
