package main

import (
	"heardiff/measure/tone"
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
