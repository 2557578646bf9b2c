package screen

import (
	"encoding/xml"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/lipgloss"

	"heardiff/trials"
)

var update = flag.Bool("update", false, "draw the picture of the screen anew")

const picture = "../../../../testdata/pictures/listening.svg"

// The picture of the README is the screen that the program draws, at 80 by 24, of an invented session.
func TestThePictureIsTheScreen(t *testing.T) {
	got := svg(pictured(t).View(), 80, 24)
	if *update {
		if err := os.WriteFile(picture, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(picture)
	if err != nil || got != string(want) {
		t.Errorf("the picture is not what the screen shows (error %v): \"make pictures\" draws it anew", err)
	}
}

// pictured is the screen in the midst of a session.
func pictured(t *testing.T) model {
	t.Helper()
	before := lipgloss.ColorProfile()
	lipgloss.SetColorProfile(0) // of a terminal, so that weights are written
	t.Cleanup(func() { lipgloss.SetColorProfile(before) })
	s := newSeat(t, trials.ABX, 42, trials.Seed{1})
	s.sound.Envelope = nil
	for i := range 300 { // a slow pulse
		x := float64(i) / 300
		s.sound.Envelope = append(s.sound.Envelope, 0.3+0.25*math.Sin(9*x)+0.4*math.Exp(-9*math.Mod(12*x, 1)))
	}
	s.sound.From, s.sound.To, s.sound.Position = 4.5, 8.2, 6.7
	s.sound.Playing, s.sound.Selected, s.sound.Device = trials.LabelX, trials.LabelX, "default, 48000 Hz, 32-bit float"
	m := newModel(s, Opening{Seal: "seal"})
	m.page = pageTrial
	m.view.Practice = false
	m.view.Trial, m.view.Trials, m.view.Answered = 15, 42, 14
	m.view.Worked, m.view.Remaining, m.view.RestIn = 9*time.Minute, 18*time.Minute, 11*time.Minute
	m.view.Heard = map[trials.Label]bool{trials.LabelA: true, trials.LabelX: true}
	return sized(m, 80, 24)
}

// Sizes of a cell of the picture, in its own units.
const (
	cellWide, cellHigh = 9, 19
	frame              = 14
)

// svg draws the text of a terminal: its cells on a grid, bold, faint and reversed as the codes in it say.
func svg(view string, columns, lines int) string {
	var b strings.Builder
	wide, high := columns*cellWide+2*frame, lines*cellHigh+2*frame
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" role="img" aria-label="the listening screen">`+"\n", wide, high, wide, high)
	fmt.Fprintf(&b, `<rect width="%d" height="%d" rx="8" fill="#fbfbf8" stroke="#999"/>`+"\n", wide, high)
	b.WriteString(`<g font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="15" fill="#1b1b1b">` + "\n")
	for y, line := range strings.Split(view, "\n") {
		column := 0
		for _, s := range spans(line) {
			b.WriteString(s.svg(column, y))
			column += lipgloss.Width(s.text)
		}
	}
	b.WriteString("</g>\n</svg>\n")
	return b.String()
}

// span is a stretch of a line in one style.
type span struct {
	text                  string
	bold, faint, reversed bool
}

// spans divides a line at its codes (ECMA-48, SGR 0, 1, 2 and 7: the screen has no others).
func spans(line string) []span {
	var all []span
	var style span
	for i, part := range strings.Split(line, "\x1b[") {
		if i > 0 {
			codes, text, _ := strings.Cut(part, "m")
			for _, c := range strings.Split(codes, ";") {
				switch c {
				case "", "0":
					style = span{}
				case "1":
					style.bold = true
				case "2":
					style.faint = true
				case "7":
					style.reversed = true
				}
			}
			part = text
		}
		if part != "" {
			style.text = part
			all = append(all, style)
		}
	}
	return all
}

func (s span) svg(column, line int) string {
	if strings.TrimSpace(s.text) == "" && !s.reversed {
		return ""
	}
	x, y, wide := frame+column*cellWide, frame+line*cellHigh, lipgloss.Width(s.text)*cellWide
	var b, text strings.Builder
	attributes := ""
	if s.reversed {
		fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%d" height="%d"/>`, x, y, wide, cellHigh)
		attributes += ` fill="#fbfbf8"`
	}
	if s.bold {
		attributes += ` font-weight="bold"`
	}
	if s.faint {
		attributes += ` fill-opacity="0.55"`
	}
	// Spaces that do not break: a reader of SVG draws several others as one.
	_ = xml.EscapeText(&text, []byte(strings.ReplaceAll(s.text, " ", "\u00a0"))) // a strings.Builder takes all
	fmt.Fprintf(&b, `<text x="%d" y="%d" textLength="%d" lengthAdjust="spacingAndGlyphs"%s>%s</text>`+"\n", x, y+15, wide, attributes, text.String())
	return b.String()
}
