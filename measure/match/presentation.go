package match

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/fault"
	"heardiff/measure/match/residual"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// The codes of what Prepare warns of in addition to what Compare warns of.
const (
	TooQuiet        warning.Code = "too-quiet"        // for its loudness to be measured
	LoudnessLowered warning.Code = "loudness-lowered" // to keep the true peak below Value, in dBTP
	LevelOpen       warning.Code = "level-open"       // by ± Value, in dB
	Identical       warning.Code = "identical"        // two presentations, sample by sample
)

// level brings all presentations to the level of the first, then to the common loudness, with headroom for what a
// converter's filter makes of the samples (true peak).
func (p *preparation) level() error {
	first, err := measure.Loudness(p.out.Presentations[0].Clip)
	if err != nil {
		return fmt.Errorf("match: %w", err)
	}
	gains, peak, err := p.matchingGains(first.IntegratedLUFS)
	if err != nil {
		return err
	}
	common := pcm.Ratio(p.cfg.LoudnessLUFS - first.IntegratedLUFS)
	if math.IsNaN(common) {
		common = 1
		p.out.Warn(warning.Newf(TooQuiet, "the excerpt is too quiet for its loudness to be measured: its level stays as recorded"))
	}
	if most := pcm.Ratio(p.cfg.PeakDBFS) / peak; common > most {
		common = most
		p.out.Warn(warning.Newf(LoudnessLowered, "the common loudness was lowered so that no true peak passes %.1f dBTP", p.cfg.PeakDBFS).Of(p.cfg.PeakDBFS, "dBTP"))
	}
	for i := range p.out.Presentations {
		gains[i] *= common
		p.out.Presentations[i].GainDB = pcm.DB(gains[i])
		for _, ch := range p.out.Presentations[i].Clip.Channels {
			floats.Scale(gains[i]*p.lines[i].Sign, ch)
		}
	}
	return nil
}

// matchingGains returns the gain that brings each presentation to the level of the first, whose loudness is given, and the
// largest true peak after it. The excerpt itself counts, not the full capture.
func (p *preparation) matchingGains(firstLUFS float64) (gains []float64, peak float64, err error) {
	gains = make([]float64, len(p.out.Presentations))
	for i, v := range p.out.Presentations {
		switch {
		case i > 0 && v.LevelBy == "least squares":
			p.gains[i] = p.audibleGain(i)
		case i > 0:
			own, err := measure.Loudness(v.Clip)
			if err != nil {
				return nil, 0, fmt.Errorf("match: %w", err)
			}
			if d := own.IntegratedLUFS - firstLUFS; !math.IsNaN(d) {
				p.gains[i] = pcm.Ratio(d)
			}
		}
		gains[i] = 1 / p.gains[i]
		tp, err := measure.TruePeak(v.Clip)
		if err != nil {
			return nil, 0, fmt.Errorf("match: %w", err)
		}
		peak = math.Max(peak, pcm.Ratio(tp.DBTP)*gains[i])
	}
	return gains, peak, nil
}

// audibleGain returns the factor from the first presentation to another, by the audible band of both, and warns where noise leaves it open.
func (p *preparation) audibleGain(i int) float64 {
	gain, least, most := audibly(p.out.Presentations[0].Clip, p.out.Presentations[i].Clip).gain()
	if open := pcm.DB(most / least); open > openDB {
		p.out.Warn(warning.Newf(LevelOpen, "%s: the level is matched to ±%.2f dB only: which of the two holds the remaining noise is not known", p.cfg.Names.against(i), open/2).Of(open/2, "dB"))
	}
	return gain
}

// openDB is how far noise may leave a level open without a warning: half of what a pair may differ by.
const openDB = 0.05

// finish fades the ends, rounds to the precision that will be played, and finds loop points.
func (p *preparation) finish() {
	fade := int(fadeS * p.rate.Hz())
	for _, v := range p.out.Presentations {
		for _, ch := range v.Clip.Channels {
			for i := range fade {
				// Raised cosine: its slope is continuous, so that the ends stay inaudible.
				w := 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(fade))
				ch[i] *= w
				ch[len(ch)-1-i] *= w
			}
			for i, s := range ch {
				ch[i] = float64(float32(s))
			}
		}
	}
	p.out.LoopFrames = [2]int{p.crossing(fade, 1), p.crossing(p.n-fade-2, -1)}
}

// crossing returns the frame nearest to from, going by step, at which the first channel of every presentation
// crosses zero upwards within one frame; from itself where none does within a quarter of a second.
func (p *preparation) crossing(from, step int) int {
	for k := range int(p.rate) / 4 {
		i, all := from+k*step, true
		if i < 2 || i+2 >= p.n {
			break
		}
		for _, v := range p.out.Presentations {
			x := v.Clip.Channels[0]
			all = all && x[i-1] <= 0 && x[i+1] > 0
		}
		if all {
			return i
		}
	}
	return from
}

// check measures the final samples against the first presentation's and refuses what differs too much.
func (p *preparation) check() error {
	p.out.NullDB = math.Inf(-1)
	p.warnIdentical()
	fade := int(fadeS*p.rate.Hz()) + 1
	first := p.out.Presentations[0].Clip.Slice(fade, p.n-fade)
	rumble := fault.RumbleOf(first)
	for i := range p.out.Presentations[1:] {
		v := &p.out.Presentations[i+1]
		own := v.Clip.Slice(fade, p.n-fade)
		record, err := p.measure(v, first, own)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i+1), err)
		}
		shown := fault.Find(fault.Evidence{Record: record, StartS: p.out.StartS + p.rate.Seconds(fade), RumbleA: rumble, RumbleB: fault.RumbleOf(own)})
		p.warnPassing(i, shown.Passing)
		p.out.NullDB = max(p.out.NullDB, v.NullDB)
		if e := math.Abs(v.LevelErrorDB); !(e <= mostLevelErrorDB) {
			return fmt.Errorf("match: %w: %s differs by %.3f dB in level after matching, %.2f dB allowed", ErrUnfit, p.cfg.Names.of(i+1), e, mostLevelErrorDB)
		}
		switch e := math.Abs(v.OffsetErrorUS); {
		case e <= mostOffsetErrorUS:
		case v.wanders:
			return fmt.Errorf("match: %w: the clock of %s wanders against that of %s by up to %.0f µs within the excerpt, %.0f µs allowed; only a steady drift can be taken out", ErrWandering, p.cfg.Names.of(i+1), p.cfg.Names.of(0), e, mostOffsetErrorUS)
		default:
			return fmt.Errorf("match: %w: %s is off by %.2f µs after aligning, %.0f µs allowed", ErrUnfit, p.cfg.Names.of(i+1), e, mostOffsetErrorUS)
		}
	}
	return nil
}

// warnPassing warns of what happens for a while in the capture after the i-th, each fault once: as the full captures show it, which show
// better what is usual, or as the excerpt alone shows it.
func (p *preparation) warnPassing(i int, shown fault.Passing) {
	start := int(p.out.StartS * p.rate.Hz())
	within, outside := p.passing[i].Split(start, start+p.n)
	warn := func(where string, list []warning.Warning) {
		for _, w := range list {
			p.out.Warn(w.From(where + p.cfg.Names.against(i+1)))
		}
	}
	warn("", outside.Events())
	level := shown.LevelChanges()
	if len(level) == 0 {
		warn("", p.passing[i].LevelChanges())
	}
	const here = "within the excerpt, "
	if events := within.Events(); len(events) > 0 {
		warn(here, events)
	} else {
		warn(here, shown.Events())
	}
	warn(here, level)
}

// warnIdentical warns of captures whose presentations are the same samples.
func (p *preparation) warnIdentical() {
	all := p.out.Presentations
	for i := range all {
		for k := range all[:i] {
			if !slices.EqualFunc(all[i].Clip.Channels, all[k].Clip.Channels, slices.Equal) {
				continue
			}
			all[i].Identical = all[i].Identical || k == 0
			p.out.Warn(warning.Newf(Identical, "%s and %s are identical sample by sample within the excerpt: nobody can tell them apart; a comparison of them is a control", p.cfg.Names.of(k), p.cfg.Names.of(i)))
			break
		}
	}
}

// measure fills in the residual of two clips that should be aligned, and returns it.
func (p *preparation) measure(v *Presentation, a, b pcm.Clip) (*residual.Record, error) {
	l, f, err := align.Refine(a, b, align.Line{Sign: 1}, p.Quick)
	if err != nil {
		return nil, err
	}
	record, err := residual.Measure(a, b, align.Line{Sign: 1}, 1, 1, p.Exact)
	if err != nil {
		return nil, err
	}
	all := record.Sums(audible.LowHz, audible.HighHz, 1, -1)
	v.NullDB = pcm.PowerDB(all.RR / all.AA)
	gain, _, _ := audibly(a, b).gain()
	if v.LevelErrorDB = pcm.DB(gain); v.LevelBy == "loudness" {
		if v.LevelErrorDB, err = loudnessDifference(a, b); err != nil {
			return nil, err
		}
	}
	// The worst over the excerpt: either end of the residual line, and what strays from it.
	ends := [2]float64{l.Offset, l.Shift(float64(a.Len()))}
	v.OffsetErrorUS = ends[0]
	if math.Abs(ends[1]) > math.Abs(ends[0]) {
		v.OffsetErrorUS = ends[1]
	}
	if v.wanders = f.Wandering; f.Wandering {
		v.OffsetErrorUS += math.Copysign(f.WanderMax, v.OffsetErrorUS)
	}
	v.OffsetErrorUS *= 1e6 / p.rate.Hz()
	return record, nil
}

// loudnessDifference returns how much louder b is than a by ITU-R BS.1770, in LU; 0 where both are too quiet to measure.
func loudnessDifference(a, b pcm.Clip) (float64, error) {
	la, errA := measure.Loudness(a)
	lb, errB := measure.Loudness(b)
	if err := errors.Join(errA, errB); err != nil {
		return 0, fmt.Errorf("match: %w", err)
	}
	if math.IsNaN(la.IntegratedLUFS) && math.IsNaN(lb.IntegratedLUFS) {
		return 0, nil
	}
	return lb.IntegratedLUFS - la.IntegratedLUFS, nil
}
