package screen

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/charmbracelet/lipgloss"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
)

// Emphasis is by weight, not by colour, so that the screen reads the same in monochrome.
var (
	strong = lipgloss.NewStyle().Bold(true)
	faint  = lipgloss.NewStyle().Faint(true)
	marked = lipgloss.NewStyle().Reverse(true)
)

func (m model) trialPage() []row {
	question := []string{strong.Render(m.view.Design.Question())}
	if m.view.Explained != "" {
		question = append(question, m.view.Explained)
	}
	if m.view.Practice {
		question = append(question, marked.Render(" practice: does not count "))
	}
	all := append(rows(needed, m.inRows(question, "   ")...), row{"", emptyLine})
	if m.sound.ByHand {
		all = append(all, rows(needed, "   Ask for what you want to hear; the helper connects it.", m.helperLine())...)
	} else {
		all = append(all, m.timeline()...)
	}
	all = append(all, row{"", emptyLine})
	all = append(all, rows(needed, m.pads()...)...)
	all = append(all, row{"", extraLine})
	all = append(all, rows(needed, m.answerLines()...)...)
	return append(append(all, row{"", extraLine}), rows(needed, m.remark()...)...)
}

// remark is the line of text on the trial now.
func (m model) remark() []string {
	switch {
	case m.late():
		return m.wrapped("Waiting for the study's record: q leaves.")
	case m.message != "":
		return m.wrapped(m.message)
	case hurryLine(m.view) != "":
		return m.wrapped(hurryLine(m.view))
	case m.view.RestDue:
		return m.wrapped("You have listened for long enough: t takes a rest.")
	}
	return nil
}

// late reports whether an action takes longer than anybody should wait without a word; a helper may take a while.
func (m model) late() bool {
	return m.busy && !m.sound.ByHand && m.waited > int(time.Second/refreshEvery)
}

// helperLine says whether the helper is at work.
func (m model) helperLine() string {
	if m.busy {
		return "   " + strong.Render("the helper is connecting …")
	}
	return ""
}

var blocks = []rune(" ▁▂▃▄▅▆▇█")

// timeline draws the music's envelope, the loop below it and the place that sounds.
func (m model) timeline() []row {
	s := m.sound
	const margin = 3
	n := max(10, m.width-2*margin)
	pad := strings.Repeat(" ", margin)
	column := func(seconds float64) int {
		if s.Length <= 0 {
			return 0
		}
		return min(n-1, max(0, int(seconds/s.Length*float64(n))))
	}
	from, to, at := column(s.From), column(s.To), column(s.Position)
	wave := envelope(s.Envelope, n)
	loop := []rune(strings.Repeat(" ", n))
	for i := from; i <= to; i++ {
		loop[i] = '─'
	}
	loop[from], loop[to] = '├', '┤'
	cursor := strings.Repeat(" ", at) + strong.Render("▲")
	return []row{
		{pad + faint.Render(string(wave[:from])) + string(wave[from:to+1]) + faint.Render(string(wave[to+1:])), optional},
		{pad + string(loop), needed},
		{pad + cursor, needed},
		{pad + fmt.Sprintf("at %s   loop %s to %s of %s", clock(s.Position), clock(s.From), clock(s.To), clock(s.Length)), needed},
	}
}

// envelope reduces an envelope of 0 to 1 to n columns of blocks.
func envelope(values []float64, n int) []rune {
	wave := []rune(strings.Repeat(string(blocks[1]), n))
	for i := range wave {
		lo, hi := i*len(values)/n, (i+1)*len(values)/n
		most := 0.0
		for _, v := range values[lo:max(lo, min(hi, len(values)))] {
			most = max(most, v)
		}
		wave[i] = blocks[1+int(math.Round(min(1, most)*float64(len(blocks)-2)))]
	}
	return wave
}

// pads shows what each key plays, what plays now, and what was heard in this trial: side by side where they fit.
func (m model) pads() []string {
	var all []string
	for _, l := range m.view.Design.Labels() {
		name := fmt.Sprintf("  %s  ", strings.ToUpper(l.String()))
		if m.sound.Playing == l {
			name = marked.Render(name)
		} else {
			name = strong.Render(name)
		}
		state := "not heard"
		switch {
		case m.sound.Playing == l:
			state = "playing"
		case m.view.Heard[l]:
			state = "heard"
		}
		all = append(all, fmt.Sprintf("%s %-9s", name, state))
	}
	return m.inRows(all, "   ")
}

// inRows sets pieces side by side on as few lines as hold them, none of them broken.
func (m model) inRows(pieces []string, between string) []string {
	const margin = "   "
	lines := []string{margin + pieces[0]}
	for _, p := range pieces[1:] {
		last := &lines[len(lines)-1]
		if joined := *last + between + p; lipgloss.Width(joined) <= m.width-1 {
			*last = joined
		} else {
			lines = append(lines, margin+p)
		}
	}
	return lines
}

// answerLines names the keys that play and answer, or the answer that waits to be confirmed.
func (m model) answerLines() []string {
	if m.view.Phase == trials.Asked {
		return append(m.inRows([]string{marked.Render(" You say: " + m.view.Design.Claim(m.view.Pending) + ". "), "enter confirms, esc takes back"}, "  "),
			m.confidence()...)
	}
	var hear []string
	for _, l := range m.keys.play {
		hear = append(hear, l.Keys()[0])
	}
	pieces := []string{strings.Join(hear, " ") + " hear"}
	for _, k := range m.keys.answers {
		pieces = append(pieces, k.Help().Key+" "+k.Help().Desc)
	}
	lines := m.inRows(pieces, "     ")
	for i := range lines {
		lines[i] = faint.Render(lines[i])
	}
	return lines
}

// confidence shows how sure the listener is. The choice is in brackets, which every terminal can show.
func (m model) confidence() []string {
	pieces := []string{"how sure? press c:"}
	for i, name := range []string{"not said", "1 guess", "2", "3", "4 certain"} {
		if i == m.view.Confidence {
			name = marked.Render("[" + name + "]")
		} else {
			name = " " + name + " "
		}
		pieces = append(pieces, name)
	}
	return m.inRows(pieces, " ")
}

// trialFoot holds the keys that are not of the sound, and what sounds.
func (m model) trialFoot() []row {
	device := m.sound.Device
	if m.sound.Fault != nil {
		device = "sound failed: " + m.sound.Fault.Error()
	}
	return []row{
		m.rule(),
		{faint.Render(" ? help   t rest   v disturbed   q leave"), needed},
		{faint.Render(" " + printable.Text(device)), optional},
	}
}
