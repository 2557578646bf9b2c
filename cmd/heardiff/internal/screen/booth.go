// Package screen holds the two faces of a listening session: a full-screen one for the terminal, and a plain one
// that reads a command a line, for screen readers and pipes.
//
// Neither knows what is hidden: both see a session only through Booth, whose answers are the same for every
// hidden assignment.
package screen

import (
	"fmt"
	"time"

	"heardiff/trials"
)

// Booth is the listener's access to the session and its sound. Its methods may be called from
// several goroutines.
type Booth interface {
	View() trials.View
	// Sound returns what the player does now.
	Sound() trials.Sound
	// Play starts a label, or switches to it at the same instant.
	Play(trials.Label) error
	// Stop pauses; Restart goes to the start of the region and plays on.
	Stop() error
	Restart() error
	// Region sets what is looped, in seconds of the excerpt.
	Region(from, to float64) error
	Ask(a trials.Answer, confidence int) error
	TakeBack() error
	Confirm() error
	Void(reason string) error
	Rest() error
	// Wake ends a rest.
	Wake() error
	GiveUp(reason string) error
	// Summary returns the results once the session has ended, in lines.
	Summary() ([]string, error)
	// Kept returns, in lines, what is kept of a session that is left, and how to resume it.
	Kept() []string
}

// hurryLine says that the answer which waits to be confirmed would be marked as hurried, or "".
func hurryLine(v trials.View) string {
	if v.Phase != trials.Asked || !v.Hurried {
		return ""
	}
	return "heard only briefly: the answer will be marked as hurried; listen on, or confirm"
}

// feedbackLine returns how the last practice trial went, or "".
func feedbackLine(v trials.View) string {
	switch {
	case v.Feedback == nil:
		return ""
	case v.Feedback.Right:
		return fmt.Sprintf("practice: %q was right", v.Design.Claim(v.Feedback.Answer))
	}
	return fmt.Sprintf("practice: %q was wrong", v.Design.Claim(v.Feedback.Answer))
}

// Opening is the text before the first sound of a sitting.
type Opening struct {
	// Seal is the commitment to the order of the session, hexadecimal.
	Seal string
	// Notes are what the listener should know of the device, a sentence each.
	Notes []string
}

// clock formats seconds as minutes, seconds and tenths.
func clock(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second)).Round(100 * time.Millisecond)
	return fmt.Sprintf("%d:%04.1f", int(d.Minutes()), (d % time.Minute).Seconds())
}

// Caution returns the hearing caution that is shown before any sound, in lines of less than 76 characters.
//
// ref: NIOSH, recommended exposure limit 85 dBA over 8 h with a 3 dB exchange; WHO and ITU, Recommendation H.870,
// 80 dBA for 40 h a week, 75 dBA for children and the sensitive.
func Caution() []string {
	return []string{
		"Hearing: turn the volume all the way down, play \"heardiff signal level\"",
		"noise, turn up to no more than comfortable, and leave it alone from then on.",
		"heardiff knows levels in the file, not the sound at your ear. Published",
		"limits: at work 85 dBA for 8 hours, half the time for each 3 dB more",
		"(NIOSH); at leisure 80 dBA for 40 hours a week, 75 dBA for children (WHO-ITU).",
		"Rest when it asks you to. Stop if anything hurts or rings.",
	}
}
