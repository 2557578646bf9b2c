package main

import (
	"fmt"
	"io"
	"maps"
	"slices"

	"heardiff/measure/jitter"
	"heardiff/measure/tone"
	"heardiff/stats/warning"
)

// atMost is figure for decibels, written as a bound if the figure does not exceed the limit that noise sets.
func atMost(db, limit float64, format string) string {
	if bound, is := tone.Bound(db, limit); is {
		return "< " + figure(bound, format)
	}
	return figure(db, format)
}

// standing returns how a figure compares with the set-up's own, if it does not clearly exceed it.
func standing(limits []tone.Limit, figure string) string {
	for _, l := range limits {
		if l.Figure == figure && l.Standing != tone.Measured {
			return " (" + l.Standing + ")"
		}
	}
	return ""
}

// warningHints says what to do about a warning.
var warningHints = map[warning.Code]string{
	jitter.ShorterWords: "measure it with --bits 16",
	tone.JitterSignal:   "measure it with --as jitter",
}

// warningsText prints warnings, and below them what can be done about them, once each.
func warningsText(w io.Writer, warned warning.Warnings) {
	for i, s := range warned.Texts {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "warning: %s\n", s)
	}
	for _, code := range slices.Sorted(maps.Keys(warningHints)) {
		if warned.Warned(code) {
			fmt.Fprintf(w, "hint: %s\n", warningHints[code])
		}
	}
}
