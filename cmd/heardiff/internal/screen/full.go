package screen

import (
	"context"
	"errors"
	"io"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"heardiff/cmd/heardiff/internal/screen/unasked"
	"heardiff/trials"
)

func init() { unasked.Restore() } // the libraries above have been initialised

// Run runs a session full screen on the terminal given by in and out. It returns nil when the listener leaves or
// the session ends, and an error that wraps trials.ErrOver where nothing can be kept any more.
func Run(ctx context.Context, b Booth, o Opening, in io.Reader, out io.Writer) error {
	p := tea.NewProgram(newModel(b, o), tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen())
	last, err := p.Run()
	if errors.Is(err, tea.ErrProgramKilled) && ctx.Err() != nil {
		return ctx.Err()
	}
	if m, ok := last.(model); ok && err == nil {
		return m.over
	}
	return err
}

// page is the page of the screen: the trial or one of text.
type page uint8

const (
	pageTrial page = iota
	pageStart
	pageHelp
	pageVoid
	pageLeave
	pageEnd
)

// model is the screen's state: what the booth said last, and what the listener is about to do. It holds nothing
// that is hidden, because Booth does not reveal it.
type model struct {
	booth         Booth
	keys          keys
	opening       Opening
	width, height int

	page    page
	view    trials.View
	sound   trials.Sound
	reason  string // typed on the void page
	message string // what was refused, or how practice went
	busy    bool   // an action is under way: keys wait
	acts    int    // actions so far
	asking  bool   // the booth is being asked for its state: it answers when no action is under way
	waited  int    // ticks that the action has taken so far
	over    error  // why the session was left at once
	summary []string
	kept    []string // what is kept of the session, on the page that leaves it
	sure    bool     // giving up was asked for once
	scroll  int      // lines of a page of text that are above the window
}

func newModel(b Booth, o Opening) model {
	v := b.View()
	return model{booth: b, keys: keysFor(v.Design), opening: o, view: v, sound: b.Sound(), width: 80, height: 24, page: pageStart}
}

// refreshEvery is how often the position is drawn: often enough to look steady.
const refreshEvery = 100 * time.Millisecond

type tickMsg struct{}

// soundMsg is the state of the booth between actions.
type soundMsg struct {
	sound trials.Sound
	view  trials.View
	acts  int // how many actions there had been
}

// keptMsg says what is kept of the session.
type keptMsg []string

// ask reads the state of the booth outside the screen's loop: while a slow commit holds the booth, keys are still handled.
func (m model) ask() (model, tea.Cmd) {
	if m.asking {
		return m, nil
	}
	m.asking = true
	b, acts := m.booth, m.acts
	return m, func() tea.Msg { return soundMsg{b.Sound(), b.View(), acts} }
}

// doneMsg is the end of an action: the state after it, and what was refused.
type doneMsg struct {
	view  trials.View
	sound trials.Sound
	err   error
}

// summaryMsg says what a session that has ended came to.
type summaryMsg struct {
	lines []string
	err   error
}

func tick() tea.Cmd {
	return tea.Tick(refreshEvery, func(time.Time) tea.Msg { return tickMsg{} })
}

// Init implements tea.Model.
func (m model) Init() tea.Cmd { return tick() }

// act runs one action outside the screen's loop and reports the state after it.
func (m model) act(action func(Booth) error) (model, tea.Cmd) {
	m.busy, m.waited, m.message, m.acts = true, 0, "", m.acts+1
	b := m.booth
	return m, func() tea.Msg {
		err := action(b)
		return doneMsg{view: b.View(), sound: b.Sound(), err: err}
	}
}

// Update implements tea.Model.
func (m model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
	case tickMsg:
		m.waited++
		m, ask := m.ask()
		return m, tea.Batch(tick(), ask)
	case soundMsg:
		m.asking, m.sound = false, msg.sound
		if msg.acts == m.acts && !m.busy {
			m.view = msg.view
		}
	case keptMsg:
		m.kept = msg
	case doneMsg:
		m = m.settle(msg)
		if errors.Is(msg.err, trials.ErrOver) {
			m.over = msg.err
			return m, tea.Quit
		}
		return m.conclude()
	case summaryMsg:
		if m.summary = msg.lines; msg.err != nil {
			m.summary = []string{"Every answer is saved; what they say could not be worked out: " + msg.err.Error(), "heardiff results tells it later."}
		}
	case tea.KeyMsg:
		if !m.busy {
			return m.press(msg)
		}
		if key.Matches(msg, m.keys.leave) { // a helper may never come back
			return m, tea.Quit
		}
	}
	return m, nil
}

// settle takes in how an action ended.
func (m model) settle(d doneMsg) model {
	next := d.view.Trial != m.view.Trial
	m.busy, m.view, m.sound = false, d.view, d.sound
	if next {
		m.message = feedbackLine(d.view)
	}
	if d.err != nil {
		m.message = d.err.Error()
	}
	return m
}

// conclude goes to the last page where the session has ended, and asks what it came to away from the screen: the whole study is
// judged for that.
func (m model) conclude() (tea.Model, tea.Cmd) {
	if m.view.Phase != trials.Done && m.view.Phase != trials.GivenUp {
		return m, nil
	}
	m.page, m.scroll, m.summary = pageEnd, 0, []string{"The session is over, and every answer is saved. What they say is being worked out …"}
	b := m.booth
	return m, func() tea.Msg {
		lines, err := b.Summary()
		return summaryMsg{lines, err}
	}
}

func (m model) press(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	if by, ok := m.scrolls(k); ok {
		m.scroll = min(max(0, m.scroll+by), m.below())
		return m, nil
	}
	switch m.page {
	case pageHelp:
		m.page = pageTrial
		return m, nil
	case pageStart:
		return m.pressStart(k)
	case pageVoid:
		return m.pressVoid(k)
	case pageLeave:
		return m.pressLeave(k)
	case pageEnd:
		if key.Matches(k, m.keys.leave, m.keys.confirm) {
			return m, tea.Quit
		}
		return m, nil
	}
	if m.view.Phase == trials.Resting {
		return m.pressResting(k)
	}
	return m.pressTrial(k)
}

// pressStart waits until the cautions have been read: no sound plays before.
func (m model) pressStart(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch {
	case key.Matches(k, m.keys.leave):
		return m, tea.Quit
	case key.Matches(k, m.keys.confirm) && m.scroll < m.below():
		m.scroll = min(m.scroll+max(1, m.room()-1), m.below())
	case key.Matches(k, m.keys.confirm):
		m.page = pageTrial
	}
	return m, nil
}

// leave goes to the page that leaves, and asks what is kept away from the screen: the study may be slow to answer.
func (m model) leave() (tea.Model, tea.Cmd) {
	m.page, m.kept, m.sure, m.scroll = pageLeave, nil, false, 0
	b := m.booth
	return m, func() tea.Msg { return keptMsg(b.Kept()) }
}

func (m model) pressResting(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch {
	case key.Matches(k, m.keys.leave):
		return m.leave()
	case key.Matches(k, m.keys.confirm, m.keys.rest):
		return m.act(Booth.Wake)
	}
	return m, nil
}

func (m model) pressTrial(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	for i, l := range m.view.Design.Labels() {
		if key.Matches(k, m.keys.play[i]) {
			return m.act(func(b Booth) error { return b.Play(l) })
		}
	}
	for i, a := range m.view.Design.Answers() {
		if key.Matches(k, m.keys.answers[i]) {
			sure := m.view.Confidence
			return m.act(func(b Booth) error { return b.Ask(a, sure) })
		}
	}
	switch {
	case key.Matches(k, m.keys.confirm):
		return m.act(Booth.Confirm)
	case key.Matches(k, m.keys.back):
		return m.act(Booth.TakeBack)
	case key.Matches(k, m.keys.confidence):
		if m.view.Phase != trials.Asked {
			m.message = "answer first; then say how sure you are"
			return m, nil
		}
		a, sure := m.view.Pending, (m.view.Confidence+1)%5
		return m.act(func(b Booth) error { return b.Ask(a, sure) })
	case key.Matches(k, m.keys.rest):
		return m.act(Booth.Rest)
	case key.Matches(k, m.keys.void):
		m.page, m.reason, m.message = pageVoid, "", ""
		return m, nil
	case key.Matches(k, m.keys.help):
		m.page, m.scroll = pageHelp, 0
		return m, nil
	case key.Matches(k, m.keys.leave):
		return m.leave()
	}
	return m.pressSound(k)
}

// step and leap are how far one key press moves an end of the loop, in seconds.
const step, leap = 0.1, 1.0

func (m model) pressSound(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch {
	case key.Matches(k, m.keys.pause):
		s := m.sound
		return m.act(func(b Booth) error { return pauseOrGoOn(b, s) })
	case key.Matches(k, m.keys.restart):
		return m.act(Booth.Restart)
	case key.Matches(k, m.keys.all):
		return m.loop(func(s trials.Sound) (float64, float64) { return 0, s.Length })
	case key.Matches(k, m.keys.in):
		return m.loop(func(s trials.Sound) (float64, float64) { return s.Position, s.To })
	case key.Matches(k, m.keys.out):
		return m.loop(func(s trials.Sound) (float64, float64) { return s.From, s.Position })
	}
	for _, e := range m.keys.edges {
		if key.Matches(k, e.key) {
			return m.loop(func(s trials.Sound) (float64, float64) { return max(0, s.From+e.from), min(s.Length, s.To+e.to) })
		}
	}
	return m, nil
}

// loop moves the ends of the loop, from where they are and from what sounds when the key is heeded, not when the screen was
// drawn.
func (m model) loop(to func(trials.Sound) (from, to float64)) (tea.Model, tea.Cmd) {
	return m.act(func(b Booth) error { return b.Region(to(b.Sound())) })
}

func pauseOrGoOn(b Booth, s trials.Sound) error {
	switch {
	case s.Playing != trials.LabelUnset:
		return b.Stop()
	case s.Selected != trials.LabelUnset:
		return b.Play(s.Selected)
	}
	return errors.New("choose first what to hear")
}

// pressVoid edits the reason for which a trial is void.
func (m model) pressVoid(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch k.Type {
	case tea.KeyEsc, tea.KeyCtrlC:
		m.page = pageTrial
	case tea.KeyEnter:
		reason := m.reason
		m.page = pageTrial
		return m.act(func(b Booth) error { return b.Void(reason) })
	case tea.KeyBackspace:
		if r := []rune(m.reason); len(r) > 0 {
			m.reason = string(r[:len(r)-1])
		}
	case tea.KeyRunes, tea.KeySpace:
		if len(m.reason) < longestReason {
			m.reason += string(k.Runes)
		}
	}
	return m, nil
}

// longestReason is how many bytes of a reason can be typed: one line of the narrowest usual terminal, with its mark.
const longestReason = 60

func (m model) pressLeave(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch k.String() {
	case "enter", "q", "ctrl+c":
		return m, tea.Quit
	case "g":
		if !m.sure {
			m.sure = true
			return m, nil
		}
		m.page = pageTrial
		return m.act(func(b Booth) error { return b.GiveUp("given up at the keyboard") })
	case "esc":
		m.page = pageTrial
	}
	return m, nil
}
