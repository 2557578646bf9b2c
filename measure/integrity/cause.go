package integrity

import (
	"fmt"
	"math"
	"slices"

	"heardiff/playback/pcm"
)

// judge compares word by word, and where more than stretches differ with what a chain would leave that does the same to all
// that passes it.
func judge(sent, received pcm.Reader, at placed, sentBits, receivedBits int) (Result, error) {
	c := newComparison(sent, received, at, math.Ldexp(1, 1-min(receivedBits, 24)))
	if err := c.run(); err != nil {
		return Result{}, err
	}
	v := verdict{gainDB: math.NaN()}
	if c.different > 0 {
		var err error
		if c, v, err = c.judge(sentBits, receivedBits); err != nil {
			return Result{}, err
		}
	}
	return c.result(v, min(sentBits, receivedBits)), nil
}

// judge returns what changed the words, and the comparison that tells where: this one where what differs is local.
func (c *comparison) judge(sentBits, receivedBits int) (*comparison, verdict, error) {
	if c.explained() {
		return c, verdict{local: true, gainDB: 0}, nil
	}
	l, wires, err := learn(c.words, c.received, c.at, receivedBits)
	if err != nil {
		return nil, verdict{}, err
	}
	v := l.verdict(wires, sentBits, receivedBits)
	d, err := c.treatedAs(l, wires, v)
	switch {
	case err != nil:
		return nil, verdict{}, err
	case d == nil:
		if slices.ContainsFunc(v.findings, resampling) {
			v.warn("whether stretches were lost, muted or repeated as well cannot be told")
		}
		return c, v, nil
	case !d.explained():
		v.partly(wires)
		return c, v, nil
	}
	v.local = true
	d.finish(wires)
	if d.follows != nil && len(d.faults) > 0 {
		v.warn("the clocks drift apart: the places of faults are rough")
	}
	return d, v, nil
}

// treatedAs compares with what wires leave of what was sent, if they are known; else, where it was resampled, follows the clocks.
func (c *comparison) treatedAs(l *learner, wires []wire, v verdict) (d *comparison, err error) {
	steady := true
	for j, w := range wires {
		steady = steady && w.known && !(w.filtered() && l.drifts(w, j))
	}
	if steady {
		at := c.at
		at.offset = l.stretches[0].offset
		d = c.beside(wires, l.top, at)
		if err := d.run(); err != nil || d.explained() {
			return d, err
		}
	}
	if !slices.ContainsFunc(v.findings, resampling) {
		return d, nil
	}
	followed, ok := c.following(l, wires)
	if !ok {
		return d, nil
	}
	if err := followed.run(); err != nil || followed.understood() {
		return followed, err
	}
	return nil, nil
}

// finish names channels of which nothing arrived, and drops what a filter leaves no certainty of.
func (c *comparison) finish(wires []wire) {
	if c.filtered() {
		c.faults = slices.DeleteFunc(c.faults, func(f Fault) bool { return f.Cause == Unknown })
	}
	from, to := max(0, c.at.offset), min(c.words.Frames(), c.received.Frames()+c.offset)
	for j, w := range wires {
		if w.dead {
			c.faults = append(c.faults, Fault{Cause: Dropout, Frame: from, Frames: to - from, Channel: j + 1})
		}
	}
}

// result returns the counts and the verdict.
func (c *comparison) result(v verdict, bits int) Result {
	r := Result{
		Schema: "heardiff.integrity/1", BitPerfect: c.different == 0 && c.compared > 0, OffsetSamples: -c.at.offset, OffsetOf: ofReceived,
		ComparedSamples: c.compared, MismatchedSamples: c.different, BitsCompared: bits, GainDB: v.gainDB,
	}
	if c.different == 0 {
		return r
	}
	first := c.first
	r.FirstMismatch = &first
	if v.local || c.good > 0 { // where nothing is equal anywhere the whole was changed, no stretch of it
		r.Faults = c.faults
	}
	cause := v.first(r.Faults)
	r.Cause, r.Warnings = &cause, v.said(r.Faults)
	return r
}

// verdict is what changed the whole recording.
type verdict struct {
	findings []finding // what tells most first
	warnings []string
	gainDB   float64
	local    bool // what changed the whole recording explains all but faults
}

// finding is a cause, what is to be said where it is the one named, if anything, and what where another is.
type finding struct {
	cause       Cause
	alone, also string
}

func resampling(f finding) bool { return f.cause == Resampling }

// add adds a finding.
func (v *verdict) add(cause Cause, alone, also string) {
	v.findings = append(v.findings, finding{cause, alone, also})
}

// warn adds a warning.
func (v *verdict) warn(text string, values ...any) {
	v.warnings = append(v.warnings, fmt.Sprintf(text, values...))
}

// first returns the cause to name.
func (v *verdict) first(faults []Fault) Cause {
	if len(v.findings) > 0 {
		return v.findings[0].cause
	}
	return localCause(faults)
}

// said returns the warnings, with all that the cause named does not say.
func (v *verdict) said(faults []Fault) []string {
	var said []string
	for i, f := range v.findings {
		switch {
		case i > 0:
			said = append(said, f.also)
		case f.alone != "":
			said = append(said, f.alone)
		}
	}
	said = append(said, v.warnings...)
	if len(v.findings) > 0 && v.findings[0].cause != Dropout && len(faults) > 0 {
		said = append(said, fmt.Sprintf("stretches were lost, muted, repeated or spoilt as well: %d, see the faults", len(faults)))
	}
	return said
}

// partly says that the findings do not hold for the most of the recording.
func (v *verdict) partly(wires []wire) {
	if slices.ContainsFunc(wires, wire.filtered) {
		return // what a filter leaves varies with what passes it
	}
	for _, f := range v.findings {
		v.warnings = append(v.warnings, "in some stretches alone: "+f.also)
	}
	v.findings, v.gainDB = []finding{{cause: Unknown}}, math.NaN()
}

// localCause returns the cause of the faults that lasted longest together.
func localCause(faults []Fault) Cause {
	frames := map[Cause]int{}
	for _, f := range faults {
		frames[f.Cause] += f.Frames
	}
	best := Unknown
	for _, cause := range []Cause{Dropout, Repeat} {
		if frames[cause] > frames[best] {
			best = cause
		}
	}
	return best
}
