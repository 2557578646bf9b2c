package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/playback/pcm"
)

// shiftedStudy makes a study of two chains of which the second delivers the words of the first 101 frames later.
func shiftedStudy(t *testing.T) (study string) {
	t.Helper()
	dir, study := emptyStudy(t)
	first := music(4)
	second := pcm.NewClip(first.Rate, len(first.Channels), first.Len())
	for c, ch := range first.Channels {
		copy(second.Channels[c][101:], ch)
	}
	for _, chain := range []struct {
		name string
		clip pcm.Clip
	}{{"left", first}, {"right", second}} {
		file := filepath.Join(dir, chain.name+".wav")
		_, err := writeClip(file, chain.clip, "")
		must(t, err)
		command(t, 0, "chain", "add", chain.name)
		command(t, 0, "capture", "add", chain.name, file, "--as", "music", "--music", "m")
	}
	return study
}

// Two chains that deliver the same words are a valid control: their excerpt is cut, as often as asked for, said to be
// identical, listened to, linked and reported as any other.
func TestChainsThatDeliverTheSameWordsAreAControl(t *testing.T) {
	study := shiftedStudy(t)
	command(t, 0, "prepare", "--excerpt", "1:2", "--name", "again")
	out, _ := command(t, 0, "prepare", "--excerpt", "1:2", "--name", "e", "--json")
	var p preparation
	must(t, json.Unmarshal([]byte(out), &p))
	two := p.Excerpts[0].Presentations
	if !two[1].Identical || two[0].Identical || two[0].SHA256 == two[1].SHA256 {
		t.Errorf("%+v", two)
	}
	if !strings.Contains(strings.Join(p.Warnings, "\n"), "captures 1 and 2 are identical sample by sample") {
		t.Errorf("%q", p.Warnings)
	}
	command(t, 0, "listener", "add", "L1")
	command(t, 0, "plan", "new", "--design", "abx", "--a", "left", "--b", "right", "--trials", "2", "--excerpt", "e")
	s := sit(t, study)
	for range 2 {
		s.line() // ready
		for _, label := range []string{"a", "b", "x"} {
			s.hear(label)
		}
		s.say("answer a", "asked")
		s.say("confirm", "saved")
	}
	s.end()
	command(t, 0, "verify")
	if out, _ = command(t, 0, "link", "--json"); !strings.Contains(out, `"name":"identical"`) {
		t.Errorf("link does not say that nothing differs:\n%s", out)
	}
	page := filepath.Join(t.TempDir(), "study.html")
	command(t, 0, "report", "--out", page)
	text, err := os.ReadFile(page)
	must(t, err)
	for _, want := range []string{"moved by whole samples", "what right delivered is identical"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

// One capture is too few: the chain and the music are named.
func TestPrepareNamesWhatIsTooFew(t *testing.T) {
	oneChain(t)
	_, errs := command(t, 3, "prepare", "--excerpt", "1:2")
	if want := `only chain "bus" has a capture of music "music": two or more are needed`; !strings.Contains(errs, want) {
		t.Errorf("%q, want %q", errs, want)
	}
}
