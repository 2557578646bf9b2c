package trials

import "time"

// pace is how a session goes in time. It follows from the clock and from the keys that were pressed, never from what was
// hidden behind them.
type pace struct {
	since  time.Time       // the listener has been at work since; zero while nobody is
	worked time.Duration   // up to since, in all sittings; rests are not counted
	trial  time.Duration   // of it, in the trial that is offered
	took   []time.Duration // what each answered trial took, the newest last
}

// paceOf is over how many of the newest trials the pace is averaged: enough for a steady figure, few enough to follow a listener
// who becomes quicker. paceFrom is how many there must be.
const paceOf, paceFrom = 10, 3

// take takes in an entry: what is done between two entries of a sitting is work, what lies between two sittings is not.
func (p *pace) take(e Entry) {
	switch e.Kind {
	case EntryBegin, EntryOpen:
		p.since = e.At
	case EntryRest, EntryGiveUp:
		p.add(e.At)
		p.since = time.Time{}
	case EntryAnswer, EntryVoid:
		// A machine that slept in this trial counts only by its own clock, as the entry does.
		p.add(p.at(e.At, time.Duration(e.Seconds*float64(time.Second))))
		if e.Kind == EntryAnswer {
			p.took = append(p.took, p.trial)
		}
		p.trial, p.since = 0, e.At
	}
}

// at returns now, but at most so long after since.
func (p *pace) at(now time.Time, most time.Duration) time.Time {
	if now.Sub(p.since) > most {
		return p.since.Add(most)
	}
	return now
}

func (p *pace) add(until time.Time) {
	if d := until.Sub(p.since); !p.since.IsZero() && d > 0 {
		p.worked, p.trial = p.worked+d, p.trial+d
	}
}

// workedBy returns how long the listener has worked.
func (p *pace) workedBy(now time.Time) time.Duration {
	if d := now.Sub(p.since); !p.since.IsZero() && d > 0 {
		return p.worked + d
	}
	return p.worked
}

// left returns what so many further trials take at the mean of the newest ones, 0 where too few were answered to tell.
func (p *pace) left(trials int) time.Duration {
	if len(p.took) < paceFrom {
		return 0
	}
	newest := p.took[max(0, len(p.took)-paceOf):]
	sum := time.Duration(0)
	for _, d := range newest {
		sum += d
	}
	return sum / time.Duration(len(newest)) * time.Duration(trials)
}
