package screen

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/bubbles/key"

	"heardiff/trials"
)

// text returns the lines of a page of text, which is scrolled where the window is too low; nil for a trial.
func (m model) text() []string {
	switch m.page {
	case pageStart:
		return m.startPage()
	case pageHelp:
		return m.helpPage()
	case pageVoid:
		return append(m.paragraphs("Disturbed? Say why in a word or two.", "The trial is void then, and one like it comes at the end.", ""),
			"  "+strong.Render("why: ")+m.reason+"_")
	case pageLeave:
		return m.leavePage()
	case pageEnd:
		return m.paragraphs(m.summary...)
	}
	if m.view.Phase == trials.Resting {
		return append([]string{"  " + strong.Render("Resting for "+minutesAndSeconds(m.view.Rested)+".")},
			m.paragraphs("", "Take the headphones off. Look far away.", "", m.status())...)
	}
	return nil
}

// startPage is shown before the first sound of every sitting.
func (m model) startPage() []string {
	var lines []string
	if len(m.opening.Notes) > 0 {
		lines = append(append(lines, "  "+strong.Render("The device")), m.paragraphs(m.opening.Notes...)...)
		lines = append(lines, "")
	}
	lines = append(lines, "  "+strong.Render("Before any sound plays"))
	lines = append(lines, m.wrapped(strings.Join(Caution(), " "))...)
	lines = append(lines, "", "  "+strong.Render("The session"))
	if m.view.Answered > 0 {
		lines = append(lines, m.wrapped(m.saved()+" It goes on at "+m.place()+".")...)
	}
	return append(lines, m.paragraphs("Leave whenever you like: every answer is saved at once, and the session goes on where you left it.",
		"Its order was drawn by chance and is sealed. Note the seal down if you like: the end reveals the seed, and anyone can check.",
		"seal "+m.opening.Seal)...)
}

func (m model) helpPage() []string {
	var lines []string
	list := m.keys.list(m.sound.ByHand)
	rows := len(list)
	if m.width >= 2*helpColumn {
		rows = (len(list) + 1) / 2
	}
	for i := range rows {
		line := "  " + helpEntry(list[i])
		if i+rows < len(list) {
			line += helpEntry(list[i+rows])
		}
		lines = append(lines, strings.TrimRight(line, " "))
	}
	return append(lines, m.paragraphs("",
		"How sure you are is yours to say, and never asked: 1 is a guess, 4 is certain, 2 and 3 lie between.",
		"A confirmed answer cannot be changed. Nothing tells how you do until the end.", "",
		"session "+m.view.Session, "seal    "+m.opening.Seal)...)
}

// helpColumn is the width of one of the two columns of the help, with the margin.
const helpColumn = 40

func helpEntry(k key.Binding) string {
	return fmt.Sprintf("%-6s %-31s", k.Help().Key, k.Help().Desc)
}

func (m model) leavePage() []string {
	lines := append([]string{"  " + strong.Render("Leave?")}, m.paragraphs("", m.status(), "")...)
	if m.kept == nil {
		lines = append(lines, m.wrapped("asking the study …")...)
	}
	lines = append(lines, m.paragraphs(m.kept...)...)
	if m.sure {
		return append(lines, m.paragraphs("", "Give up for good? The session ends here, stays in the study, and counts as given up. g once more gives up.")...)
	}
	return lines
}

// foot holds the keys of the page, and below a trial what sounds.
func (m model) foot() []row {
	var does string
	switch m.page {
	case pageStart:
		does = "enter begin   q leave"
		if m.scroll < m.below() {
			does = "enter read on   q leave"
		}
	case pageHelp:
		does = "any other key: back"
		if m.below() == 0 {
			does = "any key: back"
		}
	case pageVoid:
		does = "enter void this trial   esc back"
	case pageLeave:
		does = "enter leave   esc stay   g give up for good"
	case pageEnd:
		does = "enter leave"
	default:
		if m.view.Phase != trials.Resting {
			return m.trialFoot()
		}
		does = "enter go on   q leave"
	}
	return []row{m.rule(), {faint.Render(" " + does + m.more()), needed}}
}
