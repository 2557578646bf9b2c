package screen

import (
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/lipgloss"

	"heardiff/trials"
)

// head says how far the session is: the trial and what is saved, a bar of the trials done, time so far and time left.
func (m model) head() []row {
	place, right := " "+m.place(), m.rest()+m.saved()+" "
	if lipgloss.Width(place+right) >= m.width {
		right = m.saved() + " "
	}
	gap := max(1, m.width-lipgloss.Width(place)-lipgloss.Width(right))
	return []row{{strong.Render(place) + strings.Repeat(" ", gap) + right, needed}, {m.bar(), needed}, m.rule()}
}

// place names the trial, the same for every hidden assignment.
func (m model) place() string { return fmt.Sprintf("trial %d of %d", m.view.Trial, m.view.Trials) }

// saved says how many answers are on disk.
func (m model) saved() string {
	switch m.view.Answered {
	case 0:
		return "Answers are saved at once."
	case 1:
		return "1 answer is saved."
	}
	return fmt.Sprintf("%d answers are saved.", m.view.Answered)
}

// rest is the clock of the next rest, "" in a plan without rests.
func (m model) rest() string {
	switch {
	case m.view.RestDue:
		return "A rest is due (t). "
	case m.view.RestIn > 0:
		return "Next rest in " + minutes(m.view.RestIn) + ". "
	}
	return ""
}

// bar shows the trials done as a share of all, with the time they took and the time that is left.
func (m model) bar() string {
	times := minutes(m.view.Worked) + " so far"
	if left := m.left(); left != "" {
		times += ", " + left
	}
	wide := max(1, m.width-lipgloss.Width(times)-4)
	done := 0
	if m.view.Trials > 0 {
		done = wide * m.done() / m.view.Trials
	}
	return " " + strings.Repeat("█", done) + faint.Render(strings.Repeat("░", wide-done)) + "  " + times
}

// done is how many trials are over, answered or void.
func (m model) done() int {
	if m.view.Phase == trials.Done {
		return m.view.Trials
	}
	return max(0, m.view.Trial-1)
}

// left says how long the rest of the session takes at the pace of the last trials, "" where that is not known yet.
func (m model) left() string {
	switch {
	case m.view.Remaining <= 0:
		return ""
	case m.view.MayEndEarly:
		return "at most " + roughly(m.view.Remaining) + " left"
	}
	return roughly(m.view.Remaining) + " left"
}

// roughly words an estimated time to the minute.
func roughly(d time.Duration) string {
	if d < time.Minute/2 {
		return minutes(d)
	}
	return "about " + minutes(d)
}

// status says what is saved and how long the rest takes, in sentences.
func (m model) status() string {
	left := m.left()
	if left == "" {
		return m.saved()
	}
	return m.saved() + " " + strings.ToUpper(left[:1]) + left[1:] + ", rests not counted."
}

// hoursFrom is from how many minutes on a time is in hours and minutes.
const hoursFrom = 100

// minutes words a time to the minute.
func minutes(d time.Duration) string {
	n := int(d.Round(time.Minute) / time.Minute)
	switch {
	case n < 1:
		return "under 1 min"
	case n < hoursFrom:
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %d min", n/60, n%60)
}

// minutesAndSeconds words a time that runs.
func minutesAndSeconds(d time.Duration) string {
	s := int(d / time.Second)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// more says that a page goes on below the window, or above.
func (m model) more() string {
	below := m.below()
	switch {
	case below == 0:
		return ""
	case m.scroll < below:
		return "   ↓ more"
	}
	return "   ↑ back to the top"
}
