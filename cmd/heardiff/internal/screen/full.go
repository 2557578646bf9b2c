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
// the session ends, and an error that wraps ErrOver where nothing can be kept any more.
func Run(ctx context.Context, b Booth, seal string, in io.Reader, out io.Writer) error {
	p := tea.NewProgram(newModel(b, seal), tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen())
	last, err := p.Run()
	if errors.Is(err, tea.ErrProgramKilled) && ctx.Err() != nil {
		return ctx.Err()
	}
	if m, ok := last.(model); ok && err == nil {
		return m.over
	}
	return err
}

// page is what the screen shows besides the trial.
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
// of what is hidden, because Booth does not tell.
type model struct {
	booth         Booth
	keys          keys
	seal          string
	width, height int

	page    page
	view    trials.View
	sound   Sound
	reason  string // typed on the void page
	message string // what was refused, or how practice went
	busy    bool   // an action is under way: keys wait
	asking  bool   // how things stand is being asked: the booth answers when no action is under way
	waited  int    // ticks that the action has taken so far
	over    error  // why the session was left at once
	summary []string
}

func newModel(b Booth, seal string) model {
	v := b.View()
	return model{booth: b, keys: keysFor(v.Design), seal: seal, view: v, sound: b.Sound(), width: 80, height: 24, page: pageStart}
}

// refreshEvery is how often the position is drawn: often enough to look steady.
const refreshEvery = 100 * time.Millisecond

type tickMsg struct{}

// soundMsg says how things stand between actions.
type soundMsg struct {
	sound   Sound
	restDue bool
}

// ask asks how things stand, away from the screen: while a slow commit holds the booth, keys are still heeded.
func (m model) ask() (model, tea.Cmd) {
	if m.asking {
		return m, nil
	}
	m.asking = true
	b := m.booth
	return m, func() tea.Msg { return soundMsg{b.Sound(), b.View().RestDue} }
}

// doneMsg is the end of an action: how things stand now, and what was refused.
type doneMsg struct {
	view    trials.View
	sound   Sound
	err     error
	summary []string
}

func tick() tea.Cmd {
	return tea.Tick(refreshEvery, func(time.Time) tea.Msg { return tickMsg{} })
}

// Init implements tea.Model.
func (m model) Init() tea.Cmd { return tick() }

// act runs one action away from the screen and reports how things stand after it.
func (m model) act(action func(Booth) error) (model, tea.Cmd) {
	m.busy, m.waited, m.message = true, 0, ""
	b := m.booth
	return m, func() tea.Msg {
		err := action(b)
		d := doneMsg{view: b.View(), sound: b.Sound(), err: err}
		if d.view.Phase == trials.Done || d.view.Phase == trials.GivenUp {
			d.summary, d.err = b.Summary()
		}
		return d
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
		m.asking, m.sound, m.view.RestDue = false, msg.sound, msg.restDue
	case doneMsg:
		m = m.settle(msg)
		if errors.Is(msg.err, ErrOver) {
			m.over = msg.err
			return m, tea.Quit
		}
		return m, nil
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
	if d.summary != nil {
		m.page, m.summary = pageEnd, d.summary
	}
	return m
}

func (m model) press(k tea.KeyMsg) (tea.Model, tea.Cmd) {
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
		return m, tea.Quit
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
	case key.Matches(k, m.keys.confirm):
		m.page = pageTrial
	}
	return m, nil
}

func (m model) pressResting(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch {
	case key.Matches(k, m.keys.leave):
		m.page = pageLeave
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
		m.page = pageHelp
		return m, nil
	case key.Matches(k, m.keys.leave):
		m.page = pageLeave
		return m, nil
	}
	return m.pressSound(k)
}

// step is how far one key press moves an end of the loop, in seconds.
const step = 0.1

func (m model) pressSound(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	from, to := m.sound.From, m.sound.To
	switch {
	case key.Matches(k, m.keys.pause):
		s := m.sound
		return m.act(func(b Booth) error { return pauseOrGoOn(b, s) })
	case key.Matches(k, m.keys.restart):
		return m.act(Booth.Restart)
	case key.Matches(k, m.keys.all):
		from, to = 0, m.sound.Length
	case key.Matches(k, m.keys.in):
		from = m.sound.Position
	case key.Matches(k, m.keys.out):
		to = m.sound.Position
	case key.Matches(k, m.keys.startLess):
		from -= step
	case key.Matches(k, m.keys.startMore):
		from += step
	case key.Matches(k, m.keys.endLess):
		to -= step
	case key.Matches(k, m.keys.endMore):
		to += step
	default:
		return m, nil
	}
	return m.act(func(b Booth) error { return b.Region(max(0, from), min(to, m.sound.Length)) })
}

func pauseOrGoOn(b Booth, s Sound) error {
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
		if len(m.reason) < 60 {
			m.reason += string(k.Runes)
		}
	}
	return m, nil
}

func (m model) pressLeave(k tea.KeyMsg) (tea.Model, tea.Cmd) {
	switch k.String() {
	case "enter", "q", "ctrl+c":
		return m, tea.Quit
	case "g":
		m.page = pageTrial
		return m.act(func(b Booth) error { return b.GiveUp("given up at the keyboard") })
	case "esc":
		m.page = pageTrial
	}
	return m, nil
}
