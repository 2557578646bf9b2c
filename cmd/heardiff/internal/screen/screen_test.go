package screen

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"heardiff/trials"
)

// seat is a booth over a real session and no sound: a label counts as heard when it is played.
type seat struct {
	session *trials.Session
	entries []trials.Entry
	sound   trials.Sound
	fail    error
}

func (s *seat) Append(e trials.Entry) error {
	s.entries = append(s.entries, e)
	return s.fail
}

func newSeat(t *testing.T, d trials.Design, n int, seed trials.Seed) *seat {
	t.Helper()
	return seatOf(t, trials.Plan{
		ID: "1", Design: d, Alpha: 0.05, SmallestEffect: 0.3, RestMinutes: 20,
		Comparisons: []trials.Comparison{
			{Name: "one", A: "left", B: "right", AudioA: "aa", AudioB: "bb", Trials: n},
			{Name: "try", Kind: trials.Practice, A: "left", B: "left", AudioA: "aa", AudioB: "cc", Trials: 1},
		},
	}, seed)
}

// seatOf begins a session of a plan.
func seatOf(t *testing.T, p trials.Plan, seed trials.Seed) *seat {
	t.Helper()
	at := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	s := &seat{sound: trials.Sound{Length: 15, To: 15, Envelope: []float64{0.1, 0.5, 1, 0.7}, Device: "null, 48000 Hz"}}
	session, err := trials.Begin("abcd", trials.Seat{}, p, seed, s, func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	s.session = session
	return s
}

func (s *seat) View() trials.View   { return s.session.View() }
func (s *seat) Sound() trials.Sound { return s.sound }
func (s *seat) Play(l trials.Label) error {
	s.sound.Playing, s.sound.Selected = l, l
	s.session.Heard(l, 100)
	return nil
}
func (s *seat) Stop() error    { s.sound.Playing = trials.LabelUnset; return nil }
func (s *seat) Restart() error { s.sound.Position = s.sound.From; return nil }
func (s *seat) Region(from, to float64) error {
	if from >= to {
		return errors.New("region ends before it begins")
	}
	s.sound.From, s.sound.To = from, to
	return nil
}
func (s *seat) Ask(a trials.Answer, c int) error { return s.session.Ask(a, c) }
func (s *seat) TakeBack() error                  { return s.session.TakeBack() }
func (s *seat) Confirm() error                   { return s.session.Confirm() }
func (s *seat) Void(reason string) error         { return s.session.Void(reason) }
func (s *seat) Rest() error                      { return s.session.Rest() }
func (s *seat) Wake() error                      { return s.session.Open("") }
func (s *seat) GiveUp(reason string) error       { return s.session.GiveUp(reason) }
func (s *seat) Summary() ([]string, error)       { return []string{"the end"}, nil }
func (s *seat) Kept() []string                   { return []string{"all is kept", "heardiff listen"} }

// press feeds keys to a model, running each action to its end, and returns every screen drawn.
func press(m model, keys ...string) (model, string) {
	if m.page == pageStart {
		keys = append([]string{"enter"}, keys...)
	}
	var screens strings.Builder
	screens.WriteString(m.View())
	for _, k := range keys {
		msg := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(k)}
		switch k {
		case "enter":
			msg = tea.KeyMsg{Type: tea.KeyEnter}
		case "esc":
			msg = tea.KeyMsg{Type: tea.KeyEsc}
		case "left":
			msg = tea.KeyMsg{Type: tea.KeyLeft}
		case "up":
			msg = tea.KeyMsg{Type: tea.KeyUp}
		case "down":
			msg = tea.KeyMsg{Type: tea.KeyDown}
		}
		next, cmd := m.Update(msg)
		m = next.(model)
		for cmd != nil {
			next, cmd = m.Update(cmd())
			m = next.(model)
		}
		fmt.Fprintf(&screens, "\n=== %s\n%s", k, m.View())
	}
	return m, screens.String()
}

// The practice trial comes first and its feedback does depend on what was hidden in it; all that follows must not.
func TestScreensAreTheSameForEveryAssignment(t *testing.T) {
	for _, c := range []struct {
		design   trials.Design
		practice []string
		keys     []string
	}{
		{trials.ABX, []string{"a", "x", "j", "enter"},
			[]string{"1", "x", "b", "j", "c", "c", "esc", "k", "enter", "3", "a", "i", "?", "q", "v", "l", "enter", "t", "enter", "x", "b", "j", "enter"}},
		{trials.SameDifferent, []string{"1", "2", "s", "enter"},
			[]string{"1", "2", "d", "enter", "1", "s", "2", "s", "esc", "d", "enter", "r", "w", "down", "left"}},
		{trials.Triangle, []string{"1", "2", "3", "j", "enter"},
			[]string{"1", "3", "2", "l", "c", "esc", "k", "enter", "2", "1", "j", "3", "j", "?", "q", "enter", "v", "x", "enter", "1", "2", "3", "l", "enter"}},
		{trials.TwoInterval, []string{"1", "2", "k", "enter"},
			[]string{"1", "j", "2", "j", "c", "enter", "?", "q", "2", "1", "k", "esc", "j", "enter", "t", "enter", "1", "2", "k", "enter"}},
	} {
		want := ""
		for seed := range byte(16) {
			s := newSeat(t, c.design, 5, trials.Seed{seed})
			m, _ := press(newModel(s, Opening{Seal: "seal"}), c.practice...)
			m.message, m.view.Feedback = "", nil
			_, got := press(m, c.keys...)
			if want == "" {
				want = got
			}
			if got != want {
				t.Fatalf("%s: screens depend on the seed", c.design)
			}
		}
	}
}

func TestPlainRepliesAreTheSameForEveryAssignment(t *testing.T) {
	for _, d := range trials.Designs() {
		t.Run(d.String(), func(t *testing.T) { plainRepliesAreTheSame(t, d) })
	}
}

func plainRepliesAreTheSame(t *testing.T, d trials.Design) {
	play, first, last := "", d.Answers()[0].String(), d.Answers()[len(d.Answers())-1].String()
	for _, l := range d.Labels() {
		play += l.String() + "\n"
	}
	script := play + "answer " + first + " 3\nconfirm\n" + play + "answer " + last + "\nno\nanswer " + last + " 2\nconfirm\n" +
		"stop\nregion 1 2\nregion all\nvoid lorry\nrest\nrest\nhelp\nquit\n"
	want := ""
	for seed := range byte(16) {
		s := newSeat(t, d, 6, trials.Seed{seed})
		var out bytes.Buffer
		if err := Plain(context.Background(), s, strings.NewReader(script), &out); err != nil {
			t.Fatal(err)
		}
		got := out.String()
		got = strings.NewReplacer("was right", "was …", "was wrong", "was …").Replace(got) // practice feedback
		if want == "" {
			want = got
		}
		if got != want {
			t.Fatalf("the replies depend on the seed:\n%s\n%s", got, want)
		}
	}
	if strings.Count(want, "saved") != 3 || strings.Contains(want, "refused") {
		t.Errorf("two answers and a void trial were to be saved:\n%s", want)
	}
}

func TestPlainAnswersEachCommandWithItsWord(t *testing.T) {
	s := newSeat(t, trials.ABX, 2, trials.Seed{1})
	script := []struct{ say, word string }{
		{"answer a", "refused"}, {"x", "playing"}, {"answer a", "refused"}, {"b", "playing"}, {"1", "refused"},
		{"answer same", "refused"}, {"answer a 5", "refused"}, {"confirm", "refused"}, {"answer a 4", "asked"},
		{"no", "ready"}, {"answer b", "asked"}, {"confirm", "saved"}, {"", "refused"}, {"dance", "refused"},
		{"region 3 1", "refused"}, {"region 1 3", "region"}, {"void", "refused"}, {"rest", "resting"}, {"a", "playing"},
		{"stop", "stopped"},
	}
	var in strings.Builder
	for _, line := range script {
		in.WriteString(line.say + "\n")
	}
	var out bytes.Buffer
	if err := Plain(context.Background(), s, strings.NewReader(in.String()), &out); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")[1:] // after the first "ready"
	for _, line := range script {
		if word, _, _ := strings.Cut(lines[0], " "); word != line.word {
			t.Errorf("%q was answered %q, want %s", line.say, lines[0], line.word)
		}
		lines = lines[1:]
		if line.word == "saved" {
			if !strings.HasPrefix(lines[0], "ready 2 of 3") {
				t.Errorf("after an answer: %q", lines[0])
			}
			lines = lines[1:]
		}
	}
}

// sized is a model in a window of a size.
func sized(m model, width, height int) model {
	next, _ := m.Update(tea.WindowSizeMsg{Width: width, Height: height})
	return next.(model)
}

// At every size the screen has no more lines than the window, and the keys stay at its foot.
func TestScreenFitsEverySizeAndTheFootStays(t *testing.T) {
	s := newSeat(t, trials.ABX, 3, trials.Seed{1})
	for _, size := range [][2]int{{80, 24}, {60, 15}, {132, 43}, {40, 12}, {200, 60}, {30, 20}, {40, 4}, {10, 2}, {9, 1}} {
		m := sized(newModel(s, Opening{Seal: "seal"}), size[0], size[1])
		for p := pageTrial; p <= pageEnd; p++ {
			m.page = p
			lines := strings.Split(ansi.Strip(m.View()), "\n")
			if len(lines) > size[1] {
				t.Errorf("%v, page %d: %d lines", size, p, len(lines))
			}
			foot := upTo(needed, m.foot())
			want := ansi.Truncate(ansi.Strip(foot[len(foot)-1].text), size[0], "")
			if !strings.Contains(strings.Join(lines, "\n"), want) {
				t.Errorf("%v, page %d: the keys %q are gone:\n%s", size, p, want, m.View())
			}
			if small := size[0] < narrowest || size[1] < 6; size[0] >= 30 && small != strings.Contains(m.View(), "too small") {
				t.Errorf("%v, page %d: said to be too small %v:\n%s", size, p, !small, m.View())
			}
		}
	}
}

// Nothing that is said is cut off, nor broken within a word, at any size of window that is large enough.
func TestNothingIsCutOff(t *testing.T) {
	for _, d := range trials.Designs() {
		for _, size := range [][2]int{{80, 24}, {60, 15}, {132, 43}} {
			m := sized(newModel(newSeat(t, d, 3, trials.Seed{1}), Opening{Seal: strings.Repeat("0123456789abcdef", 4), Notes: []string{"The device takes 16-bit words: longer ones are cut without dither."}}), size[0], size[1])
			m.message = "the sound device failed: the cable was pulled; every confirmed answer is kept: leave, mend it, and resume"
			m.kept, m.summary = []string{"resume with: heardiff listen --plan 1 --listener L1"}, []string{"head " + strings.Repeat("0123456789abcdef", 4)}
			for p := pageTrial; p <= pageEnd; p++ {
				m.page = p
				for _, phase := range []trials.Phase{trials.Listening, trials.Asked, trials.Resting} {
					m.view.Phase, m.view.Pending = phase, d.Answers()[0]
					m.scroll = 0
					body, foot := m.fitted()
					for _, r := range append(body, foot...) {
						if w := lipgloss.Width(r.text); w > size[0] {
							t.Errorf("%s, %v, page %d: %d columns: %s", d, size, p, w, r.text)
						}
					}
					if strings.Contains(m.View(), "too small") {
						t.Errorf("%s, %v, page %d, phase %d: %s", d, size, p, phase, m.View())
					}
				}
			}
			m.page, m.view.Phase = pageTrial, trials.Asked
			shown := strings.Join(strings.Fields(ansi.Strip(m.View())), " ")
			for _, want := range []string{m.message, "how sure? press c: [not said] 1 guess 2 3 4 certain", d.Claim(d.Answers()[0])} {
				if !strings.Contains(shown, want) {
					t.Errorf("%s, %v: %q is not shown whole:\n%s", d, size, want, m.View())
				}
			}
		}
	}
}

// A page of text that the window does not hold is scrolled to its end and back.
func TestPagesScroll(t *testing.T) {
	m := sized(newModel(newSeat(t, trials.ABX, 3, trials.Seed{1}), Opening{Seal: "fedcba"}), 60, 15)
	for _, page := range []page{pageStart, pageHelp} {
		m.page, m.scroll = page, 0
		first := m.View()
		if strings.Contains(first, "fedcba") || !strings.Contains(first, "↓ more") {
			t.Fatalf("page %d fits, or does not say that it goes on:\n%s", page, first)
		}
		for range 200 {
			next, _ := m.Update(tea.KeyMsg{Type: tea.KeyDown})
			m = next.(model)
		}
		if !strings.Contains(m.View(), "fedcba") || strings.Contains(m.View(), "↓ more") || m.page != page {
			t.Errorf("page %d, at its end:\n%s", page, m.View())
		}
		for range 20 {
			next, _ := m.Update(tea.KeyMsg{Type: tea.KeyPgUp})
			m = next.(model)
		}
		if m.View() != first {
			t.Errorf("page %d, back at its start:\n%s", page, m.View())
		}
	}
}

// No sound plays before the cautions have been read to their end.
func TestEnterReadsOnBeforeItBegins(t *testing.T) {
	m := sized(newModel(newSeat(t, trials.ABX, 3, trials.Seed{1}), Opening{Seal: "fedcba"}), 60, 15)
	for m.below() > m.scroll {
		before := m.scroll
		if m, _ = press(m); m.page != pageStart || m.scroll <= before {
			t.Fatalf("enter in the midst of the cautions leads to page %d, line %d", m.page, m.scroll)
		}
	}
	if m, _ = press(m); m.page != pageTrial {
		t.Errorf("at their end it leads to page %d", m.page)
	}
}

// The bar, the time so far and the time left follow what the session says; nothing of them is known to the screen itself.
func TestTheHeadSaysHowFar(t *testing.T) {
	m := newModel(newSeat(t, trials.ABX, 9, trials.Seed{1}), Opening{})
	for _, c := range []struct {
		view trials.View
		want []string
		done int
	}{
		{trials.View{Trial: 1, Trials: 10}, []string{"trial 1 of 10", "Answers are saved at once.", "under 1 min so far"}, 0},
		{trials.View{Trial: 6, Trials: 10, Answered: 5, Worked: 5 * time.Minute, Remaining: 5 * time.Minute, RestIn: 15 * time.Minute},
			[]string{"5 answers are saved.", "Next rest in 15 min.", "5 min so far, about 5 min left"}, 5},
		{trials.View{Trial: 2, Trials: 10, Answered: 1, Worked: 100 * time.Minute, Remaining: 30 * time.Second, MayEndEarly: true, RestDue: true},
			[]string{"1 answer is saved.", "A rest is due (t).", "1 h 40 min so far, at most about 1 min left"}, 1},
		{trials.View{Trial: 10, Trials: 10, Answered: 9, Worked: 5 * time.Minute, Remaining: 20 * time.Second, MayEndEarly: true},
			[]string{"5 min so far, at most under 1 min left"}, 9},
	} {
		c.view.Design = trials.ABX
		m.view = c.view
		head := m.head()
		shown := ansi.Strip(head[0].text + "\n" + head[1].text)
		for _, want := range c.want {
			if !strings.Contains(shown, want) {
				t.Errorf("%q lacks %q", shown, want)
			}
		}
		full, empty := strings.Count(shown, "█"), strings.Count(shown, "░")
		if want := (full + empty) * c.done / 10; full != want {
			t.Errorf("%d of %d columns of the bar are full, want %d", full, full+empty, want)
		}
	}
}

func TestLeavingSaysHowFarAndHowToComeBack(t *testing.T) {
	s := newSeat(t, trials.ABX, 3, trials.Seed{1})
	m, _ := press(newModel(s, Opening{}), "a", "x", "j", "enter", "q")
	for _, want := range []string{"1 answer is saved.", "all is kept", "heardiff listen"} {
		if !strings.Contains(m.View(), want) {
			t.Errorf("%q is not said:\n%s", want, m.View())
		}
	}
	if m, _ = press(m, "g"); m.view.Phase == trials.GivenUp || !strings.Contains(m.View(), "g once more") {
		t.Errorf("given up by one key:\n%s", m.View())
	}
	if m, _ = press(m, "g"); m.view.Phase != trials.GivenUp || m.page != pageEnd {
		t.Errorf("not given up:\n%s", m.View())
	}
}

// The ends of the loop move by a tenth of a second, by a second, and to where the sound is when a key is tapped, which is later
// than what was drawn last.
func TestTheLoopMovesByStepsLeapsAndTaps(t *testing.T) {
	s := newSeat(t, trials.ABX, 3, trials.Seed{1})
	m := newModel(s, Opening{})
	for _, c := range []struct {
		key      string
		from, to float64
	}{
		{"right", 0.1, 15}, {".", 1.1, 15}, {".", 2.1, 15}, {",", 1.1, 15}, {"left", 1, 15}, {",", 0, 15}, {",", 0, 15},
		{"down", 0, 14.9}, {"<", 0, 13.9}, {">", 0, 14.9}, {"up", 0, 15}, {">", 0, 15}, {"i", 4, 15}, {"o", 4, 6}, {"w", 0, 15},
	} {
		switch c.key {
		case "i":
			s.sound.Position = 4
		case "o":
			s.sound.Position = 6
		}
		m, _ = press(m, c.key)
		if math.Abs(s.sound.From-c.from) > 1e-9 || math.Abs(s.sound.To-c.to) > 1e-9 {
			t.Errorf("after %s: %.1f to %.1f, want %.1f to %.1f (%s)", c.key, s.sound.From, s.sound.To, c.from, c.to, m.message)
		}
	}
}

func TestHowSureComesAfterTheAnswer(t *testing.T) {
	m := newModel(newSeat(t, trials.ABX, 3, trials.Seed{1}), Opening{Seal: "seal"})
	m, _ = press(m, "a", "x", "c")
	if m.view.Phase != trials.Listening || m.message != "answer first; then say how sure you are" {
		t.Errorf("before an answer: phase %v, %q", m.view.Phase, m.message)
	}
	if m, _ = press(m, "j", "c", "c"); m.view.Confidence != 2 || m.message != "" {
		t.Errorf("after it: confidence %d, %q", m.view.Confidence, m.message)
	}
}

func TestAFailedWriteIsShownAndTheAnswerStays(t *testing.T) {
	s := newSeat(t, trials.ABX, 3, trials.Seed{1})
	m, _ := press(newModel(s, Opening{Seal: "seal"}), "a", "x", "j")
	s.fail = errors.New("disk full")
	m, _ = press(m, "enter")
	if !strings.Contains(m.View(), "disk full") || m.view.Trial != 1 {
		t.Errorf("trial %d, screen:\n%s", m.view.Trial, m.View())
	}
	s.fail = nil
	if m, _ = press(m, "enter"); m.view.Trial != 2 {
		t.Error("the answer could not be confirmed again")
	}
}

// At the end the answers are said to be saved at once, whatever the judgement of the study takes.
func TestEndShowsTheSummary(t *testing.T) {
	s := newSeat(t, trials.SameDifferent, 1, trials.Seed{1})
	m, _ := press(newModel(s, Opening{Seal: "seal"}), "1", "2", "s", "enter", "1", "2", "s")
	next, confirm := m.Update(tea.KeyMsg{Type: tea.KeyEnter})
	next, judge := next.(model).Update(confirm())
	if drawn := strings.Join(strings.Fields(next.View()), " "); !strings.Contains(drawn, "every answer is saved. What they say is being worked out") || strings.Contains(drawn, "Waiting") {
		t.Errorf("before the summary:\n%s", drawn)
	}
	next, _ = next.Update(judge())
	if drawn := next.View(); !strings.Contains(drawn, "the end") {
		t.Errorf("screen:\n%s", drawn)
	}
}

// What a device, a remark or an error holds must not reach the terminal as an escape sequence, nor as a line of its own.
func TestForeignTextIsShownNotObeyed(t *testing.T) {
	const hostile = "x\x1b[2J\u009b31m\u202e"
	s := newSeat(t, trials.ABX, 2, trials.Seed{1})
	s.sound.Device, s.sound.Fault = hostile, errors.New(hostile)
	m := newModel(s, Opening{Seal: "abcdef"})
	for p := pageTrial; p <= pageEnd; p++ {
		m.page, m.message, m.summary = p, hostile, []string{hostile}
		drawn := m.View()
		for _, bad := range []string{"\x1b[2J", "\u009b", "\u202e"} {
			if strings.Contains(drawn, bad) {
				t.Errorf("page %d: %q drawn", p, bad)
			}
		}
	}
	var out bytes.Buffer
	(&plain{booth: s, out: &out, trial: 1}).refuse(errors.New("one\ntwo"))
	if out.String() != "refused one two\n" {
		t.Errorf("%q", out.String())
	}
}

// stalled is a seat whose commit takes until it is let go, and which answers nothing meanwhile, as a booth does that waits
// for a server.
type stalled struct {
	*seat
	mu  sync.Mutex
	let chan struct{}
}

func (s *stalled) View() trials.View   { s.mu.Lock(); defer s.mu.Unlock(); return s.seat.View() }
func (s *stalled) Sound() trials.Sound { s.mu.Lock(); defer s.mu.Unlock(); return s.seat.Sound() }
func (s *stalled) Confirm() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	<-s.let
	return s.seat.Confirm()
}

// While a commit stalls the screen goes on: it says that it waits, and q leaves. Nothing that Update does may ask the booth.
func TestTheScreenHeedsKeysWhileACommitStalls(t *testing.T) {
	s := &stalled{seat: newSeat(t, trials.ABX, 3, trials.Seed{1}), let: make(chan struct{})}
	m, _ := press(newModel(s, Opening{Seal: "seal"}), "a", "x", "j")
	next, confirm := m.Update(tea.KeyMsg{Type: tea.KeyEnter})
	m = next.(model)
	done := make(chan tea.Msg, 1)
	go func() { done <- confirm() }()
	for s.mu.TryLock() { // until the commit has the booth
		s.mu.Unlock()
		runtime.Gosched()
	}
	for range 20 {
		next, _ = m.Update(tickMsg{})
		m = next.(model)
	}
	if !strings.Contains(m.View(), "Waiting for the study's record: q leaves.") {
		t.Errorf("nothing says that it waits:\n%s", m.View())
	}
	if _, leave := m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("q")}); leave == nil || leave() != tea.Quit() {
		t.Error("q does not leave")
	}
	close(s.let)
	next, _ = m.Update(<-done)
	if m = next.(model); m.view.Trial != 2 || m.late() {
		t.Errorf("after the commit: trial %d", m.view.Trial)
	}
}

// Line by line, whoever types quit while a commit stalls leaves at once, and no reply follows; a quit that came together with the
// commit, as from a file, waits until that is done.
func TestQuitIsHeededWhileACommitStalls(t *testing.T) {
	s := &stalled{seat: newSeat(t, trials.ABX, 3, trials.Seed{1}), let: make(chan struct{})}
	in, keyboard := io.Pipe()
	var out bytes.Buffer
	left := make(chan error, 1)
	go func() { left <- Plain(context.Background(), s, in, &out) }()
	fmt.Fprint(keyboard, "a\nx\nanswer a\nconfirm\n")
	for s.mu.TryLock() { // until the commit has the booth
		s.mu.Unlock()
		runtime.Gosched()
	}
	time.Sleep(2 * together)
	fmt.Fprint(keyboard, "stop\nquit\n")
	if err := <-left; err != nil {
		t.Error(err)
	}
	close(s.let)
	s.mu.Lock() // the commit is done
	if said := out.String(); strings.Contains(said, "saved") || !strings.HasSuffix(said, "stopped — all is kept; heardiff listen\n") {
		t.Errorf("typed: %q", said)
	}
	s = &stalled{seat: newSeat(t, trials.ABX, 3, trials.Seed{1}), let: make(chan struct{})}
	time.AfterFunc(2*patience, func() { close(s.let) })
	out.Reset()
	if err := Plain(context.Background(), s, strings.NewReader("a\nx\nanswer a\nconfirm\nquit\n"), &out); err != nil {
		t.Error(err)
	}
	if said := out.String(); !strings.Contains(said, "\nsaved 1\nready 2 of 4") || !strings.Contains(said, "\nstopped") {
		t.Errorf("together: %q", said)
	}
}

// A booth in which nothing can be kept any more ends the session, in either face.
func TestASessionThatCannotBeKeptIsLeft(t *testing.T) {
	s := newSeat(t, trials.ABX, 3, trials.Seed{1})
	m, _ := press(newModel(s, Opening{Seal: "seal"}), "a", "x", "j")
	s.fail = fmt.Errorf("%w: the study is gone", trials.ErrOver)
	next, confirm := m.Update(tea.KeyMsg{Type: tea.KeyEnter})
	next, leave := next.(model).Update(confirm())
	if leave == nil || leave() != tea.Quit() || !errors.Is(next.(model).over, trials.ErrOver) {
		t.Errorf("the full screen goes on: %v", next.(model).over)
	}
	s = newSeat(t, trials.ABX, 3, trials.Seed{1})
	var out bytes.Buffer
	gone := &atWord{s, strings.NewReader("a\nx\nanswer a\nconfirm\na\n")}
	if err := Plain(context.Background(), gone, gone.in, &out); !errors.Is(err, trials.ErrOver) || !strings.HasSuffix(out.String(), "the study is gone\n") {
		t.Errorf("the plain one: %v, %q", err, out.String())
	}
}

// atWord is a seat whose study goes before its first commit.
type atWord struct {
	*seat
	in io.Reader
}

func (a *atWord) Confirm() error {
	a.fail = fmt.Errorf("%w: the study is gone", trials.ErrOver)
	return a.seat.Confirm()
}
