package main

import (
	"fmt"
	"math"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/report"
	"heardiff/measure/match"
)

// pictures returns what the report draws of the measurements.
func (l linked) pictures() (report.Pictures, error) {
	var p report.Pictures
	for _, k := range kinds() {
		chains, floor := l.latestOf(k)
		chart, ok, err := k.shown.drawn(chains, floor)
		if err != nil {
			return p, err
		}
		if ok {
			p.Kinds = append(p.Kinds, chart)
		}
	}
	for i, pair := range l.Input.Pairings {
		r := l.Compared[i]
		if pair.Treatment != "" {
			continue // what a dose changes is known; a picture of each would bury the chains' own
		}
		name := fmt.Sprintf("%s against %s", pair.A, pair.B)
		if len(r.ResponseBands) > 0 {
			p.Responses = append(p.Responses, responseCurve(name, r))
		}
		if len(r.NullBands) > 0 {
			p.Nulls = append(p.Nulls, nullChart(name, r))
		}
	}
	for _, c := range l.Input.Chains {
		charts, err := l.transfers(c.After, c.Name)
		if err != nil {
			return p, err
		}
		p.Pairs = append(p.Pairs, charts...)
	}
	return p, nil
}

// latestOf returns each chain's latest result of a kind, and the result of the last chain that is the recording set-up alone.
func (l linked) latestOf(k kind) (chains []storedResult, floor *storedResult) {
	for _, c := range l.Input.Chains {
		data, ok := l.Latest(k.Name, c.Name)
		switch {
		case !ok:
		case c.Role == "floor":
			floor = &storedResult{c.Name, data}
		default:
			chains = append(chains, storedResult{c.Name, data})
		}
	}
	return chains, floor
}

// transfers draws a chain together with the one that feeds it, by every kind that was measured of both and has such a picture: of chains that
// do not feed each other, what one takes away of the other's jitter means nothing.
func (l linked) transfers(a, b string) ([]plot.Chart, error) {
	if a == b {
		return nil, nil
	}
	var charts []plot.Chart
	for _, k := range kinds() {
		one, knownA := l.Latest(k.Name, a)
		other, knownB := l.Latest(k.Name, b)
		if !knownA || !knownB {
			continue
		}
		chart, ok, err := k.shown.pairOf(storedResult{a, one}, storedResult{b, other})
		if err != nil {
			return nil, err
		}
		if ok {
			charts = append(charts, chart)
		}
	}
	return charts, nil
}

func responseCurve(name string, r match.Result) plot.Curve {
	c := plot.Curve{Name: name}
	for _, b := range r.ResponseBands {
		c.Hz, c.Y = append(c.Hz, math.Sqrt(b.LowHz*b.HighHz)), append(c.Y, b.DB)
	}
	return c
}

func nullChart(name string, r match.Result) plot.Null {
	n := plot.Null{Title: "What is left of " + name + ", by octave"}
	for _, b := range r.NullBands {
		n.Bands = append(n.Bands, plot.NullBand{LowHz: b.LowHz, HighHz: b.HighHz, DB: b.DB})
	}
	return n
}
