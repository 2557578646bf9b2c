// Package fault names what is wrong with either of two aligned captures: dropouts, clicks, levels that do not hold, clipping, band limits,
// mono, wrong channels, rumble. Find is its only entry point; what it needs is noted while the captures are read, by Capture and by
// residual.Record.
package fault

import "heardiff/stats/warning"

// Report is what Find found: all of it as warnings, and what of it happens for a while only.
type Report struct {
	Warnings []warning.Warning
	Passing  Passing
}

// Find names what is wrong with either of two captures.
func Find(e Evidence) Report {
	events := e.events()
	if e.A == nil {
		p := e.passing(events)
		return Report{p.warnings(), p}
	}
	f := finder{Evidence: e}
	mono := MonoText(e.A, e.B)
	if mono != "" {
		f.warn(warning.Newf(Mono, "%s", mono))
	} else {
		f.channelsDiffer()
	}
	f.belowBand()
	unnamed := len(f.warnings)
	f.clipped("A", e.A, "B", e.B)
	f.clipped("B", e.B, "A", e.A)
	f.bothClipped()
	p := e.passing(e.notClipping(events))
	f.warn(p.warnings()...)
	f.compressed(events)
	if len(f.warnings) == unnamed && mono == "" {
		f.followsMusic()
	}
	f.bandLimit(events)
	return Report{f.warnings, p}
}
