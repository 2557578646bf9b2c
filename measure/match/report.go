package match

import (
	"fmt"
	"math"
	"strings"

	"heardiff/measure/match/align"
	"heardiff/measure/match/fault"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// The codes of what Compare warns of in addition to those of package fault. FromS and ToS are seconds of A.
const (
	OtherAlignment  warning.Code = "other-alignment"  // nulls as deep; Value is to how many dB
	ShortOverlap    warning.Code = "short-overlap"    // Value is in seconds
	Jumps           warning.Code = "jumps"            // of B, from the first to the last; Value is the first, in samples
	ChannelsSwapped warning.Code = "channels-swapped" // channels 1 and 2
	ResponseDiffers warning.Code = "response-differs" // Value is in dB, in a third octave
	ClockWanders    warning.Code = "clock-wanders"    // Value is in samples RMS
	ClockSways      warning.Code = "clock-sways"      // Value is in samples RMS, faster than the wander is followed
)

// report puts what was found at the best place into figures and warnings.
func (m measured) report(c *comparison) finding {
	f, record := finding{line: m.Line}, m.record
	r := &f.Result
	*r = Result{
		Schema: Schema, OffsetSamples: m.Offset, OffsetS: m.Offset / c.rate.Hz(), DriftPPM: 1e6 * m.Drift,
		GainDB: pcm.DB(m.Gain * m.k), Polarity: Same, ChannelsSwapped: m.Swapped,
		NullDB: pcm.PowerDB(m.null()), Identical: !record.Differs, Correlation: real(m.all.AB) / math.Sqrt(m.all.AA*m.all.BB),
		OverlapS:             c.rate.Seconds(m.Overlap[1] - m.Overlap[0]),
		ComparedFromS:        c.rate.Seconds(m.Overlap[0]),
		ComparedToS:          c.rate.Seconds(m.Overlap[1]),
		Confidence:           m.confidence(m.unexplained()),
		LoudnessDifferenceLU: record.Loudness[1].IntegratedLUFS - record.Loudness[0].IntegratedLUFS,
	}
	if m.Sign < 0 {
		r.Polarity = Inverted
	}
	r.StandardErrors = StandardErrors{m.OffsetSE, 1e6 * m.DriftSE, record.GainError(m.all)}
	r.NullBands = record.Octaves(m.k)
	r.ResponseBands = record.Response(m.k)
	r.ResponseMaxDB = residual.Largest(r.ResponseBands, r.StandardErrors.GainDB)
	r.Wander = m.Wander(c.rate)
	r.Residual = record.Shares(m.k, m.all)
	// A filter delays what it passes by its own amount at every frequency: what music plays then moves the track too.
	if r.Residual.Response > mostlyResponse && r.Residual.Timing < hardlyTiming {
		r.Wander.Significant = false
	}
	for _, offset := range m.equals(m.unexplained()) {
		r.OtherOffsetsS = append(r.OtherOffsetsS, offset/c.rate.Hz())
	}
	for _, j := range m.Breaks {
		r.Jumps = append(r.Jumps, Jump{j.At / c.rate.Hz(), j.By})
	}
	own := m.channels()
	for _, ch := range own {
		if ch.Inverted && ch.Correlation >= residual.LeastCommon {
			r.ChannelsInverted = append(r.ChannelsInverted, ch.Channel)
		}
		r.Channels = append(r.Channels, Channel{ch.Channel, r.GainDB + ch.GainDB, m.Offset + ch.Delay})
	}
	m.warn(r, c.rate)
	faults := fault.Find(fault.Evidence{Record: record, A: c.captureA, B: c.captureB, Line: m.Line, Overlap: m.Overlap, Gain: m.Gain,
		Channels: own, Response: r.ResponseBands, Shares: r.Residual, NullDB: r.NullDB, RumbleA: c.captureA.Rumble(), RumbleB: c.captureB.Rumble() / (m.Gain * m.Gain)})
	r.Warn(faults.Warnings...)
	f.passing = faults.Passing
	return f
}

// channels returns the figures of each channel, with the delays that were found together with those of the blocks: they are the more exact.
func (m measured) channels() []residual.ChannelFigures {
	own := m.record.ChannelFigures(m.k)
	for c := range own {
		if !math.IsNaN(own[c].Delay) {
			own[c].Delay = m.ChannelDelay[c]
		}
	}
	return own
}

// What is warned of. Judgement, no source, but for the response; TestTooShortAnOverlapIsRefusedAndAShortOneSaid holds the first.
const (
	shortS         = 5   // of overlap
	audibleDB      = 0.1 // in a third octave, by itself (common practice, no source)
	mostlyResponse = 0.9 // share of the residual
	hardlyTiming   = 0.1
	// swayDB is the null from which on a residual of timing is warned of: some hundreds of nanoseconds of sway in music, more than the clocks of a
	// chain that works as it should.
	swayDB = -50
	// fasterRatio is how many times as large as the slow wander a sway must be for a warning of its own.
	fasterRatio = 2
)

// warn adds the warnings that follow from the figures of r.
func (m measured) warn(r *Result, rate pcm.Rate) {
	if r.Confidence < doubtful {
		db := pcm.PowerDB(1 / (1 - r.Confidence))
		r.Warn(warning.Newf(OtherAlignment, "another alignment nulls as deep, to %.1f dB: the music repeats, or too little of it is common%s", db, offsetsText(r.OtherOffsetsS)).Of(db, "dB"))
	}
	if r.OverlapS < shortS {
		r.Warn(warning.Newf(ShortOverlap, "the captures overlap by only %.1f s", r.OverlapS).During(r.ComparedFromS, r.ComparedToS).Of(r.OverlapS, "s"))
	}
	if n := len(r.Jumps); n > 0 {
		r.Warn(warning.Newf(Jumps, "B jumps %s: samples were lost, repeated or cut (a loop point); only %.1f to %.1f s of A were compared",
			jumpsText(r.Jumps), r.ComparedFromS, r.ComparedToS).During(r.Jumps[0].AtS, r.Jumps[n-1].AtS).Of(r.Jumps[0].Samples, "samples"))
	}
	if r.ChannelsSwapped {
		r.Warn(warning.Newf(ChannelsSwapped, "channels 1 and 2 are exchanged in B"))
	}
	if math.Abs(r.ResponseMaxDB) > audibleDB {
		r.Warn(warning.Newf(ResponseDiffers, "the response differs by %+.2f dB in a third octave: more than %v dB can be heard as a difference by itself", r.ResponseMaxDB, audibleDB).Of(r.ResponseMaxDB, "dB"))
	}
	if r.Wander.Significant {
		r.Warn(warning.Newf(ClockWanders, "the clocks stray from a straight line by %.3f samples RMS, %.3f at most, slower than %.2g Hz (what is faster is not in these figures)",
			r.Wander.RMSSamples, r.Wander.PeakSamples, r.Wander.BelowHz).Of(r.Wander.RMSSamples, "samples"))
	}
	rms := m.record.SwayRMS(r.Residual.Timing, m.all.RR)
	if r.Residual.Kind == "timing" && r.NullDB >= swayDB && !(r.Wander.Significant && rms < fasterRatio*r.Wander.RMSSamples) {
		r.Warn(warning.Newf(ClockSways, "the residual is timing by %.0f %%: the clocks stray by about %.2g samples RMS (%.2g µs), slower than some 100 Hz",
			100*r.Residual.Timing, rms, 1e6*rms/rate.Hz()).Of(rms, "samples"))
	}
}

// mostOffsets is how many other offsets a warning names.
const mostOffsets = 8

func offsetsText(offsets []float64) string {
	if len(offsets) == 0 {
		return ""
	}
	var names []string
	for _, s := range offsets[:min(len(offsets), mostOffsets)] {
		names = append(names, fmt.Sprintf("%.6f", s))
	}
	text := "; B fits as well at " + strings.Join(names, ", ") + " s"
	if more := len(offsets) - mostOffsets; more > 0 {
		text += fmt.Sprintf(" and at %d more", more)
	}
	return text
}

func jumpsText(jumps []Jump) string {
	var places []string
	for i, j := range jumps {
		unit := ""
		if i == 0 {
			unit = " samples"
		}
		places = append(places, fmt.Sprintf("by %+.0f%s about %.1f s into A", j.Samples, unit, j.AtS))
	}
	return strings.Join(places, ", ")
}

// finding is a Result with what else Prepare needs.
type finding struct {
	Result
	line    align.Line
	passing fault.Passing // what happens for a while only: an excerpt may hold it or not
}
