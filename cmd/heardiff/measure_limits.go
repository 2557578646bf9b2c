package main

import (
	"fmt"
	"io"
	"strings"

	"heardiff/measure/tone"
)

// limitNames are the figures that have limits, by their keys in JSON.
var limitNames = map[string]string{
	"thd_db": "THD", "thd_n_db": "THD+N", "sinad_db": "SINAD", "noise_db": "noise", tone.HumLimit: "strongest hum line",
	"dynamic_range_db": "dynamic range", "dynamic_range_a_db": "dynamic range, A-weighted", "dynamic_range_ccir_db": "dynamic range, CCIR-RMS",
	"below_tone_plus_60_a_db": "below the tone plus 60 dB, A-weighted",
	"unweighted_dbfs":         "noise, unweighted", "a_weighted_dbfs": "noise, A-weighted", "ccir_rms_dbfs": "noise, CCIR-RMS",
	"relative_to_reference_db": "noise to the reference",
	"imd_db":                   "intermodulation", "second_order_db": "second order", "third_order_db": "third order",
}

// limitName names the figure of a limit, one of a list by its place in the tables above.
func limitName(key string) string {
	if name, ok := limitNames[key]; ok {
		return name
	}
	list, rest, _ := strings.Cut(key, "[")
	var k int
	if _, err := fmt.Sscanf(rest, "%d", &k); err != nil {
		return key
	}
	switch list {
	case "harmonics":
		return fmt.Sprintf("harmonic %d", k+2)
	case "spurs":
		return fmt.Sprintf("line %d", k+1)
	}
	return fmt.Sprintf("%s %d", strings.TrimSuffix(list, "s"), k+1)
}

// limitsText prints how the figures of each channel compare with those of the recording set-up alone, or with the noise of the capture where that is
// more; nothing without any.
func limitsText(w io.Writer, channels [][]tone.Limit) {
	t := newTable("channel", "figure", "limit, dB", "the capture's")
	t.right(0, 2)
	t.keyed(2)
	for i, limits := range channels {
		for _, l := range limits {
			t.row(fmt.Sprint(i+1), limitName(l.Figure), figure(l.Limit, "%.2f"), l.Standing)
		}
	}
	t.print(w, "\n")
	if len(t.rows) > 0 {
		fmt.Fprintln(w, "Limit: the set-up's own figure, or what the noise of the capture alone reaches where that is more.")
	}
}
