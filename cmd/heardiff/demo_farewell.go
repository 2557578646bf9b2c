package main

import (
	"fmt"
	"io"
	"sort"
)

// farewell prints the truth of the invented bench, and what to type for a real one.
func (d *demonstration) farewell(w io.Writer, report string) {
	ears := append([]demoListener{}, d.ears...)
	sort.Slice(ears, func(i, k int) bool { return ears[i].threshold < ears[k].threshold })
	fmt.Fprintf(w, "\nAll of this was invented. The truth, for comparison: the ears begin to notice differences\n")
	for _, e := range ears {
		fmt.Fprintf(w, "  %-6s %-10s %.0f dB below the music\n", e.id, e.group, -e.threshold)
	}
	fmt.Fprintf(w, "and the level of each difference is the null in the table of \"prepare\" above.\n\n")
	fmt.Fprintf(w, "The report: %s\n\nFor your own captures:\n\n", report)
	for _, line := range []string{
		"signal jitter --rate 48000 --bits 24 --seconds 40 --out jitter.wav    # play it, record it",
		`study new mine --title "…"          # then, in that folder:`,
		"chain add direct; heardiff chain add other; heardiff chain add loop --role floor",
		"capture add direct direct-jitter.wav --as jitter",
		"capture add direct direct-music.wav --as music",
		"measure",
		"prepare --excerpt 30:15",
		"plan new --design abx --a direct --b other --trials 42",
		"listener add L1 --group trained",
		"listen --plan 1 --listener L1",
		"link",
		"report --out mine.html",
	} {
		fmt.Fprintf(w, "  heardiff %s\n", line)
	}
}
