package screen

import (
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"heardiff/cmd/heardiff/internal/printable"
)

// row is a line of the screen. Where the window is low, rows are left out, those with the highest rank first; needed ones
// never are.
type row struct {
	text string
	rank rank
}

type rank uint8

const (
	needed    rank = iota
	optional       // text that the task can do without
	ruleLine       // a horizontal rule
	emptyLine      // an empty line
	extraLine      // a second empty line
)

func rows(r rank, lines ...string) []row {
	var all []row
	for _, l := range lines {
		all = append(all, row{l, r})
	}
	return all
}

func (m model) rule() row { return row{faint.Render(strings.Repeat("─", m.width)), ruleLine} }

// narrowest is the fewest columns on which all can be shown.
const narrowest = 40

// View implements tea.Model. It is a pure function of the model. Whatever the size of the window, the keys at its foot stay.
func (m model) View() string {
	body, foot := m.fitted()
	var lines []string
	for _, r := range body {
		lines = append(lines, r.text)
	}
	for len(lines)+len(foot) < m.height {
		lines = append(lines, "")
	}
	for _, r := range foot {
		lines = append(lines, r.text)
	}
	lines = lines[:min(len(lines), m.height)]
	for i := range lines {
		lines[i] = ansi.Truncate(lines[i], m.width, "")
	}
	return strings.Join(lines, "\n")
}

// leastText is how many lines of a text are shown at the least. A judgement, no source; no figure depends on it.
const leastText = 3

// fitted returns what the window holds of the page and of its foot.
func (m model) fitted() (body, foot []row) {
	foot = m.foot()
	if text := m.text(); text != nil {
		if room := m.room(); m.width >= narrowest && room >= leastText {
			from := min(m.scroll, max(0, len(text)-room))
			return append(m.head(), rows(needed, text[from:min(len(text), from+room)]...)...), foot
		}
		return m.tooSmall(foot)
	}
	body = append(m.head(), m.trialPage()...)
	for most := extraLine; m.width >= narrowest; most-- {
		b, f := upTo(most, body), upTo(most, foot)
		if len(b)+len(f) <= m.height {
			return b, f
		}
		if most == needed {
			break
		}
	}
	return m.tooSmall(foot)
}

// upTo returns the rows of a rank and of those below it.
func upTo(most rank, all []row) []row {
	var kept []row
	for _, r := range all {
		if r.rank <= most {
			kept = append(kept, r)
		}
	}
	return kept
}

// tooSmall says so above the keys, which still work.
func (m model) tooSmall(foot []row) (said, keys []row) {
	keys = upTo(needed, foot)
	said = rows(needed, m.wrapped("The window is too small.")...)
	return said[:max(0, min(len(said), m.height-len(keys)))], keys
}

// textFoot is how many rows the foot of a page of text has.
const textFoot = 2

// room is how many lines of a page of text fit between head and foot.
func (m model) room() int { return m.height - len(m.head()) - textFoot }

// below is how many lines of a page of text are left to scroll through.
func (m model) below() int { return max(0, len(m.text())-m.room()) }

// scrolls returns by how many lines a key turns a page of text that does not fit; false for other keys and pages.
func (m model) scrolls(k tea.KeyMsg) (lines int, ok bool) {
	if m.page == pageVoid || m.text() == nil || m.below() == 0 {
		return 0, false
	}
	switch {
	case key.Matches(k, m.keys.up):
		return -1, true
	case key.Matches(k, m.keys.down):
		return 1, true
	case key.Matches(k, m.keys.pageUp):
		return -max(1, m.room()-1), true
	case key.Matches(k, m.keys.pageDown):
		return max(1, m.room()-1), true
	}
	return 0, false
}

// widest is how long a line of text is at most: longer ones are hard to read.
const widest = 96

// wrapped breaks a text at its words, to lines that the window holds. What is longer than a line and has no space, such as a
// hash, is broken where it must be.
func (m model) wrapped(text string) []string {
	var lines []string
	width := min(max(10, m.width-4), widest)
	for line := range strings.SplitSeq(text, "\n") {
		for _, part := range printable.Wrap(printable.Text(line), width) {
			for piece := range strings.SplitSeq(ansi.Hardwrap(part, width, true), "\n") {
				lines = append(lines, "  "+piece)
			}
		}
	}
	return lines
}

// paragraphs wraps several texts.
func (m model) paragraphs(texts ...string) []string {
	var lines []string
	for _, t := range texts {
		lines = append(lines, m.wrapped(t)...)
	}
	return lines
}
