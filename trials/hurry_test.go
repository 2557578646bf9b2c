package trials

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// timedSession runs a session of n trials at 48 kHz in which each label of each trial sounds for the given number of frames.
func timedSession(t *testing.T, p Plan, seed Seed, frames ...int) (*Session, *memory) {
	t.Helper()
	s, m := begin(t, p, seed)
	for s.View().Phase != Done {
		for i, l := range p.Design.Labels() {
			s.Heard(l, frames[i])
		}
		s.Ran(96000, 48000)
		if err := s.Ask(p.Design.Answers()[0], 0); err != nil {
			t.Fatal(err)
		}
		if err := s.Confirm(); err != nil {
			t.Fatal(err)
		}
	}
	return s, m
}

func TestWhatSoundedTooShortlyIsHurried(t *testing.T) {
	for _, c := range []struct {
		name   string
		design Design
		least  float64
		frames []int
		want   bool
	}{
		{"25 ms of each", ABX, 0.5, []int{1200, 1200, 1200}, true},
		{"half a second of X and of one reference", ABX, 0.5, []int{0, 24000, 24000}, false},
		{"a frame of X too few", ABX, 0.5, []int{24000, 24000, 23999}, true},
		{"X long, both references a frame too short", ABX, 0.5, []int{23999, 23999, 48000}, true},
		{"the second of a pair too short", SameDifferent, 0.5, []int{48000, 23999}, true},
		{"both of a pair", SameDifferent, 0.5, []int{24000, 24000}, false},
		{"the third of a triangle too short", Triangle, 0.5, []int{48000, 48000, 23999}, true},
		{"all of a triangle", Triangle, 0.5, []int{24000, 24000, 24000}, false},
		{"the first of two intervals too short", TwoInterval, 0.5, []int{23999, 48000}, true},
		{"a plan that asks for nothing", ABX, 0, []int{0, 1, 1}, false},
		{"a least time that is no whole number of frames", SameDifferent, 0.50001, []int{24000, 24000}, true},
	} {
		p := testPlan(c.design, 4)
		p.LeastSeconds = c.least
		s, m := timedSession(t, p, Seed{4}, c.frames...)
		r, err := s.Result(m.entries)
		if err != nil {
			t.Fatal(err)
		}
		want := 0
		if c.want {
			want = 4
		}
		if r.Hurried != want || r.Trials[0].Hurried != c.want {
			t.Errorf("%s: %d of 4 hurried, the first %v", c.name, r.Hurried, r.Trials[0].Hurried)
		}
		for i, l := range c.design.Labels() {
			if got := r.Trials[0].HeardS[l]; got != float64(c.frames[i])/48000 {
				t.Errorf("%s: %s sounded for %v s", c.name, l, got)
			}
		}
		if *r.Trials[0].AnswerS != 2 {
			t.Errorf("%s: answered after %v s of the sample clock, want 2", c.name, *r.Trials[0].AnswerS)
		}
		if kept, err := r.Summary().Result("s1", p); err != nil || kept.Hurried != want {
			t.Errorf("%s: the summary keeps %d, %v", c.name, kept.Hurried, err)
		}
	}
}

// The listener is warned before the answer is confirmed, and can go on listening.
func TestAHurriedAnswerIsSaidBeforeItIsConfirmed(t *testing.T) {
	p := testPlan(ABX, 2)
	p.LeastSeconds = LeastSeconds
	s, _ := begin(t, p, Seed{1})
	s.Ran(0, 48000)
	s.Heard(LabelX, 100)
	s.Heard(LabelA, 100)
	if err := s.Ask(AnswerA, 0); err != nil || !s.View().Hurried {
		t.Fatalf("error %v, view %+v", err, s.View())
	}
	s.Heard(LabelX, 24000)
	s.Heard(LabelA, 24000)
	if s.View().Hurried {
		t.Error("still hurried after half a second of each")
	}
}

// What the journal records about listening is the same, byte for byte, whatever is hidden.
func TestTimesInTheJournalDoNotTell(t *testing.T) {
	want := ""
	for seed := range byte(32) {
		p := testPlan(ABX, 6)
		p.LeastSeconds = LeastSeconds
		_, m := timedSession(t, p, Seed{seed}, 4800, 30000, 700)
		var text strings.Builder
		for _, e := range m.entries[1 : len(m.entries)-1] {
			e.Previous, e.Hash = "", ""
			body, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&text, "%s\n", body)
		}
		if want == "" {
			want = text.String()
		}
		if text.String() != want {
			t.Fatalf("the entries depend on the seed:\n%s\n%s", text.String(), want)
		}
	}
	if !strings.Contains(want, `"heard":[4800,30000,700]`) {
		t.Errorf("how long labels sounded is not recorded: %s", want)
	}
}

// A sitting at a silent output marks the session, whatever its other outputs; so does the note of an old entry.
func TestDevicesAreListedAndSilenceIsMarked(t *testing.T) {
	for _, c := range []struct {
		name    string
		sit     func(s *Session) error
		devices []string
		silent  bool
	}{
		{"a sound card", func(s *Session) error { return s.Sit("card, 48000 Hz", false) }, []string{"card, 48000 Hz"}, false},
		{"a file", func(s *Session) error { return s.Sit("file:/tmp/x, 48000 Hz", true) }, []string{"file:/tmp/x, 48000 Hz"}, true},
		{"an old entry of no device", func(s *Session) error { return s.Open("null, 48000 Hz, FLOAT_LE") }, []string{"null, 48000 Hz, FLOAT_LE"}, true},
		{"an old entry of a sound card", func(s *Session) error { return s.Open("hw:1, 48000 Hz") }, []string{"hw:1, 48000 Hz"}, false},
		{"after a rest", func(s *Session) error { return s.Open("after a rest") }, nil, false},
		{"two sittings, one silent", func(s *Session) error {
			if err := s.Sit("card, 48000 Hz", false); err != nil {
				return err
			}
			return s.Sit("null, 48000 Hz", true)
		}, []string{"card, 48000 Hz", "null, 48000 Hz"}, true},
	} {
		s, m := begin(t, testPlan(ABX, 1), Seed{1})
		if err := c.sit(s); err != nil {
			t.Fatal(err)
		}
		answer(t, s, AnswerA)
		for _, withheld := range []bool{false, true} {
			entries, want := m.entries, c.devices
			if withheld && s.last.Kind == EntryEnd && m.entries[2].Device != "" {
				entries, want = Withhold(m.entries), []string{Withheld}
			}
			r, err := Reveal(s.plan, entries)
			if err != nil || !reflect.DeepEqual(r.Devices, want) || r.Silent != c.silent {
				t.Errorf("%s: devices %q, silent %v, %v", c.name, r.Devices, r.Silent, err)
			}
		}
	}
}

// An anonymous record keeps whether answers were hurried, and the time to answer in whole seconds.
func TestWithheldTimesKeepWhatWasHurried(t *testing.T) {
	p := testPlan(ABX, 3)
	p.LeastSeconds = LeastSeconds
	s, m := begin(t, p, Seed{9})
	for range 3 {
		hearAll(s)
		s.Ran(100_000, 48000)
		if err := s.Ask(AnswerA, 0); err != nil {
			t.Fatal(err)
		}
		if err := s.Confirm(); err != nil {
			t.Fatal(err)
		}
	}
	r, err := Reveal(p, Withhold(m.entries))
	if err != nil || r.Hurried != 3 || *r.Trials[0].AnswerS != 2 {
		t.Errorf("%d hurried, %v s, %v", r.Hurried, r.Trials[0].AnswerS, err)
	}
}

// Entries without clocks, from before clocks were recorded, keep their hash.
func TestOldEntriesKeepTheirHash(t *testing.T) {
	e := Entry{Session: "s1", Number: 3, Kind: EntryAnswer, Trial: 1, Answer: AnswerA, Seconds: 1.5, Switches: 2, Previous: "aa"}
	body, err := json.Marshal(e)
	if err != nil || strings.Contains(string(body), "heard") || strings.Contains(string(body), "silent") {
		t.Errorf("%s, %v", body, err)
	}
}
