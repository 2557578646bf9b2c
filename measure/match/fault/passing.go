package fault

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// peakReached is the share of a peak that counts as reached: an interpolator keeps that much of it.
const peakReached = 0.97

// notClipping returns the events without the clipping that has a warning of its own, which are outbursts at a peak of a clipped capture. Where
// there are too many to be looked at, all are taken for clipping.
func (r Evidence) notClipping(events []event) []event {
	clippedA, clippedB := r.A.clippedMore(r.B), r.B.clippedMore(r.A)
	return slices.DeleteFunc(slices.Clone(events), func(e event) bool {
		if e.lost != "" {
			return false
		}
		peak := clippedA && e.peakA >= peakReached*r.A.Peak || clippedB && e.peakB*math.Abs(r.Gain) >= peakReached*r.B.Peak
		return peak || (clippedA || clippedB) && e.peakA == 0
	})
}

// Passing is what happens for a while only.
type Passing struct {
	clock
	channels int
	happened []event
	level    []change
}

func (r Evidence) passing(events []event) Passing {
	return Passing{clock{r.Rate, r.StartS}, len(r.Stretches), events, r.changes()}
}

// Passes reports whether a warning is of what happens for a while only.
func Passes(w warning.Warning) bool {
	return slices.Contains([]warning.Code{Dropout, Outburst, LevelStep, LevelDrift}, w.Code)
}

// Split divides what happens into what touches frames from to to of A, and the rest. Changes of level are in neither.
func (p Passing) Split(from, to int) (within, outside Passing) {
	within, outside = p, p
	within.happened, outside.happened, within.level, outside.level = nil, nil, nil, nil
	for _, e := range p.happened {
		if e.from < to && e.to > from {
			within.happened = append(within.happened, e)
		} else {
			outside.happened = append(outside.happened, e)
		}
	}
	return within, outside
}

func (p Passing) warnings() []warning.Warning { return append(p.Events(), p.LevelChanges()...) }

// LevelChanges returns a warning for each change of level.
func (p Passing) LevelChanges() []warning.Warning {
	var out []warning.Warning
	for _, d := range p.level {
		out = append(out, d.warning(p.clock))
	}
	return out
}

// Events returns a warning of each kind of event in each set of channels, dropouts first.
func (p Passing) Events() []warning.Warning {
	var kinds []string
	groups := map[string][]event{}
	for _, lost := range []string{"A", "B", ""} {
		for _, e := range p.happened {
			if e.lost != lost {
				continue
			}
			key := lost + fmt.Sprint(e.channels)
			if groups[key] == nil {
				kinds = append(kinds, key)
			}
			groups[key] = append(groups[key], e)
		}
	}
	var out []warning.Warning
	for _, k := range kinds {
		all := groups[k]
		w := p.outburst(all)
		if all[0].lost != "" {
			w = p.dropout(all)
		}
		if len(all[0].channels) == 1 && p.channels > 1 {
			w = w.In(all[0].channels[0])
		}
		out = append(out, w.During(p.seconds(all[0].from), p.seconds(all[len(all)-1].to)))
	}
	return out
}

func (p Passing) dropout(all []event) warning.Warning {
	first, sum := all[0], event{timed: true}
	for _, e := range all {
		sum.to += e.to - e.from
		sum.timed = sum.timed && e.timed
	}
	other := map[string]string{"A": "B", "B": "A"}[first.lost]
	who, at := first.lost, p.seconds(first.from)
	if in := p.channelsOf(first); in != "" {
		who = in + " of " + who
	}
	lost := 1000 * p.rate.Seconds(sum.to)
	if len(all) == 1 {
		return warning.Newf(Dropout, "%s is silent for %s where %s plays, %.3f s into A: a dropout", who, p.lasting(sum), other, at).Of(lost, "ms")
	}
	return warning.Newf(Dropout, "%s is silent for %s in %d places where %s plays, first %.3f s into A for %s: dropouts", who, p.lasting(sum), len(all), other, at, p.lasting(first)).Of(lost, "ms")
}

func (p Passing) outburst(all []event) warning.Warning {
	first, most := all[0], 0.0
	for _, e := range all {
		most = max(most, e.above)
	}
	in := p.channelsOf(first)
	if in != "" {
		in = " in " + in
	}
	const causes = "a dropout, a click, a clipped peak, a held or a repeated buffer"
	at, length, db := p.seconds(first.from), p.lasting(first), pcm.PowerDB(most)
	if len(all) == 1 {
		return warning.Newf(Outburst, "the residual leaps up for %s at %.3f s into A%s, %.0f dB above what is usual there: %s", length, at, in, db, causes).Of(db, "dB")
	}
	return warning.Newf(Outburst, "the residual leaps up in %d places%s, first for %s at %.3f s into A, by up to %.0f dB above what is usual there: %s", len(all), in, length, at, db, causes).Of(db, "dB")
}

// channelsOf names the channels of an event, "" if it happens to all.
func (p Passing) channelsOf(e event) string {
	if len(e.channels) == p.channels {
		return ""
	}
	var names []string
	for _, c := range slices.Sorted(slices.Values(e.channels)) {
		names = append(names, fmt.Sprint(c))
	}
	if len(names) == 1 {
		return "channel " + names[0]
	}
	return "channels " + strings.Join(names, ", ")
}

// lasting writes how long an event is, in milliseconds, or seconds where it is long.
func (p Passing) lasting(e event) string {
	about := ""
	if !e.timed {
		about = "about "
	}
	const tenths, second = 10, 1000 // ms: below tenths one decimal is known
	switch ms := 1000 * p.rate.Seconds(e.to-e.from); {
	case ms < tenths:
		return fmt.Sprintf("%s%.1f ms", about, ms)
	case ms < second:
		return fmt.Sprintf("%s%.0f ms", about, ms)
	default:
		return fmt.Sprintf("%s%.2f s", about, ms/1000)
	}
}
