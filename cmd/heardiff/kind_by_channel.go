package main

import (
	"fmt"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/tone"
	"heardiff/trials/study"
)

// byChannel declares how a kind is shown whose results, of type T, are figures of channels, of type C, with limits that the recording set-up sets: tones,
// noise and sweeps. It holds what differs between kinds; tables, curves and floors are put together alike for all.
type byChannel[T, C any] struct {
	of study.Kind
	// channels and limits fetch a field, which Go's type parameters cannot name.
	channels func(T) []C
	limits   func(C) []tone.Limit
	heading  func(T) string
	words    func(C) string // the main figures of a channel
	tables   []channelTable[C]
	title    func(captures string) string // of the picture
	// curve draws a channel; one without points is left out.
	curve func(C) plot.Curve
	// picture is plot.Spectrum unless set.
	picture  func(title string, curves []plot.Curve, floor *plot.Curve) plot.Chart
	together func(chains []named[T], floor *named[T]) (plot.Chart, bool)
}

// channelTable is a table of rows of each channel, whose number is its first column.
type channelTable[C any] struct {
	columns []string // without the channel
	words   []int    // columns that are no numbers, by index
	rows    func(C) [][]string
}

// measured returns the declaration as one of any result.
func (k byChannel[T, C]) measured() measuredAs[T] {
	return measuredAs[T]{Measured: measuredIn[T](k.of), text: k.text, words: k.firstWords, chart: k.chart, together: k.together}
}

func (k byChannel[T, C]) firstWords(r T) string {
	channels := k.channels(r)
	if len(channels) == 0 {
		return ""
	}
	return k.words(channels[0])
}

func (k byChannel[T, C]) text(r T) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", k.heading(r))
	before := ""
	for _, t := range k.tables {
		t.of(k.channels(r)).print(&b, before)
		before = "\n"
	}
	var limits [][]tone.Limit
	for _, c := range k.channels(r) {
		limits = append(limits, k.limits(c))
	}
	limitsText(&b, limits)
	warningsText(&b, *measuredIn[T](k.of).Warnings(&r))
	return b.String()
}

// of fills the table.
func (t channelTable[C]) of(channels []C) *table {
	filled := newTable(append([]string{"channel"}, t.columns...)...)
	words := map[int]bool{}
	for _, i := range t.words {
		words[i] = true
	}
	filled.right(0)
	for i := range t.columns {
		if !words[i] {
			filled.right(i + 1)
		}
	}
	for i, c := range channels {
		for _, row := range t.rows(c) {
			filled.row(append([]string{fmt.Sprint(i + 1)}, row...)...)
		}
	}
	return filled
}

func (k byChannel[T, C]) chart(captures []named[T], floor *named[T]) plot.Chart {
	var below *plot.Curve
	if floor != nil {
		below = floorOf(k.curves(floor.result))
	}
	title, curves := k.title(titled(captures)), overlaid(captures, k.curves)
	if k.picture != nil {
		return k.picture(title, curves, below)
	}
	return plot.Spectrum{Title: title, Chains: curves, Floor: below}
}

func (k byChannel[T, C]) curves(r T) []plot.Curve {
	var list []plot.Curve
	for i, c := range k.channels(r) {
		if curve := k.curve(c); len(curve.Hz) > 0 {
			curve.Name = fmt.Sprintf("channel %d", i+1)
			list = append(list, curve)
		}
	}
	return list
}

// one makes the rows of a table that has one row a channel.
func one[C any](row func(C) []string) func(C) [][]string {
	return func(c C) [][]string { return [][]string{row(c)} }
}

// lineTable is a table of the hum and the other lines of a channel, with their levels in a unit.
func lineTable[C, L any](unit string, hum, spurs func(C) []L, values func(L) (hz, db float64)) channelTable[C] {
	return channelTable[C]{columns: []string{"kind", "Hz", unit}, words: []int{0}, rows: func(c C) (rows [][]string) {
		for _, of := range []struct {
			kind  string
			lines []L
		}{{"hum", hum(c)}, {"line", spurs(c)}} {
			for _, l := range of.lines {
				hz, db := values(l)
				rows = append(rows, []string{of.kind, fmt.Sprintf("%.2f", hz), figure(db, "%.1f")})
			}
		}
		return rows
	}}
}

// densityCurve returns a noise density, with lines, for a chart.
func densityCurve(density []tone.DensityPoint, lines ...plot.Spur) plot.Curve {
	curve := plot.Curve{Spurs: lines}
	for _, d := range density {
		curve.Hz, curve.Y = append(curve.Hz, d.Hz), append(curve.Y, d.DBFS)
	}
	return curve
}
