package integrity

import (
	"math"
	"slices"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// judge compares word by word, and where more than stretches differ also with what a chain makes of the words that does the same to all of
// them.
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

// judge returns what changed the words, and the comparison that says where: c itself, or one with what a chain makes of the words.
func (c *comparison) judge(sentBits, receivedBits int) (*comparison, verdict, error) {
	if c.explained() {
		return c, verdict{local: true, gainDB: 0}, nil
	}
	l, wires, err := learn(c.words, c.received, c.at, receivedBits)
	if err != nil {
		return nil, verdict{}, err
	}
	v := l.verdict(wires, sentBits, receivedBits)
	d, err := c.treatedAs(l, wires)
	if err != nil {
		return nil, verdict{}, err
	}
	if d != nil && d.explained() {
		v.local = true
		d.finish(wires)
		return d, v, nil
	}
	switch {
	case slices.ContainsFunc(v.findings, func(f finding) bool { return f.cause == Resampling }):
		v.warn(warning.Newf(FaultsUnknown, "whether stretches were lost, muted or repeated as well is not known"))
	case d != nil:
		v.partly(wires)
	}
	return c, v, nil
}

// treatedAs compares with what wires make of what was sent; nil where that is not known, or not the same all along since clocks drift
// apart.
func (c *comparison) treatedAs(l *learner, wires []wire) (*comparison, error) {
	for j, w := range wires {
		if !w.known || w.filtered() && l.drifts(w, j) {
			return nil, nil
		}
	}
	at := c.at
	at.offset = l.stretches[0].offset
	d := c.against(wires, l.top, at)
	return d, d.run()
}

// finish names channels of which nothing arrived, and drops faults that are not certain behind a filter.
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
	if v.local || c.good > 0 { // where nothing is equal anywhere all of it was changed, no stretch
		r.Faults = c.faults
	}
	cause := longestCause(r.Faults)
	if len(v.findings) > 0 {
		cause = v.findings[0].cause
	}
	r.Cause = &cause
	r.Warn(v.allWarnings(r.Faults)...)
	return r
}

// verdict is what changed the recording from end to end.
type verdict struct {
	findings []finding // the one to name first
	warnings []warning.Warning
	gainDB   float64
	local    bool // what changed the recording from end to end explains all but faults
}

// finding is a cause, with what there is to say where it is the one named (no code: nothing), and where another is.
type finding struct {
	cause               Cause
	asCause, additional warning.Warning
}

// add adds a finding.
func (v *verdict) add(cause Cause, named, additional warning.Warning) {
	v.findings = append(v.findings, finding{cause, named, additional})
}

// warn adds a warning that does not depend on the cause named.
func (v *verdict) warn(w warning.Warning) { v.warnings = append(v.warnings, w) }

// allWarnings returns the warnings, with all that the cause named does not say.
func (v *verdict) allWarnings(faults []Fault) (list []warning.Warning) {
	for i, f := range v.findings {
		switch {
		case i > 0:
			list = append(list, f.additional)
		case f.asCause.Code != "":
			list = append(list, f.asCause)
		}
	}
	list = append(list, v.warnings...)
	if len(v.findings) > 0 && v.findings[0].cause != Dropout && len(faults) > 0 {
		list = append(list, warning.Newf(AlsoFaults, "stretches were lost, muted, repeated or spoilt as well: %d, see the faults", len(faults)).Of(float64(len(faults)), "faults"))
	}
	return list
}

// partly notes that the findings do not hold for most of the recording.
func (v *verdict) partly(wires []wire) {
	if slices.ContainsFunc(wires, wire.filtered) {
		return // what a filter leaves varies with what passes it
	}
	for _, f := range v.findings {
		v.warnings = append(v.warnings, f.additional.From("in some stretches alone"))
	}
	v.findings, v.gainDB = []finding{{cause: Unknown}}, math.NaN()
}

// longestCause returns the cause of the faults that lasted longest together.
func longestCause(faults []Fault) Cause {
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
