package trials

import "time"

// pace keeps track of the time spent in a session. It depends on the clock and on the keys pressed, never on what was hidden
// behind them.
type pace struct {
	since  time.Time       // start of the work not yet counted; zero while nobody is listening
	worked time.Duration   // up to since, over all sittings, without rests
	trial  time.Duration   // the part of worked in the current trial
	took   []time.Duration // time of each answered trial, the latest last
}

// paceOf is the number of latest trials over which the pace is averaged: enough for a steady figure, few enough to follow a
// listener who becomes quicker. paceFrom is the smallest number for an estimate. Both are judgement, no source;
// TestPaceCountsWorkAndNothingElse holds them.
const paceOf, paceFrom = 10, 3

// take takes an entry into account: the time between two entries of a sitting is work, the time between sittings is not.
func (p *pace) take(e Entry) {
	switch e.Kind {
	case EntryBegin, EntryOpen:
		p.since = e.At
	case EntryRest, EntryGiveUp:
		p.add(e.At)
		p.since = time.Time{}
	case EntryAnswer, EntryVoid:
		// If the machine was suspended in this trial, only the seconds of the entry count.
		p.add(p.at(e.At, time.Duration(e.Seconds*float64(time.Second))))
		if e.Kind == EntryAnswer {
			p.took = append(p.took, p.trial)
		}
		p.trial, p.since = 0, e.At
	}
}

// at returns now, but not later than most after since.
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

// remaining estimates the time for the given number of trials from the mean of the latest ones, 0 with too few of them.
func (p *pace) remaining(trials int) time.Duration {
	if len(p.took) < paceFrom {
		return 0
	}
	latest := p.took[max(0, len(p.took)-paceOf):]
	sum := time.Duration(0)
	for _, d := range latest {
		sum += d
	}
	return sum / time.Duration(len(latest)) * time.Duration(trials)
}
