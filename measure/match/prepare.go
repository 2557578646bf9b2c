package match

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// mostlyNoise is the share of noise in the residual from which on least squares sets the level even where the null is shallower:
// loudness counts the noise of each. Above noisyNull the noise is much of what is audible, and has to count.
const mostlyNoise, noisyNull = 0.8, -12

// Prepare cuts the same stretch of music out of the captures so that nothing differs but what the chains did: aligned, free of drift, polarity and channels put right, equally loud, faded alike at the ends.
//
// All captures are evaluated on one time base that lies in the middle of theirs (for two, at mirrored shifts of
// half their offset and drift), by an interpolator that is exact to 0.95 of Nyquist; what it might have changed
// beyond is then removed from all by one and the same filter, which passes up to 0.907 of Nyquist (20 kHz at
// 44.1 kHz). A filter in each capture's own time would not do: with a drift its edge would be elsewhere.
// So no capture, of however many, can be recognized by its processing. Captures that differ by whole frames only are
// not interpolated or filtered at all. The first capture is the reference of level and polarity.
//
// One capture alone is cut, brought to its loudness and faded: the clean excerpt of a ladder of doses.
//
// Errors wrap pcm.ErrMismatch, ErrUnrelated, ErrOutside, or ErrUnfit where the final samples differ by more than allowed.
func Prepare(captures []pcm.Reader, cfg Excerpt) (Prepared, error) {
	if err := cfg.Validate(); err != nil {
		return Prepared{}, err
	}
	if len(captures) == 0 {
		return Prepared{}, errors.New("match: no captures")
	}
	cfg = cfg.filled()
	p := preparation{captures: captures, cfg: cfg, rate: captures[0].Format().Rate}
	var err error
	if p.Kernels, err = audible.NewKernels(p.rate); err != nil {
		return Prepared{}, err
	}
	if err := p.compare(); err != nil {
		return Prepared{}, err
	}
	if err := p.cut(); err != nil {
		return Prepared{}, err
	}
	if err := p.render(); err != nil {
		return Prepared{}, err
	}
	if err := p.level(); err != nil {
		return Prepared{}, err
	}
	p.finish()
	p.out.Changes = []string{
		moved(p.byFrames(), p.rate),
		fmt.Sprintf("faded in and out over %.3g ms (raised cosine)", 1000*fadeS),
		"rounded to 32-bit float",
	}
	return p.out, p.check()
}

// compare measures every capture against the first.
func (p *preparation) compare() error {
	p.lines = []align.Line{{Sign: 1}}
	p.strays = []bool{false}
	p.gains = []float64{1}
	p.out.Presentations = []Presentation{{Polarity: Same, LevelBy: "reference", LevelErrorDB: 0, OffsetErrorUS: 0, NullDB: math.Inf(-1)}}
	for i, c := range p.captures[1:] {
		r, err := compare(p.captures[0], c)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i+1), err)
		}
		p.lines = append(p.lines, r.line)
		p.strays = append(p.strays, r.Wander.Significant)
		v := Presentation{DriftPPM: r.DriftPPM, OffsetS: r.OffsetS, Polarity: r.Polarity, ChannelsSwapped: r.ChannelsSwapped, ChannelsInverted: r.ChannelsInverted, LevelBy: "loudness"}
		gain := r.LoudnessDifferenceLU
		if r.NullDB < deepNull || math.IsNaN(gain) || r.Residual.Noise > mostlyNoise && r.NullDB < noisyNull {
			v.LevelBy, gain = "least squares", r.GainDB
		}
		p.gains = append(p.gains, pcm.Ratio(gain))
		p.out.Presentations = append(p.out.Presentations, v)
		p.passing = append(p.passing, r.passing)
		for _, w := range r.Details {
			if !fault.Passes(w) { // what passes is warned of once it is known whether the excerpt holds it
				p.out.Warn(w.From(p.cfg.Names.against(i + 1)))
			}
		}
	}
	return nil
}

// cut places the excerpt on the common time base, the mean of all captures' own.
func (p *preparation) cut() error {
	start, length, err := p.place()
	if err != nil {
		return err
	}
	if err := p.straighten(start, length); err != nil {
		return err
	}
	n := float64(len(p.lines))
	for _, l := range p.lines {
		p.base.Offset += l.Offset / n
		p.base.Drift += l.Drift / n
	}
	p.first = int(math.Round(float64(start) + p.base.Shift(float64(start))))
	p.n = length
	p.out.StartS, p.out.Seconds, p.out.Rate = (p.time(float64(p.first)))/p.rate.Hz(), p.rate.Seconds(length), p.rate
	return nil
}

// straighten replaces the lines of captures whose clock wanders by those that fit the excerpt best: over seconds a clock
// strays less than over minutes.
func (p *preparation) straighten(start, length int) error {
	for i, l := range p.lines {
		if !p.strays[i] {
			continue
		}
		if l.To == 0 {
			l.To = p.captures[0].Frames()
		}
		l.From, l.To = max(l.From, start), min(l.To, start+length)
		own, _, err := align.Refine(p.captures[0], p.captures[i], l, p.Quick)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i), err)
		}
		p.lines[i].Offset, p.lines[i].Drift = own.Offset, own.Drift
		p.out.Presentations[i].OffsetS, p.out.Presentations[i].DriftPPM = own.Offset/p.rate.Hz(), 1e6*own.Drift
	}
	return nil
}

// place returns where the excerpt starts in the first capture and how long it is, in frames.
func (p *preparation) place() (start, length int, err error) {
	// Latest start and earliest end of what all captures hold, in frames of the first.
	lo, hi := 0, p.captures[0].Frames()
	for i, l := range p.lines {
		from, to := l.Overlap(p.captures[0], p.captures[i], 0)
		lo, hi = max(lo, from), min(hi, to)
	}
	start = int(math.Round(p.cfg.StartS * p.rate.Hz()))
	length = int(math.Round(p.cfg.LengthS * p.rate.Hz()))
	if p.cfg.StartS == 0 {
		start = lo
	}
	if p.cfg.StartS == 0 && p.cfg.LengthS == 0 {
		if err := p.sounds(lo, hi); err != nil {
			return 0, 0, err
		}
	}
	if p.cfg.LengthS == 0 {
		length = min(20*int(p.rate), hi-start)
	}
	if start < lo || start+length > hi || length < int(p.rate) {
		return 0, 0, fmt.Errorf("match: %w: %.2f to %.2f s, where all hold %.2f to %.2f s", ErrOutside,
			p.rate.Seconds(start), p.rate.Seconds(start+length), p.rate.Seconds(lo), p.rate.Seconds(hi))
	}
	return start, length, nil
}

// What a lead-in is: longer than a piece's own first breath, and as far below the music as a recorder's noise. Common practice, no source.
const (
	longestBreathS = 1.0
	leadInDB       = -45 // relative to the loudest tenth of a second
)

// sounds returns a LeadIn where the first capture is silent for a while from frame lo on.
func (p *preparation) sounds(lo, hi int) error {
	var levels []float64
	tenth := int(p.rate) / 10
	err := pcm.Blocks(p.captures[0], tenth, func(block [][]float64, at int) error {
		if at >= lo && at+tenth <= hi {
			loudest := 0.0
			for _, x := range block {
				loudest = math.Max(loudest, stat.PopStdDev(x, nil)) // without direct voltage
			}
			levels = append(levels, loudest)
		}
		return nil
	})
	if err != nil || len(levels) == 0 {
		return err
	}
	least := slices.Max(levels) * pcm.Ratio(leadInDB)
	silent := p.rate.Seconds(tenth * slices.IndexFunc(levels, func(v float64) bool { return v >= least }))
	if silent <= longestBreathS {
		return nil
	}
	return fmt.Errorf("match: %w", LeadIn{SilentS: silent, MusicS: math.Floor(10*(p.rate.Seconds(lo)+silent)) / 10})
}

// render evaluates every capture on the common base.
func (p *preparation) render() error {
	byFrames := p.byFrames()
	for i := range p.captures {
		clip, err := p.evaluate(i, byFrames)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i), err)
		}
		for _, c := range p.out.Presentations[i].ChannelsInverted {
			floats.Scale(-1, clip.Channels[c-1])
		}
		p.out.Presentations[i].Clip = clip
	}
	return nil
}
