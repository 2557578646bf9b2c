package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"heardiff/measure"
	"heardiff/measure/jitter/jittertest"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/stats/warning"
)

func jitterCapture(randomPs float64, seed uint64, lines ...jittertest.Sine) jittertest.Capture {
	return jittertest.Capture{Rate: 48000, Seconds: 5, CarrierHz: 12000.1, Amplitude: 0.5, NoiseDBFS: -125, Seed: seed,
		RandomPs: randomPs, RandomLowHz: 10, RandomHighHz: 9600, Jitter: lines}
}

// saveWAV writes 24-bit words.
func saveWAV(t *testing.T, path string, clip pcm.Clip) {
	t.Helper()
	w, err := wav.Create(path, pcm.Format{Rate: clip.Rate, Channels: len(clip.Channels), Bits: 24}, nil)
	must(t, err)
	must(t, w.Write(clip.Channels))
	must(t, w.Close())
}

// jitterFigures is the part of heardiff.jitter/1 that these tests read; null is nil.
type jitterFigures struct {
	Schema  string `json:"schema"`
	Channel []struct {
		RandomPs *float64                 `json:"random_ps_rms"`
		LimitPs  *float64                 `json:"random_limit_ps_rms"`
		AtFloor  bool                     `json:"random_at_floor"`
		Lines    []struct{ AtFloor bool } `json:"lines"`
		LinesPs  *float64                 `json:"deterministic_ps_rms"`
		LinesMax *float64                 `json:"deterministic_limit_ps_rms"`
		Spectrum []any                    `json:"spectrum"`
	} `json:"channel"`
	warning.Warnings
}

func TestJitterIsReadAgainstTheFloorAndDrawn(t *testing.T) {
	t.Chdir(t.TempDir())
	hum := jittertest.Sine{Hz: 100, Peak: 300e-12}
	saveWAV(t, "loop.wav", jittertest.Clip(jitterCapture(50, 1, hum), jitterCapture(50, 5, hum)))
	saveWAV(t, "near.wav", jittertest.Clip(jitterCapture(55, 2, hum), jitterCapture(55, 6, hum)))
	saveWAV(t, "far.wav", jittertest.Clip(jitterCapture(200, 3, hum, jittertest.Sine{Hz: 1000, Peak: 1e-9}), jitterCapture(200, 4)))

	var read jitterFigures
	out := decode(t, &read, "measure", "near.wav", "--as", "jitter", "--floor", "loop.wav", "--json")
	near := read.Channel[0]
	if near.RandomPs != nil || !near.AtFloor || *near.LimitPs < 55 || len(near.Lines) != 1 || near.LinesPs != nil || *near.LinesMax < 300/math.Sqrt2 {
		t.Errorf("a capture no worse than the recorder: %s", out)
	}
	var far jitterFigures
	out = decode(t, &far, "measure", "far.wav", "--as", "jitter", "--floor", "loop.wav", "--overlay", "near.wav", "--plot", "far.svg", "--json")
	if c := far.Channel[0]; far.Schema != "heardiff.jitter/1" || c.AtFloor || math.Abs(*c.RandomPs-200) > 6 || math.Abs(*c.LinesPs-707.1) > 8.2 || c.Spectrum != nil {
		t.Errorf("four times the recorder's jitter: %s", out)
	}
	svg, err := os.ReadFile("far.svg")
	must(t, err)
	for _, want := range []string{"<svg", "far.wav, channel 1", "far.wav, channel 2", "near.wav", "1000 Hz"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("the picture says nothing of %q", want)
		}
	}
	text, _ := command(t, 0, "measure", "far.wav", "--as", "jitter", "--plot", "far.png")
	picture, err := os.Open("far.png")
	must(t, err)
	defer picture.Close()
	if _, err := png.Decode(picture); err != nil || !strings.Contains(text, "wrote far.png") {
		t.Errorf("PNG: %v, output %q", err, text)
	}
}

// ref: ten times less is 20 dB.
func TestTransferOfTwoFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	saveWAV(t, "off.wav", jittertest.Clip(jitterCapture(400, 1, jittertest.Sine{Hz: 500, Peak: 10e-9})))
	saveWAV(t, "on.wav", jittertest.Clip(jitterCapture(40, 2, jittertest.Sine{Hz: 500, Peak: 1e-9})))
	var got struct {
		Channel []struct {
			Lines []struct {
				DB float64 `json:"attenuation_db"`
				SE float64 `json:"attenuation_se_db"`
			} `json:"lines"`
		} `json:"channel"`
	}
	decode(t, &got, "measure", "transfer", "off.wav", "on.wav", "--plot", "transfer.svg", "--json")
	if l := got.Channel[0].Lines; len(l) != 1 || math.Abs(l[0].DB-20) > 3.5*l[0].SE {
		t.Errorf("attenuation %+v, want 20 dB", l)
	}
	if _, err := os.Stat("transfer.svg"); err != nil {
		t.Error(err)
	}
	// The recording set-up alone shows as much as the second file: no more than a bound can be given.
	saveWAV(t, "floor.wav", jittertest.Clip(jitterCapture(40, 3, jittertest.Sine{Hz: 500, Peak: 1e-9})))
	text, _ := command(t, 0, "measure", "transfer", "off.wav", "on.wav", "--floor", "floor.wav")
	if !strings.Contains(text, "> 20") && !strings.Contains(text, "> 19.9") {
		t.Errorf("no bound of the line: %s", text)
	}
}

func TestWhatIsNoJitterCaptureIsRefused(t *testing.T) {
	t.Chdir(t.TempDir())
	short := jitterCapture(0, 1)
	short.Seconds = 0.1
	slow := jitterCapture(0, 1)
	slow.Rate, slow.CarrierHz = 96000, 24000
	low := jitterCapture(0, 1)
	low.CarrierHz = 997
	saveWAV(t, "tone.wav", jittertest.Clip(jitterCapture(0, 1)))
	saveWAV(t, "silent.wav", pcm.NewClip(48000, 2, 48000))
	saveWAV(t, "music.wav", music(2))
	saveWAV(t, "short.wav", jittertest.Clip(short))
	saveWAV(t, "other.wav", jittertest.Clip(slow))
	saveWAV(t, "low.wav", jittertest.Clip(low))
	saveWAV(t, "both.wav", jittertest.Clip(jitterCapture(0, 1), jitterCapture(0, 2)))
	must(t, os.WriteFile("eight.wav", eightBits(), 0o644))
	must(t, os.WriteFile("words.wav", []byte("this is no audio at all"), 0o644))
	for _, c := range []struct {
		code int
		want string // in what is said
		args string
	}{
		{3, "silent", "silent.wav --as jitter"},
		{3, "steady tone", "music.wav --as jitter"},
		{3, "too short", "short.wav --as jitter"},
		{3, "8-bit", "eight.wav --as jitter"},
		{3, "words.wav", "words.wav --as jitter"},
		{3, "gone.wav", "gone.wav --as jitter"},
		{3, "other.wav: a floor of 96000 Hz in 1 channel for tone.wav of 48000 Hz", "tone.wav --as jitter --floor other.wav"},
		{3, "tone.wav: a floor of 48000 Hz in 1 channel for both.wav of 48000 Hz in 2", "both.wav --as jitter --floor tone.wav"},
		{3, "the floor has a carrier", "tone.wav --as jitter --floor low.wav"},
		{3, "a carrier of 997.0 Hz over one of 12000.1 Hz", "tone.wav --as jitter --overlay low.wav --plot picture.svg"},
		{3, "an overlay of 48000 Hz in 2 channels", "tone.wav --as jitter --overlay both.wav --plot picture.svg"},
		{3, "leaves", "tone.wav --as jitter --band 10:11900"},
		{2, "Bits 20", "tone.wav --as jitter --bits 20"},
		{2, "LO:HI", "tone.wav --as jitter --band 10"},
		{2, ".svg or .png", "tone.wav --as jitter --plot picture.gif"},
		{2, "needs --plot", "tone.wav --as jitter --overlay tone.wav"},
		{3, "gone.wav", "tone.wav --as tone --overlay gone.wav --plot picture.svg"},
		{2, ".svg or .png", "transfer tone.wav tone.wav --plot picture"},
		{3, "silent", "transfer silent.wav tone.wav"},
		{3, "bands differ", "transfer tone.wav low.wav --plot picture.svg"},
		{3, "96000 Hz in 1 channel for tone.wav", "transfer tone.wav other.wav --plot picture.svg"},
		{3, "2 channels for tone.wav", "transfer tone.wav both.wav --plot picture.svg"},
		{3, "gone.wav", "tone.wav --as jitter --plot picture.svg --overlay gone.wav"},
	} {
		out, errs := command(t, c.code, append([]string{"measure"}, strings.Fields(c.args)...)...)
		if out != "" || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") > 2 {
			t.Errorf("measure %s: output %q, said %q, want one line with %q and perhaps a hint", c.args, out, errs, c.want)
		}
	}
	left, err := filepath.Glob("*picture*")
	must(t, err)
	if hidden, _ := filepath.Glob(".plot-*"); len(left)+len(hidden) > 0 {
		t.Errorf("%v %v are left of pictures never drawn", left, hidden)
	}
}

func TestPictureInAFolderThatIsNotThereIsNotLost(t *testing.T) {
	t.Chdir(t.TempDir())
	saveWAV(t, "tone.wav", jittertest.Clip(jitterCapture(0, 1)))
	_, errs := command(t, 3, "measure", "tone.wav", "--as", "jitter", "--plot", "nowhere/picture.svg")
	if !strings.Contains(errs, "nowhere") {
		t.Errorf("said %q", errs)
	}
	if _, err := os.Stat("nowhere"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder was made: %v", err)
	}
}

// What can be measured is, the rest is null and said.
func TestCaptureWithOneSilentChannelIsMeasured(t *testing.T) {
	t.Chdir(t.TempDir())
	tone := jittertest.Clip(jitterCapture(0, 1))
	tone.Channels = append(tone.Channels, make([]float64, tone.Len()))
	saveWAV(t, "half.wav", tone)
	var f jitterFigures
	out := decode(t, &f, "measure", "half.wav", "--as", "jitter", "--json")
	if len(f.Channel) != 2 || f.Channel[1].RandomPs != nil || f.Channel[1].LimitPs != nil || !slices.ContainsFunc(f.Details, func(w warning.Warning) bool { return w.Code == measure.NoSignal && w.Channel == 2 }) {
		t.Errorf("one channel silent: %s", out)
	}
}

// eightBits returns a mono file of unsigned bytes.
func eightBits() []byte {
	const frames = 48000
	le := binary.LittleEndian
	b := le.AppendUint32([]byte("RIFF"), 36+frames)
	b = le.AppendUint32(append(b, "WAVEfmt "...), 16)
	b = le.AppendUint16(le.AppendUint16(b, 1), 1)
	b = le.AppendUint32(le.AppendUint32(b, 48000), 48000)
	b = le.AppendUint16(le.AppendUint16(b, 1), 8)
	b = le.AppendUint32(append(b, "data"...), frames)
	for i := range frames {
		b = append(b, byte(128+60*(i%4-1)*((i+1)%2)))
	}
	return b
}
