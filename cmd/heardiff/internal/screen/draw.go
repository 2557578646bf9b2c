package screen

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials"
)

// The screen speaks in weight, not in colour: it reads the same in monochrome.
var (
	strong = lipgloss.NewStyle().Bold(true)
	faint  = lipgloss.NewStyle().Faint(true)
	marked = lipgloss.NewStyle().Reverse(true)
)

// View implements tea.Model. It is a pure function of the model.
func (m model) View() string {
	lines := m.body()
	foot := m.foot()
	for len(lines)+len(foot) < m.height {
		lines = append(lines, "")
	}
	lines = append(lines, foot...)
	if len(lines) > m.height {
		lines = lines[:m.height]
	}
	for i := range lines {
		lines[i] = ansi.Truncate(lines[i], m.width, "")
	}
	return strings.Join(lines, "\n")
}

func (m model) body() []string {
	lines := []string{m.head(), faint.Render(strings.Repeat("─", m.width)), ""}
	switch m.page {
	case pageStart:
		return append(lines, m.startPage()...)
	case pageHelp:
		return append(lines, m.helpPage()...)
	case pageVoid:
		return append(lines, "  Disturbed? Say why in a word or two.", "  The trial is void then, and one like it comes at the end.",
			"", "  "+strong.Render("why: ")+m.reason+marked.Render(" "), "", faint.Render("  enter: void this trial    esc: back"))
	case pageLeave:
		return append(lines, "  Leave? Every confirmed answer is on disk.", "",
			"  enter  leave now and resume later at this same trial",
			"  g      give up for good: the session stays in the study, counted as given up",
			"  esc    stay")
	case pageEnd:
		for _, l := range m.summary {
			lines = append(lines, m.wrapped(l)...)
		}
		return lines
	}
	if m.view.Phase == trials.Resting {
		return append(lines, "  "+strong.Render("Resting."), "", "  Take the headphones off. Look far away.", "", faint.Render("  enter: go on    q: leave"))
	}
	return append(lines, m.trialPage()...)
}

// wrapped breaks a text to lines that the screen holds.
func (m model) wrapped(text string) []string {
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		for part := range strings.SplitSeq(ansi.Wordwrap(printable.Text(line), max(10, m.width-4), ""), "\n") {
			lines = append(lines, "  "+strings.TrimLeft(part, " "))
		}
	}
	return lines
}

func (m model) head() string {
	left := strong.Render(" heardiff") + "  session " + printable.Text(m.view.Session)
	right := trialLine(m.view) + " "
	gap := max(1, m.width-lipgloss.Width(left)-lipgloss.Width(right))
	return left + strings.Repeat(" ", gap) + right
}

func (m model) trialPage() []string {
	lines := []string{"  " + strong.Render(m.view.Design.Question())}
	if m.view.Practice {
		lines[0] += "   " + marked.Render(" practice: does not count ")
	}
	lines = append(lines, "")
	if m.sound.ByHand {
		lines = append(lines, "   Ask for what you want to hear; the helper connects it.", "", m.helperLine())
	} else {
		lines = append(lines, m.timeline()...)
	}
	lines = append(lines, "", m.pads(), "", m.answerLine(), "")
	switch {
	case m.late():
		lines = append(lines, "  Waiting for the study's record: q leaves.")
	case m.message != "":
		lines = append(lines, m.wrapped(m.message)...)
	case hurryLine(m.view) != "":
		lines = append(lines, m.wrapped(hurryLine(m.view))...)
	case m.view.RestDue:
		lines = append(lines, "  You have listened for long enough: t takes a rest.")
	}
	return lines
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
func (m model) timeline() []string {
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
	return []string{
		pad + faint.Render(string(wave[:from])) + string(wave[from:to+1]) + faint.Render(string(wave[to+1:])),
		pad + string(loop),
		pad + cursor,
		pad + fmt.Sprintf("at %s   loop %s to %s of %s", clock(s.Position), clock(s.From), clock(s.To), clock(s.Length)),
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

// pads shows what each key plays, what plays now, and what was heard in this trial.
func (m model) pads() string {
	var b strings.Builder
	b.WriteString("   ")
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
		b.WriteString(fmt.Sprintf("%s %-10s   ", name, state))
	}
	return b.String()
}

// answerLine names the keys that play and answer, or the answer that waits to be confirmed.
func (m model) answerLine() string {
	if m.view.Phase != trials.Asked {
		var line strings.Builder
		line.WriteString("  ")
		for _, k := range m.keys.play {
			line.WriteString(" " + k.Help().Key)
		}
		line.WriteString(" hear")
		for _, k := range m.keys.answers {
			line.WriteString("     " + k.Help().Key + " " + k.Help().Desc)
		}
		return faint.Render(line.String())
	}
	sure := "not said"
	if m.view.Confidence > 0 {
		sure = fmt.Sprintf("%d of 4", m.view.Confidence)
	}
	return "   " + marked.Render(fmt.Sprintf(" You say: %s. ", m.view.Design.Claim(m.view.Pending))) +
		fmt.Sprintf("  enter confirms, esc takes back.  how sure (c): %s", sure)
}

// startPage stands before the first sound of every sitting.
func (m model) startPage() []string {
	lines := []string{"  " + strong.Render("Before any sound plays"), ""}
	for _, l := range Caution() {
		lines = append(lines, "  "+l)
	}
	return append(lines, "",
		"  The order of this session was drawn by chance, and is sealed:",
		"  sha256 "+m.seal,
		"  Note it down if you like: the end reveals the seed, and anyone can check.",
		"", "  "+strong.Render("enter")+"  begin       "+strong.Render("q")+"  leave")
}

func (m model) helpPage() []string {
	var lines []string
	list := m.keys.list()
	half := (len(list) + 1) / 2
	for i := range half {
		line := "  " + helpEntry(list[i])
		if i+half < len(list) {
			line += helpEntry(list[i+half])
		}
		lines = append(lines, line)
	}
	return append(lines, "", "  A confirmed answer cannot be changed. Nothing tells how you do until the end.", "",
		faint.Render("  any key: back"))
}

func helpEntry(k key.Binding) string {
	return fmt.Sprintf("%-7s%-30s", k.Help().Key, k.Help().Desc)
}

func (m model) foot() []string {
	if m.page == pageEnd {
		return []string{faint.Render(" any key: leave")}
	}
	device := m.sound.Device
	if m.sound.Fault != nil {
		device = "sound failed: " + m.sound.Fault.Error()
	}
	return []string{
		faint.Render(strings.Repeat("─", m.width)),
		faint.Render(" ? help   q leave   order sealed: " + m.seal[:min(16, len(m.seal))] + "…"),
		faint.Render(" " + printable.Text(device)),
	}
}
