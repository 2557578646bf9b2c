package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/demo"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
)

// figuresDir holds what the commands printed of every case of savedCases; a change of the code that is not meant to change a
// measurement changes none of them. -update writes them anew, with -full all of them: read the diff before you commit it.
const figuresDir = "../../testdata/figures"

// everyCase is the distance between the cases that "make test" runs; all of them are saved.
const everyCase = 4

// savedCase is one command on files that it makes itself, in the test's working folder.
type savedCase struct {
	name string
	make func(t *testing.T)
	args []string
}

func TestFiguresAreThoseSaved(t *testing.T) {
	home, err := os.Getwd()
	must(t, err)
	for group, cases := range savedCases() {
		t.Run(group, func(t *testing.T) {
			got := map[string]any{}
			for i, c := range cases {
				if !*wide && i%everyCase != 0 {
					continue
				}
				t.Chdir(t.TempDir())
				c.make(t)
				out, _ := command(t, 0, append(c.args, "--json")...)
				if _, twice := got[c.name]; twice {
					t.Fatalf("two cases are called %s", c.name)
				}
				got[c.name] = figuresOf(t, out)
			}
			compareFigures(t, filepath.Join(home, figuresDir, group+".json"), got)
		})
	}
}

// savedDigits is how many digits are kept: one more than any text prints.
const savedDigits = 6

// longList is the length of the longest list of which all values are kept.
const longList = 40

// negligible is the size up to which a figure is nothing but rounding, whatever its unit.
const negligible = 1e-9

// figuresOf reads what a command printed, with numbers to savedDigits. Of warnings their number is kept, since their words may be
// improved; names of files and schemas are left out.
func figuresOf(t *testing.T, text string) any {
	t.Helper()
	var keep func(v any) any
	keep = func(v any) any {
		switch v := v.(type) {
		case json.Number:
			x, err := v.Float64()
			must(t, err)
			if math.Abs(x) < negligible {
				x = 0
			}
			return json.Number(strconv.FormatFloat(x, 'g', savedDigits, 64))
		case map[string]any:
			for _, k := range []string{"path", "schema", "warning_details", "a", "b"} {
				if _, isText := v[k].(string); isText || k == "warning_details" {
					delete(v, k)
				}
			}
			for k := range v {
				if list, ok := v[k].([]any); ok && k == "warnings" {
					v[k] = json.Number(strconv.Itoa(len(list)))
					continue
				}
				v[k] = keep(v[k])
			}
		case []any:
			for i := range v {
				v[i] = keep(v[i])
			}
			if len(v) > longList { // a spectrum, a response: every tenth value suffices
				v = slices.DeleteFunc(v, func() func(any) bool { i := -1; return func(any) bool { i++; return i%10 != 0 } }())
			}
			return v
		}
		return v
	}
	return keep(withNumbers(t, text))
}

// withNumbers decodes JSON and keeps each number as it is written.
func withNumbers(t *testing.T, text string) (v any) {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	must(t, d.Decode(&v))
	return v
}

func compareFigures(t *testing.T, path string, got map[string]any) {
	t.Helper()
	if *update {
		must(t, os.MkdirAll(filepath.Dir(path), 0o755))
		must(t, os.WriteFile(path, onePerLine(t, got), 0o644))
	}
	data := contentOf(t, path)
	want := withNumbers(t, data).(map[string]any)
	var differ []string
	for name := range got {
		compareValues(name, want[name], got[name], &differ)
	}
	if len(differ) > 0 {
		t.Errorf("%d figures differ from %s:\n%s", len(differ), filepath.Base(path), strings.Join(differ[:min(len(differ), 20)], "\n"))
	}
}

// onePerLine writes every case on a line of its own, so that a diff names the cases that changed.
func onePerLine(t *testing.T, cases map[string]any) []byte {
	t.Helper()
	lines := []string{}
	for _, name := range slices.Sorted(maps.Keys(cases)) {
		body, err := json.Marshal(cases[name])
		must(t, err)
		lines = append(lines, fmt.Sprintf("%q: %s", name, body))
	}
	return []byte("{\n" + strings.Join(lines, ",\n") + "\n}\n")
}

// compareValues adds to differ the places at which two values differ by more than a step of the last digit kept. Keys that were added
// since differ as well: -update takes them in.
func compareValues(at string, want, got any, differ *[]string) {
	say := func() { *differ = append(*differ, fmt.Sprintf("%s: %v, saved %v", at, got, want)) }
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			say()
			return
		}
		keys := maps.Clone(w)
		maps.Copy(keys, g)
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			_, inWant := w[k]
			_, inGot := g[k]
			if inWant != inGot {
				*differ = append(*differ, fmt.Sprintf("%s.%s: there now %t, saved %t", at, k, inGot, inWant))
				continue
			}
			compareValues(at+"."+k, w[k], g[k], differ)
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			say()
			return
		}
		for i := range w {
			compareValues(fmt.Sprintf("%s[%d]", at, i), w[i], g[i], differ)
		}
	case json.Number:
		g, ok := got.(json.Number)
		if !ok || !sameDigits(w, g) {
			say()
		}
	default:
		if want != got {
			say()
		}
	}
}

// sameDigits reports whether two numbers differ by a step of the last digit kept at most: rounding may fall on either side.
func sameDigits(a, b json.Number) bool {
	x, _ := a.Float64()
	y, _ := b.Float64()
	step := math.Pow(10, math.Floor(math.Log10(math.Max(math.Abs(x), math.Abs(y))))-savedDigits+1)
	return x == y || math.Abs(x-y) <= 1.001*step
}

// savedCases returns the cases by the file that keeps them: signals of "signal", doses of "impair", simulated clocks, and the
// demonstration's invented music.
func savedCases() map[string][]savedCase {
	played := pieces{}
	return map[string][]savedCase{
		"jitter":    slices.Concat(jitterLineCases(), jitterNoiseCases(), jitterFloorCases()),
		"tone":      toneCases(),
		"noise":     noiseCases(),
		"two-tone":  twoToneCases(),
		"sweep":     sweepCases(),
		"compare":   compareCases(played),
		"integrity": integrityCases(),
		"inspect":   inspectCases(played),
	}
}

// simulatedClock writes captures of a clock as capture.wav, a channel each.
func simulatedClock(channels ...jittertest.Capture) func(t *testing.T) {
	return func(t *testing.T) { saveWords(t, "capture.wav", jittertest.Clip(channels...)) }
}

func jitterLineCases() []savedCase {
	var list []savedCase
	for i, rate := range []pcm.Rate{44100, 48000, 96000, 192000} {
		for j, noise := range []float64{-95, -110, -130} {
			for k, offset := range []float64{0, 3.7e-6, -80e-6} {
				seed := uint64(100*i + 10*j + k)
				signal := min(48000, rate.Hz())
				if rate == 44100 {
					signal = 44100
				}
				c := jittertest.Capture{Rate: rate, Seconds: 4, CarrierHz: signal / 4 * (1 + offset), Amplitude: 0.6, NoiseDBFS: noise, Seed: seed,
					RandomPs: 30, RandomLowHz: 5, RandomHighHz: 11000,
					Jitter: []jittertest.Sine{{Hz: 50, Peak: 200e-12}, {Hz: 250, Peak: 40e-12, Phase: 1}, {Hz: 1000 + 7*float64(seed), Peak: 15e-12}},
					AM:     []jittertest.Sine{{Hz: 100, Peak: 1e-5}}, Added: []jittertest.Sine{{Hz: 50, Peak: 1e-5}, {Hz: 3333, Peak: 3e-6}}}
				name := fmt.Sprintf("lines at %d Hz, noise %g dBFS, clock %+g ppm", rate, noise, offset*1e6)
				list = append(list, savedCase{name, simulatedClock(c), []string{"measure", "capture.wav", "--as", "jitter"}})
			}
		}
	}
	return list
}

func jitterNoiseCases() []savedCase {
	var list []savedCase
	for i, random := range []float64{0, 10, 100, 3000} {
		for j, drift := range []float64{0, 0.5, 20} {
			base := jittertest.Capture{Rate: 48000, Seconds: 5, CarrierHz: 12000.013, Amplitude: 0.7, NoiseDBFS: -112, DriftPPM: drift, Seed: uint64(700 + 10*i + j),
				RandomPs: random, RandomLowHz: 10, RandomHighHz: 10000, Flicker: 2e-6 * float64(j), FlickerLowHz: 10, FlickerHighHz: 10000}
			second := base
			second.Seed += 1000
			second.Jitter = []jittertest.Sine{{Hz: 0.6, Peak: 2e-9}, {Hz: 17.5, Peak: 30e-12}, {Hz: 18.1, Peak: 25e-12}}
			name := fmt.Sprintf("random %g ps, drift %g ppm, a channel with close lines", random, drift)
			list = append(list, savedCase{name, simulatedClock(base, second), []string{"measure", "capture.wav", "--as", "jitter", "--spectrum"}})
		}
	}
	return list
}

func jitterFloorCases() []savedCase {
	var list []savedCase
	for i, floor := range []float64{3, 20, 60} {
		for j, of := range []float64{0, 25, 80} {
			seed := uint64(900 + 10*i + j)
			capture := func(random, line float64, seed uint64) pcm.Clip {
				return jittertest.Clip(jittertest.Capture{Rate: 96000, Seconds: 4, CarrierHz: 12000.07, Amplitude: 0.7, NoiseDBFS: -118, Seed: seed,
					RandomPs: random, RandomLowHz: 10, RandomHighHz: 10000, Jitter: []jittertest.Sine{{Hz: 2000, Peak: line}}})
			}
			list = append(list, savedCase{fmt.Sprintf("random %g ps over a floor of %g ps", of, floor), func(t *testing.T) {
				saveWords(t, "floor.wav", capture(floor, 4e-12, seed+500))
				saveWords(t, "capture.wav", capture(math.Hypot(floor, of), 20e-12, seed))
			}, []string{"measure", "capture.wav", "--as", "jitter", "--floor", "floor.wav"}})
		}
	}
	for _, hz := range []string{"300", "2500"} {
		list = append(list, savedCase{"attenuation from dose to dose at " + hz + " Hz", func(t *testing.T) {
			command(t, 0, "signal", "jitter", "--seconds", "4", "--out", "clean.wav")
			command(t, 0, "impair", "clean.wav", "--out", "before.wav", "--jitter", "periodic", "--jitter-ps", "4000", "--jitter-hz", hz, "--noise-dbfs", "-100")
			command(t, 0, "impair", "clean.wav", "--out", "after.wav", "--jitter", "periodic", "--jitter-ps", "500", "--jitter-hz", hz, "--noise-dbfs", "-100", "--seed", "2")
		}, []string{"measure", "transfer", "before.wav", "after.wav"}})
	}
	return list
}

// signalled writes a signal as clean.wav and a dose of it as capture.wav; bend·x² and bend·x³/2 are added to each sample.
func signalled(signal []string, bend float64, dose ...string) func(t *testing.T) {
	return func(t *testing.T) {
		command(t, 0, slices.Concat([]string{"signal"}, signal, []string{"--out", "clean.wav", "--force"})...)
		if bend != 0 {
			clip := audioOf(t, "clean.wav")
			for _, ch := range clip.Channels {
				for i, v := range ch {
					ch[i] = 0.8 * (v + bend*v*v + bend/2*v*v*v)
				}
			}
			saveWAV(t, "clean.wav", clip)
		}
		command(t, 0, slices.Concat([]string{"impair", "clean.wav", "--out", "capture.wav", "--bits", "24"}, dose)...)
	}
}

func toneCases() []savedCase {
	var list []savedCase
	for _, rate := range []string{"44100", "48000", "96000", "192000"} {
		for _, bend := range []float64{0, 1e-5, 1e-3} {
			for _, as := range []string{"tone", "low-tone"} {
				list = append(list, savedCase{fmt.Sprintf("%s at %s Hz, bent by %g, with hum", as, rate, bend),
					signalled([]string{as, "--rate", rate, "--seconds", "4"}, bend, "--noise-dbfs", "-105", "--hum-dbfs", "-100", "--hum-hz", "50", "--gain-db", "-2"),
					[]string{"measure", "capture.wav", "--as", as}})
			}
		}
	}
	for _, level := range []string{"-100", "-115"} {
		list = append(list, savedCase{"tone over a floor of " + level + " dBFS", func(t *testing.T) {
			signalled([]string{"tone", "--seconds", "4"}, 3e-5, "--noise-dbfs", level)(t)
			must(t, os.Rename("capture.wav", "floor.wav"))
			signalled([]string{"tone", "--seconds", "4"}, 1e-4, "--noise-dbfs", "-104", "--seed", "3")(t)
		}, []string{"measure", "capture.wav", "--as", "tone", "--floor", "floor.wav"}})
	}
	return list
}

func noiseCases() []savedCase {
	var list []savedCase
	for _, rate := range []string{"44100", "48000", "96000", "192000"} {
		for _, level := range []string{"-90", "-110"} {
			for _, colour := range []string{"white", "pink"} {
				list = append(list, savedCase{fmt.Sprintf("%s noise of %s dBFS at %s Hz", colour, level, rate),
					signalled([]string{"silence", "--rate", rate, "--seconds", "4"}, 0, "--noise-dbfs", level, "--noise", colour, "--hum-dbfs", "-105", "--hum-hz", "60"),
					[]string{"measure", "capture.wav", "--as", "noise"}})
			}
		}
	}
	return list
}

func twoToneCases() []savedCase {
	var list []savedCase
	for _, rate := range []string{"48000", "96000", "192000"} {
		for _, pair := range []string{"high", "low"} {
			for _, bend := range []float64{1e-4, 1e-2} {
				list = append(list, savedCase{fmt.Sprintf("%s pair at %s Hz, bent by %g", pair, rate, bend),
					signalled([]string{"two-tone", "--pair", pair, "--rate", rate, "--seconds", "4"}, bend, "--noise-dbfs", "-105"),
					[]string{"measure", "capture.wav", "--as", "two-tone"}})
			}
		}
	}
	return list
}

func sweepCases() []savedCase {
	var list []savedCase
	for _, rate := range []string{"44100", "48000", "96000"} {
		for _, bend := range []float64{0, 1e-4, 1e-2} {
			list = append(list, savedCase{fmt.Sprintf("sweep at %s Hz, bent by %g", rate, bend),
				signalled([]string{"sweep", "--rate", rate, "--seconds", "10"}, bend, "--noise-dbfs", "-100"),
				[]string{"measure", "capture.wav", "--as", "sweep"}})
		}
	}
	return list
}

// pieces holds twelve seconds of the demonstration's piece at each rate: playing it takes longer than comparing it.
type pieces map[pcm.Rate]pcm.Clip

// stretch returns some seconds of the piece, others for another seed.
func (p pieces) stretch(rate pcm.Rate, seconds float64, seed uint64) pcm.Clip {
	if _, played := p[rate]; !played {
		p[rate] = demo.Music(rate, 12, 3)
	}
	from := int(seed%8) * int(rate) / 4
	return p[rate].Slice(from, from+int(seconds*rate.Hz()))
}

// dosed writes invented music as a.wav and a dose of it as b.wav, which spoil then changes.
func (p pieces) dosed(rate pcm.Rate, seconds float64, seed uint64, spoil func(b pcm.Clip) pcm.Clip, dose ...string) func(t *testing.T) {
	return func(t *testing.T) {
		saveWords(t, "a.wav", p.stretch(rate, seconds, seed))
		command(t, 0, slices.Concat([]string{"impair", "a.wav", "--out", "b.wav", "--bits", "24"}, dose)...)
		if spoil != nil {
			saveWords(t, "b.wav", spoil(audioOf(t, "b.wav")))
		}
	}
}

func compareCases(p pieces) []savedCase {
	var list []savedCase
	add := func(name string, rate pcm.Rate, seed uint64, spoil func(pcm.Clip) pcm.Clip, dose ...string) {
		list = append(list, savedCase{name, p.dosed(rate, 8, seed, spoil, dose...), []string{"compare", "a.wav", "b.wav"}})
	}
	seed := uint64(1)
	for _, rate := range []pcm.Rate{44100, 48000, 96000} {
		for _, delay := range []string{"0", "0.3", "1234.3"} {
			for _, drift := range []string{"0", "7", "-60"} {
				seed++
				add(fmt.Sprintf("%d Hz, %s samples, %s ppm", rate, delay, drift), rate, seed, nil, "--delay-samples", delay, "--drift-ppm", drift, "--gain-db", "-1.5", "--noise-dbfs", "-95")
			}
		}
	}
	for _, noise := range []string{"-60", "-80", "-120"} {
		add("noise of "+noise+" dBFS", 48000, 40, nil, "--delay-samples", "31.7", "--noise-dbfs", noise)
	}
	faults := captureFaults()
	for _, name := range slices.Sorted(maps.Keys(faults)) {
		spoil := faults[name]
		add(name, 48000, 50, spoil, "--delay-samples", "77.7", "--noise-dbfs", "-100")
	}
	return list
}

// captureFaults returns what may have happened to a capture, by name.
func captureFaults() map[string]func(pcm.Clip) pcm.Clip {
	each := func(f func(ch []float64) []float64) func(pcm.Clip) pcm.Clip {
		return func(c pcm.Clip) pcm.Clip {
			out := pcm.Clip{Rate: c.Rate}
			for _, ch := range c.Channels {
				out.Channels = append(out.Channels, f(slices.Clone(ch)))
			}
			return out
		}
	}
	return map[string]func(pcm.Clip) pcm.Clip{
		"inverted": each(func(x []float64) []float64 { return scaled(x, -1) }),
		"clipped":  each(func(x []float64) []float64 { return limitedTo(x, 0.3) }),
		"channels exchanged": func(c pcm.Clip) pcm.Clip {
			return pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[1], c.Channels[0]}}
		},
		"one channel inverted": func(c pcm.Clip) pcm.Clip {
			return pcm.Clip{Rate: c.Rate, Channels: [][]float64{c.Channels[0], scaled(slices.Clone(c.Channels[1]), -1)}}
		},
		"collapsed to mono": func(c pcm.Clip) pcm.Clip {
			mono := slices.Clone(c.Channels[0])
			for i := range mono {
				mono[i] = (mono[i] + c.Channels[1][i]) / 2
			}
			return pcm.Clip{Rate: c.Rate, Channels: [][]float64{mono, slices.Clone(mono)}}
		},
		"48 frames lost":    each(func(x []float64) []float64 { return slices.Delete(x, 200000, 200048) }),
		"6000 frames lost":  each(func(x []float64) []float64 { return slices.Delete(x, 100000, 106000) }),
		"480 frames again":  each(func(x []float64) []float64 { return slices.Insert(x, 150000, x[149520:150000]...) }),
		"5 ms muted":        each(func(x []float64) []float64 { clear(x[90000:90240]); return x }),
		"louder from 4 s":   each(func(x []float64) []float64 { scaled(x[192000:], 1.02); return x }),
		"treble cut":        each(smoothed),
		"a second cut away": each(func(x []float64) []float64 { return x[48000:] }),
	}
}

func scaled(x []float64, by float64) []float64 {
	for i := range x {
		x[i] *= by
	}
	return x
}

func limitedTo(x []float64, most float64) []float64 {
	for i, v := range x {
		x[i] = max(-most, min(most, v))
	}
	return x
}

// smoothed is the mean of each sample and the one before: −3 dB at a quarter of the rate.
func smoothed(x []float64) []float64 {
	for i := len(x) - 1; i > 0; i-- {
		x[i] = (x[i] + x[i-1]) / 2
	}
	return x
}

func integrityCases() []savedCase {
	sent := []string{"signal", "integrity", "--seconds", "5", "--out", "sent.wav"}
	var list []savedCase
	add := func(name string, change func(pcm.Clip) pcm.Clip) {
		list = append(list, savedCase{name, func(t *testing.T) {
			command(t, 0, sent...)
			saveWords(t, "received.wav", change(audioOf(t, "sent.wav")))
		}, []string{"integrity", "sent.wav", "received.wav"}})
	}
	add("unchanged", func(c pcm.Clip) pcm.Clip { return c })
	for _, name := range []string{"inverted", "channels exchanged", "one channel inverted", "48 frames lost", "6000 frames lost", "480 frames again", "5 ms muted", "a second cut away"} {
		add(name, captureFaults()[name])
	}
	for _, dose := range [][]string{{"--gain-db", "-0.5"}, {"--gain-db", "-6.0206"}, {"--noise-dbfs", "-120"}, {"--drift-ppm", "30"}, {"--delay-samples", "0.5"}} {
		list = append(list, savedCase{"dose " + strings.Join(dose, " "), func(t *testing.T) {
			command(t, 0, sent...)
			command(t, 0, append([]string{"impair", "sent.wav", "--out", "received.wav", "--bits", "24"}, dose...)...)
		}, []string{"integrity", "sent.wav", "received.wav"}})
	}
	list = append(list, savedCase{"16 bits", func(t *testing.T) {
		command(t, 0, sent...)
		clip := audioOf(t, "sent.wav")
		for _, ch := range clip.Channels {
			for i, v := range ch {
				ch[i] = math.Floor(v*32768) / 32768
			}
		}
		saveWords(t, "received.wav", clip)
	}, []string{"integrity", "sent.wav", "received.wav"}})
	return list
}

func inspectCases(p pieces) []savedCase {
	var list []savedCase
	for i, rate := range []pcm.Rate{44100, 48000, 96000, 192000} {
		spoils := map[string]func(pcm.Clip) pcm.Clip{"music": nil, "clipped music": captureFaults()["clipped"], "music with a mute": captureFaults()["5 ms muted"]}
		for _, name := range slices.Sorted(maps.Keys(spoils)) {
			spoil := spoils[name]
			list = append(list, savedCase{fmt.Sprintf("%s at %d Hz", name, rate), p.dosed(rate, 4, uint64(60+i), spoil), []string{"inspect", "b.wav"}})
		}
	}
	return list
}
