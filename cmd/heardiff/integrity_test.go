package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// received is what a chain made of the words sent, and the cause to be named, "" where they are equal.
type received struct {
	clip  pcm.Clip
	cause string
}

// faults makes every cause on purpose.
func faults(sent pcm.Clip) map[string]received {
	each := func(change func(v float64) float64) pcm.Clip {
		c := sent.Clone()
		for _, x := range c.Channels {
			for i, v := range x {
				x[i] = change(v)
			}
		}
		return c
	}
	cut := func(from, to int) pcm.Clip { // without frames from to to
		c := pcm.NewClip(sent.Rate, 2, 0)
		for k, x := range sent.Channels {
			c.Channels[k] = append(append([]float64(nil), x[:from]...), x[to:]...)
		}
		return c
	}
	delayed := func(frames int) pcm.Clip {
		c := pcm.NewClip(sent.Rate, 2, frames)
		for k, x := range sent.Channels {
			c.Channels[k] = append(c.Channels[k], x...)
		}
		return c
	}
	twice := sent.Clone()
	for _, x := range twice.Channels {
		copy(x[50_000:51_000], x[49_000:50_000])
	}
	quieterMuted := each(func(v float64) float64 { return 0.5012 * v })
	for _, x := range quieterMuted.Channels {
		clear(x[50_000:51_000])
	}
	oneMuted := sent.Clone()
	clear(oneMuted.Channels[1][50_000:51_000])
	return map[string]received{
		"gain-dropout": {quieterMuted, "gain"},
		"one-channel":  {oneMuted, "dropout"},
		"equal":        {sent, ""},
		"begun-late":   {cut(0, 333), ""},
		"late":         {delayed(333), ""},
		"gain":         {each(func(v float64) float64 { return 0.5012 * v }), "gain"},
		"truncation":   {each(func(v float64) float64 { return math.Floor(v*32768) / 32768 }), "truncation"},
		"polarity":     {each(func(v float64) float64 { return max(-v, -1+math.Ldexp(1, -23)) }), "polarity"},
		"channel-swap": {pcm.Clip{Rate: sent.Rate, Channels: [][]float64{sent.Channels[1], sent.Channels[0]}}, "channel-swap"},
		"dropout":      {cut(50_000, 51_000), "dropout"},
		"repeat":       {twice, "repeat"},
		"dither":       {dithered(sent), "dither"},
	}
}

// Every cause through the command, with what it prints for people and the exit code: a difference is a result, not a failure.
func TestIntegrityNamesTheCause(t *testing.T) {
	home, err := os.Getwd()
	must(t, err)
	dir := t.TempDir()
	t.Chdir(dir)
	command(t, 0, "signal", "integrity", "--seconds", "3", "--out", "sent.wav")
	offsets := map[string]int{"late": 333, "begun-late": -333} // as in compare: positive where what was received is later
	for name, c := range faults(audioOf(t, "sent.wav")) {
		saveWords(t, name+".wav", c.clip)
		var r struct {
			Schema  string  `json:"schema"`
			Perfect bool    `json:"bit_perfect"`
			Cause   *string `json:"cause"`
			Offset  int     `json:"offset_samples"`
		}
		out := decode(t, &r, "integrity", "sent.wav", name+".wav", "--json")
		cause := ""
		if r.Cause != nil {
			cause = *r.Cause
		}
		if cause != c.cause || r.Perfect != (c.cause == "") || r.Offset != offsets[name] {
			t.Errorf("%s: %s", name, out)
		}
		text, _ := command(t, 0, "integrity", "sent.wav", name+".wav")
		t.Chdir(home)
		golden(t, "integrity-"+name, text)
		t.Chdir(dir)
	}
}

// dithered returns c with triangular dither of one step of 24 bits, in words.
func dithered(c pcm.Clip) pcm.Clip {
	d, q := c.Clone(), pcm.NewQuantizer(24, 5)
	for _, x := range d.Channels {
		for i, v := range x {
			w, _ := q.Word(v)
			x[i] = q.Value(w)
		}
	}
	return d
}

// saveWords writes 24-bit words as they are.
func saveWords(t *testing.T, path string, c pcm.Clip) {
	t.Helper()
	w, err := wav.Create(path, pcm.Format{Rate: c.Rate, Channels: len(c.Channels), Bits: 24}, pcm.NewPlainQuantizer(24))
	must(t, err)
	must(t, w.Write(c.Channels))
	must(t, w.Close())
}

// A FLAC file is measured as a WAV file with the same words is, by all commands that take files.
func TestFLACIsReadLikeWAV(t *testing.T) {
	flac, err := filepath.Abs("../../testdata/audio/noise24.flac")
	must(t, err)
	t.Chdir(t.TempDir())
	clip := audioOf(t, flac)
	saveWords(t, "same.wav", clip)
	out, _ := command(t, 0, "integrity", flac, "same.wav")
	if !strings.HasPrefix(out, "bit-perfect") {
		t.Error(out)
	}
	var files struct {
		Files []map[string]any `json:"files"`
	}
	decode(t, &files, "inspect", flac, "same.wav", "--json")
	for _, f := range files.Files {
		delete(f, "path")
		delete(f, "sha256")
		delete(f, "format")
	}
	if a, b := files.Files[0], files.Files[1]; !reflect.DeepEqual(a, b) {
		t.Errorf("inspect: %v and %v", a, b)
	}
}

// What the decoding library says of itself is nothing for the user.
func TestFLACAtARareRateIsReadInSilence(t *testing.T) {
	var said bytes.Buffer
	cmd := process("inspect", "../../testdata/audio/tone24k.flac")
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil || strings.Contains(said.String(), "library") {
		t.Errorf("%v: %s", err, said.String())
	}
}
