package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
	"heardiff/trials/study"
)

// warningHints says what to do about a warning.
var warningHints = map[warning.Code]string{
	jitter.ShorterWords: "measure it with --bits 16",
	tone.JitterSignal:   "measure it with --as jitter",
}

// warningsText prints the warnings of a measurement after an empty line, and below them what can be done about them, once each.
func warningsText(w io.Writer, warned warning.Warnings) {
	if len(warned.Details) > 0 {
		fmt.Fprintln(w)
	}
	warningLines(w, "warning: ", warned)
	hints(w, warned)
}

// warningLines prints each warning on a line of its own, after lead.
func warningLines(w io.Writer, lead string, warned warning.Warnings) {
	for _, text := range warned.Texts {
		fmt.Fprintf(w, "%s%s\n", lead, text)
	}
}

// hints prints what can be done about warnings, once each.
func hints(w io.Writer, warned ...warning.Warnings) {
	for _, code := range slices.Sorted(maps.Keys(warningHints)) {
		if slices.ContainsFunc(warned, func(one warning.Warnings) bool { return one.Warned(code) }) {
			fmt.Fprintf(w, "hint: %s\n", warningHints[code])
		}
	}
}

// warningsOfCaptures prints what the results of captures warn of, then what their report does. Lines that read the same are one, with all
// the captures to which it applies.
func warningsOfCaptures(w io.Writer, r study.MeasureReport) {
	var lines mergedLines
	all := []warning.Warnings{r.Warnings}
	for _, m := range r.Measured {
		all = append(all, m.Warnings)
		for _, text := range m.Warnings.Texts {
			lines.add(text, fmt.Sprintf("%d (%s)", m.Capture, m.Chain))
		}
	}
	if len(lines.order)+len(r.Details) > 0 {
		fmt.Fprintln(w)
	}
	for _, line := range lines.order {
		fmt.Fprintf(w, "warning: capture %s: %s\n", strings.Join(lines.of[line], ", "), line)
	}
	warningLines(w, "warning: ", r.Warnings)
	hints(w, all...)
}

// mergedLines are lines to print, each once, with the names of what they are about. The zero value is empty.
type mergedLines struct {
	order []string
	of    map[string][]string
}

// add adds a line about what has a name; what was measured as several kinds comes with the same line again.
func (m *mergedLines) add(line, name string) {
	if m.of == nil {
		m.of = map[string][]string{}
	}
	if m.of[line] == nil {
		m.order = append(m.order, line)
	}
	if !slices.Contains(m.of[line], name) {
		m.of[line] = append(m.of[line], name)
	}
}
