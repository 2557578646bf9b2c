package main

import (
	"fmt"
	"io"

	"heardiff/trials"
	"heardiff/trials/link"
)

// thresholdText prints a threshold run: its tracks, and how it ends.
func (r planReport) thresholdText(w io.Writer) {
	run := r.Threshold
	purpose := "threshold run"
	if run.Training {
		purpose = "training, which no result counts"
	}
	fmt.Fprintf(w, "plan %s: %s, %s, doses placed by %s\nhash %s\n", r.ID, purpose, r.Design, run.Procedure, r.Hash)
	t := newTable("ladder", "doses", "from", "to", "unit", "most trials")
	t.right(1, 2, 3, 5)
	for _, track := range run.Tracks {
		low, high := track.Rungs[0], track.Rungs[len(track.Rungs)-1]
		ends, unit := link.Scaled(track.Unit, low.Dose, high.Dose)
		t.row(track.Name, fmt.Sprint(len(track.Rungs)), plainDigits(ends[0]), plainDigits(ends[1]), unit, fmt.Sprint(track.Limit))
	}
	t.print(w, "\n")
	if run.PlainEvery > 0 {
		fmt.Fprintf(w, "\none trial in %d of each ladder, drawn by lot, is at its largest dose\n", run.PlainEvery)
	}
	if run.WithinDB > 0 {
		fmt.Fprintf(w, "\neach ladder ends when its threshold is known within ±%g dB (95 %%), or after its most trials\n", run.WithinDB)
	}
	for _, k := range []trials.Kind{trials.Practice, trials.PositiveControl, trials.NegativeControl} {
		if n := r.Count(k); n > 0 {
			fmt.Fprintf(w, "%s of %s\n", trials.Counted(n, "trial"), k)
		}
	}
}
