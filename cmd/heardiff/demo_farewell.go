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
		"help capture                      # how to record, and what",
		`study new DIR --title "…"         # where it begins; every command ends with the one that comes next`,
	} {
		fmt.Fprintf(w, "  heardiff %s\n", line)
	}
}
