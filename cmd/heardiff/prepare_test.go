package main

import (
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials/study"
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
		err := wav.Save(file, chain.clip, "")
		must(t, err)
		command(t, 0, "chain", "add", chain.name)
		command(t, 0, "capture", "add", chain.name, file, "--as", "music", "--music", "m")
	}
	return study
}

// Two chains that deliver the same words are a valid control: their excerpt is cut, as often as asked for, said to be
// identical, listened to, linked and reported like any other.
func TestChainsThatDeliverTheSameWordsAreAControl(t *testing.T) {
	folder := shiftedStudy(t)
	command(t, 0, "prepare", "--excerpt", "1:2", "--name", "again")
	var p study.Preparation
	decode(t, &p, "prepare", "--excerpt", "1:2", "--name", "e", "--json")
	two := p.Excerpts[0].Presentations
	if !two[1].Identical || two[0].Identical || two[0].SHA256 == two[1].SHA256 {
		t.Errorf("%+v", two)
	}
	if !p.Warned(match.Identical) || !strings.Contains(strings.Join(p.Texts, "\n"), "capture 1 (left) and capture 2 (right)") {
		t.Errorf("%q", p.Texts)
	}
	command(t, 0, "listener", "add", "L1")
	command(t, 0, "plan", "new", "--design", "abx", "--a", "left", "--b", "right", "--trials", "2", "--excerpt", "e")
	s := sit(t, folder)
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
	if out, _ := command(t, 0, "link", "--json"); !strings.Contains(out, `"name":"identical"`) {
		t.Errorf("link does not say that nothing differs:\n%s", out)
	}
	_, text := reported(t)
	for _, want := range []string{"moved by whole samples", "What right delivered is identical"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

// A message names a capture by its number in the study and its chain, whatever else the study holds: here left was recorded
// twice, and the last capture of right is of other music.
func TestMessagesNameCapturesAsTheStudyDoes(t *testing.T) {
	dir, _ := emptyStudy(t)
	m := music(4)
	soft, noise := m.Clone(), pcm.NewClip(m.Rate, len(m.Channels), m.Len())
	random := rand.New(rand.NewPCG(5, 1))
	for c, ch := range soft.Channels {
		for i := range ch {
			ch[i] /= 2
			noise.Channels[c][i] = 0.1 * random.NormFloat64()
		}
	}
	command(t, 0, "chain", "add", "left")
	command(t, 0, "chain", "add", "right")
	add := func(chain, name string, c pcm.Clip) {
		file := filepath.Join(dir, name+".wav")
		err := wav.Save(file, c, "")
		must(t, err)
		command(t, 0, "capture", "add", chain, file, "--as", "music", "--music", "m")
	}
	add("left", "soft", soft)
	add("left", "loud", m)
	later := pcm.NewClip(m.Rate, len(m.Channels), m.Len())
	for c, ch := range m.Channels {
		copy(later.Channels[c][101:], ch)
	}
	add("right", "later", later)
	out, _ := command(t, 0, "prepare", "--excerpt", "1:2", "--json")
	if want := "capture 2 (left) and capture 3 (right) are identical"; !strings.Contains(out, want) {
		t.Errorf("%s\nwant %q", out, want)
	}
	add("right", "noise", noise)
	for _, args := range [][]string{{"prepare", "--excerpt", "1:2"}, {"prepare", "--suggest", "1", "--length", "1"}} {
		_, errs := command(t, 3, args...)
		if want := "capture 4 (right): "; !strings.Contains(errs, want) || strings.Contains(errs, "order") {
			t.Errorf("%v: %q, want %q", args, errs, want)
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

// leadStudy makes a study of two chains whose captures begin with so many seconds of a recorder's noise.
func leadStudy(t *testing.T, lead float64) {
	t.Helper()
	dir, _ := emptyStudy(t)
	m := music(6)
	for i, chain := range []string{"left", "right"} {
		c := pcm.NewClip(m.Rate, len(m.Channels), int(lead*m.Rate.Hz())+m.Len())
		random := rand.New(rand.NewPCG(uint64(i), 1))
		for k, x := range c.Channels {
			copy(x[c.Len()-m.Len():], m.Channels[k])
			for j := range x {
				x[j] += 1e-5 * random.NormFloat64()
			}
		}
		file := filepath.Join(dir, chain+".wav")
		err := wav.Save(file, c, "")
		must(t, err)
		command(t, 0, "chain", "add", chain)
		command(t, 0, "capture", "add", chain, file, "--as", "music", "--music", "m")
	}
}

// Without --excerpt a lead-in of silence is not cut: prepare asks for a place, and names one.
func TestPrepareAsksRatherThanCutsSilence(t *testing.T) {
	leadStudy(t, 3.5)
	_, errs := command(t, exitUsage, "prepare")
	for _, want := range []string{"begins with 3.", "s of silence", "--excerpt 3."} {
		if !strings.Contains(errs, want) {
			t.Errorf("%q lacks %q", errs, want)
		}
	}
	out, _ := command(t, 0, "prepare", "--excerpt", "0:4", "--name", "asked") // whoever names it gets it
	if !strings.Contains(out, "gain applied (dB)") {
		t.Errorf("%s", out)
	}
	leadStudy(t, 0.5)
	command(t, 0, "prepare")
}

// What must be chosen is listed by name.
func TestAmbiguousExcerptsAreListed(t *testing.T) {
	shiftedStudy(t)
	for _, name := range []string{"one", "two"} {
		command(t, 0, "prepare", "--excerpt", "1:2", "--name", name)
	}
	for _, args := range [][]string{
		{"plan", "new", "--design", "abx", "--a", "left", "--b", "right", "--trials", "2"},
		{"prepare", "--ladder", "noise", "--from", "-80", "--to", "-60", "--steps", "2"},
	} {
		if _, errs := command(t, exitUsage, args...); !strings.Contains(errs, "(one, two)") {
			t.Errorf("%v: %q", args, errs)
		}
	}
}

// A stretch that the captures do not hold is refused with what they do hold, and what to ask for.
func TestAStretchBeyondTheEndIsRefused(t *testing.T) {
	mendingStudy(t)
	for _, place := range []string{"1:9", "7:1"} {
		if errs := refused(t, exitRejected, "prepare", "--excerpt", place); !strings.Contains(errs, "all hold 0.00 to 3.00 s") || !strings.Contains(errs, "--excerpt START:LENGTH") {
			t.Errorf("%s: said %q", place, errs)
		}
	}
}
