package main

import (
	"fmt"
	"io"
	"strings"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure/tone"
)

// writeText returns what prints a result for people: the file's name, then text of the result.
func writeText[T any](path string, result T, text func(T) string) func(io.Writer) {
	return func(w io.Writer) { fmt.Fprintf(w, "%s: %s", printable.Text(path), text(result)) }
}

func toneText(r tone.Result) string {
	var b strings.Builder
	fmt.Fprintf(&b, "tone, %.1f s at %d Hz; ratios to the fundamental, 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "tone Hz", "level dBFS", "THD dB", "THD+N dB", "SINAD dB", "noise dB")
	t.right(0, 1, 2, 3, 4, 5, 6)
	harmonics := newTable("channel", "harmonic", "dBc", "noise limit dBc")
	harmonics.right(0, 1, 2, 3)
	lines := newTable("channel", "kind", "Hz", "dBc")
	lines.right(0, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.3f"), atMost(c.THDDB, c.THDLimitDB, "%.2f"),
			figure(c.THDNDB, "%.2f"), figure(c.SINADDB, "%.2f"), figure(c.NoiseDB, "%.2f"))
		for _, h := range c.Harmonics {
			harmonics.row(name, fmt.Sprint(h.Order), atMost(h.DBC, h.LimitDBC, "%.1f"), figure(h.LimitDBC, "%.1f"))
		}
		for _, l := range c.Hum {
			lines.row(name, "hum", fmt.Sprintf("%.2f", l.Hz), figure(l.DBC, "%.1f"))
		}
		for _, l := range c.Spurs {
			lines.row(name, "line", fmt.Sprintf("%.2f", l.Hz), figure(l.DBC, "%.1f"))
		}
	}
	t.print(&b, "")
	harmonics.print(&b, "\n")
	lines.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Warnings)
	return b.String()
}

func lowToneText(r tone.LowToneResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "dynamic range, %.1f s at %d Hz; residual below 0 dBFS, 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "tone Hz", "level dBFS", "unweighted dB", "A dB", "CCIR-RMS dB")
	t.right(0, 1, 2, 3, 4, 5)
	for _, c := range r.Channel {
		t.row(fmt.Sprint(c.Channel), figure(c.FrequencyHz, "%.4f"), figure(c.LevelDBFS, "%.2f"), figure(c.DynamicRangeDB, "%.2f"),
			figure(c.DynamicRangeADB, "%.2f"), figure(c.DynamicRangeCCIRDB, "%.2f"))
	}
	t.print(&b, "")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Warnings)
	return b.String()
}

func noiseText(r tone.NoiseResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "noise, %.1f s at %d Hz; 20 Hz to 20 kHz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "unweighted dBFS", "A dBFS", "CCIR-RMS dBFS", "DC", "to reference dB")
	t.right(0, 1, 2, 3, 4, 5)
	lines := newTable("channel", "kind", "Hz", "dBFS")
	lines.right(0, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.UnweightedDBFS, "%.2f"), figure(c.AWeightedDBFS, "%.2f"), figure(c.CCIRRMSDBFS, "%.2f"),
			figure(c.DC, "%.1e"), figure(c.RelativeToReferenceDB, "%.2f"))
		for _, l := range c.Hum {
			lines.row(name, "hum", fmt.Sprintf("%.2f", l.Hz), figure(l.DBFS, "%.1f"))
		}
		for _, l := range c.Spurs {
			lines.row(name, "line", fmt.Sprintf("%.2f", l.Hz), figure(l.DBFS, "%.1f"))
		}
	}
	t.print(&b, "")
	lines.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Warnings)
	return b.String()
}

func twoToneText(r tone.TwoToneResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "two tones, %.1f s at %d Hz\n\n", r.Seconds, r.RateHz)
	t := newTable("channel", "low Hz", "high Hz", "low dBFS", "high dBFS", "method", "IMD dB", "2nd dB", "3rd dB")
	t.right(0, 1, 2, 3, 4, 6, 7, 8)
	products := newTable("channel", "product Hz", "order", "dBc", "noise limit dBc")
	products.right(0, 1, 2, 3, 4)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		t.row(name, figure(c.LowHz, "%.3f"), figure(c.HighHz, "%.3f"), figure(c.LowDBFS, "%.2f"), figure(c.HighDBFS, "%.2f"),
			c.Method, atMost(c.IMDDB, c.IMDLimitDB, "%.2f"), figure(c.SecondOrderDB, "%.2f"), figure(c.ThirdOrderDB, "%.2f"))
		for _, p := range c.Products {
			products.row(name, fmt.Sprintf("%.1f", p.Hz), fmt.Sprint(p.Order), atMost(p.DBC, p.LimitDBC, "%.1f"), figure(p.LimitDBC, "%.1f"))
		}
	}
	t.print(&b, "")
	products.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Warnings)
	return b.String()
}

func sweepText(r tone.SweepResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "sweep, %.1f s at %d Hz; 0 dB at 1 kHz\n\n", r.Seconds, r.RateHz)
	response := newTable("channel", "Hz", "dB")
	response.right(0, 1, 2)
	harmonics := newTable("channel", "harmonic", "dB", "limit dB")
	harmonics.right(0, 1, 2, 3)
	for _, c := range r.Channel {
		name := fmt.Sprint(c.Channel)
		for i, p := range c.Response {
			if i%4 == 0 { // a third of an octave apart; all of them are in the JSON
				response.row(name, fmt.Sprintf("%.0f", p.Hz), figure(p.DB, "%.3f"))
			}
		}
		for _, h := range c.Harmonics {
			harmonics.row(name, fmt.Sprint(h.Order), atMost(h.DB, h.LimitDB, "%.1f"), figure(h.LimitDB, "%.1f"))
		}
	}
	response.print(&b, "")
	harmonics.print(&b, "\n")
	for _, c := range r.Channel {
		limitText(&b, c.Channel, c.Limits)
	}
	warningsText(&b, r.Warnings)
	return b.String()
}

// atMost is figure, of one in decibels that is no more than a bound where it does not exceed what noise makes of it.
func atMost(db, limit float64, format string) string {
	if db <= limit {
		return "< " + figure(limit, format)
	}
	return figure(db, format)
}

func limitText(w io.Writer, channel int, limits []tone.Limit) {
	t := newTable("channel", "figure", "set-up alone", "standing")
	t.right(0, 2)
	for _, l := range limits {
		t.row(fmt.Sprint(channel), l.Figure, figure(l.Limit, "%.2f"), l.Standing)
	}
	t.print(w, "\n")
}
