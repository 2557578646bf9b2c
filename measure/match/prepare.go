package match

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"heardiff/measure/interpolate"
	"heardiff/playback/pcm"
)

// ErrUnfit is wrapped by Prepare's error where presentations still differ in level or time after matching.
var ErrUnfit = errors.New("the captures cannot be matched")

// ErrWandering is wrapped, instead of ErrUnfit, where they differ in time since their clocks wander against each other.
var ErrWandering = fmt.Errorf("%w", ErrUnfit)

// Excerpt says what Prepare cuts and how far it must match. The zero value is an excerpt of 20 s from the start
// of what all captures hold.
type Excerpt struct {
	// StartS and LengthS are seconds of the first capture. Length 0 stands for 20 s, or less where the captures
	// end.
	StartS, LengthS float64
	// LoudnessLUFS is the common loudness (BS.1770, gated). 0 stands for −23. It is lowered where a peak would pass PeakDBFS.
	LoudnessLUFS float64
	// PeakDBFS is the highest true peak, in dBTP. 0 stands for −1.
	PeakDBFS float64
	// FadeS is the length of the raised-cosine fades at both ends, in seconds. 0 stands for 0.01.
	FadeS float64
	// MaxLevelErrorDB and MaxOffsetErrorUS refuse what exceeds them. 0 stands for 0.1 dB and 10 µs (common
	// practice, no source).
	MaxLevelErrorDB, MaxOffsetErrorUS float64
	Names                             Names
}

// Names are what messages call the captures, in their order. One without a name is called by its place: "capture 1" is the first.
type Names []string

func (n Names) of(i int) string {
	if i < len(n) && n[i] != "" {
		return n[i]
	}
	return fmt.Sprintf("capture %d", i+1)
}

// against names capture i beside the first, with which it was compared.
func (n Names) against(i int) string { return n.of(i) + " against " + n.of(0) }

func (e Excerpt) filled() Excerpt {
	fill := func(v *float64, standard float64) {
		if *v == 0 {
			*v = standard
		}
	}
	fill(&e.LoudnessLUFS, -23)
	fill(&e.PeakDBFS, -1)
	fill(&e.FadeS, 0.01)
	fill(&e.MaxLevelErrorDB, 0.1)
	fill(&e.MaxOffsetErrorUS, 10)
	return e
}

// Validate returns an error that names the field that is out of its range.
func (e Excerpt) Validate() error {
	f := e.filled()
	switch {
	case !(e.StartS >= 0):
		return fmt.Errorf("match: StartS %v: want 0 or more", e.StartS)
	case e.LengthS != 0 && !(e.LengthS >= 1):
		return fmt.Errorf("match: LengthS %v: want a second or more", e.LengthS)
	case !(f.LoudnessLUFS <= 0) || !(f.PeakDBFS <= 0):
		return fmt.Errorf("match: LoudnessLUFS %v, PeakDBFS %v: want below 0", e.LoudnessLUFS, e.PeakDBFS)
	case !(f.FadeS > 0 && f.FadeS <= 0.5):
		return fmt.Errorf("match: FadeS %v: want up to 0.5 s", e.FadeS)
	}
	return nil
}

// Prepared is one excerpt as it will be played, once for every capture.
type Prepared struct {
	StartS        float64        `json:"start_s"`
	Seconds       float64        `json:"seconds"`
	Rate          pcm.Rate       `json:"rate_hz"`
	Presentations []Presentation `json:"presentations"`
	// NullDB is the shallowest null of any presentation against the first, measured on the final samples.
	NullDB float64 `json:"null_db"`
	// LoopFrames are two frames near the ends where every presentation crosses zero upwards.
	LoopFrames [2]int `json:"loop_frames"`
	// Changes says in words what was done to all presentations alike: the filter, the fades, the level.
	Changes  []string `json:"changes"`
	Warnings []string `json:"warnings"`
}

// Presentation is one capture's share. LevelErrorDB, OffsetErrorUS and NullDB compare its final samples with the
// first presentation's.
type Presentation struct {
	Clip          pcm.Clip `json:"-"`
	LevelErrorDB  float64  `json:"level_error_db"`
	OffsetErrorUS float64  `json:"offset_error_us"`
	NullDB        float64  `json:"null_db"`
	// Identical says that every sample is the first presentation's: nobody can tell the two apart.
	Identical bool `json:"identical"`
	// DriftPPM and OffsetS are what the capture's clock and start had against the first's, and was removed.
	DriftPPM float64 `json:"drift_ppm"`
	OffsetS  float64 `json:"offset_s"`
	// GainDB was applied. Polarity "inverted": the capture was, and was turned back.
	GainDB          float64 `json:"gain_db"`
	Polarity        string  `json:"polarity"`
	ChannelsSwapped bool    `json:"channels_swapped"`
	// ChannelsInverted are channels, from 1, that were inverted against the others, and were turned back.
	ChannelsInverted []int `json:"channels_inverted,omitempty"`
	wanders          bool  // within the excerpt
	// LevelBy says how the level was matched: "least squares", of what stands from 20 Hz to 20 kHz, or "loudness".
	LevelBy string `json:"level_by"`
}

// deepNull is the null from which on least squares sets the level: below it, what differs weighs so little
// (0.05 dB at the most if it were all in step) that loudness could not do better.
const deepNull = -30

// mostlyNoise is the share of noise in what is left from which on least squares sets the level of a shallower null, too: loudness counts
// the noise of each. Above noisyNull the noise is a good part of what is heard, and is to be counted.
const mostlyNoise, noisyNull = 0.8, -12

// Prepare cuts the same stretch of music out of the captures so that nothing differs but what the chains did: aligned, free of drift, polarity and channels put right, equally loud, faded alike at the ends.
//
// All captures are evaluated on one time base that lies in the middle of theirs (for two, at mirrored shifts of
// half their offset and drift), by an interpolator that is exact to 0.95 of Nyquist; what it might have done
// beyond is then taken away from all by one and the same filter, which passes up to 0.907 of Nyquist (20 kHz at
// 44.1 kHz). A filter in each capture's own time would not do: with a drift its edge would stand elsewhere.
// So no capture, of however many, can be told by its processing. Captures that differ by whole frames only are
// not interpolated or filtered at all. The first capture is the reference of level and polarity.
//
// One capture alone is cut, brought to its loudness and faded: the clean excerpt of a ladder of doses.
//
// Errors wrap pcm.ErrMismatch, ErrUnrelated, or ErrUnfit where the final samples differ by more than allowed.
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
	if p.kernels, err = bandKernels(p.rate); err != nil {
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
	p.out.Changes = p.changes()
	return p.out, p.check()
}

type preparation struct {
	captures []pcm.Reader
	cfg      Excerpt
	rate     pcm.Rate
	lines    []line    // of every capture against the first
	strays   []bool    // whether its clock wanders against the first's
	passing  []passing // of all but the first
	gains    []float64
	base     line // the common time base: frame t of the first stands at base.shift(t) + t
	first, n int  // frames of the common base
	kernels       // of the check
	out      Prepared
}

// compare measures every capture against the first.
func (p *preparation) compare() error {
	p.lines = []line{{sign: 1}}
	p.strays = []bool{false}
	p.gains = []float64{1}
	p.out.Presentations = []Presentation{{Polarity: Same, LevelBy: "reference", LevelErrorDB: 0, OffsetErrorUS: 0, NullDB: math.Inf(-1)}}
	for i, c := range p.captures[1:] {
		r, err := Compare(p.captures[0], c, Config{})
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i+1), err)
		}
		p.lines = append(p.lines, r.line)
		p.strays = append(p.strays, r.Wander.Significant)
		v := Presentation{DriftPPM: r.DriftPPM, OffsetS: r.OffsetS, Polarity: r.Polarity, ChannelsSwapped: r.ChannelsSwapped, LevelBy: "loudness"}
		for c, inverted := range r.inverted {
			if inverted {
				v.ChannelsInverted = append(v.ChannelsInverted, c+1)
			}
		}
		gain := r.LoudnessDifferenceLU
		if r.NullDB < deepNull || math.IsNaN(gain) || r.Residual.Noise > mostlyNoise && r.NullDB < noisyNull {
			v.LevelBy, gain = "least squares", r.GainDB
		}
		p.gains = append(p.gains, pcm.Ratio(gain))
		p.out.Presentations = append(p.out.Presentations, v)
		p.passing = append(p.passing, r.passing)
		for _, w := range r.Warnings {
			if slices.Contains(r.passing.said, w) { // said once it is known whether the excerpt holds it
				continue
			}
			p.out.Warnings = append(p.out.Warnings, fmt.Sprintf("%s: %s", p.cfg.Names.against(i+1), w))
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
		p.base.offset += l.offset / n
		p.base.drift += l.drift / n
	}
	p.first = int(math.Round(float64(start) + p.base.shift(float64(start))))
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
		if l.to == 0 {
			l.to = p.captures[0].Frames()
		}
		l.from, l.to = max(l.from, start), min(l.to, start+length)
		own, _, err := refine(p.captures[0], p.captures[i], l, p.quick)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i), err)
		}
		p.lines[i].offset, p.lines[i].drift = own.offset, own.drift
		p.out.Presentations[i].OffsetS, p.out.Presentations[i].DriftPPM = own.offset/p.rate.Hz(), 1e6*own.drift
	}
	return nil
}

// place returns where the excerpt starts in the first capture and how long it is, in frames.
func (p *preparation) place() (start, length int, err error) {
	// Latest start and earliest end of what all captures hold, in frames of the first.
	lo, hi := 0, p.captures[0].Frames()
	for i, l := range p.lines {
		from, to := l.overlap(p.captures[0], p.captures[i], 0)
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
		return 0, 0, fmt.Errorf("match: %w: %.2f to %.2f s asked for, all captures hold %.2f to %.2f s", ErrUnfit,
			p.rate.Seconds(start), p.rate.Seconds(start+length), p.rate.Seconds(lo), p.rate.Seconds(hi))
	}
	return start, length, nil
}

// LeadIn is the error of an excerpt of which no place was named, and which would begin with silence. It wraps ErrUnfit.
type LeadIn struct {
	SilentS float64 // how much of it
	MusicS  float64 // where the music begins in the first capture, in seconds, a tenth before at the most
}

// Error implements error.
func (l LeadIn) Error() string {
	return fmt.Sprintf("no place was named, and what all captures hold begins with %.1f s of silence: the music begins at %.1f s", l.SilentS, l.MusicS)
}

// Unwrap returns ErrUnfit.
func (l LeadIn) Unwrap() error { return ErrUnfit }

// What a lead-in is: longer than a piece's own first breath, and as far below the music as a recorder's noise. Common practice, no source.
const (
	longestBreathS = 1.0
	leadInDB       = -45 // to the loudest tenth of a second
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

// time returns the frame of the first capture at frame u of the common base.
func (p *preparation) time(u float64) float64 { return (u - p.base.offset) / (1 + p.base.drift) }

// Edges of the interpolator and of the filter after it, in fractions of Nyquist.
const (
	exactTo  = 0.95
	passedTo = 0.907
)

// render evaluates every capture on the common base.
func (p *preparation) render() error {
	kernel, err := interpolate.New(interpolate.Config{Pass: exactTo})
	if err != nil {
		return err
	}
	filter, err := interpolate.New(interpolate.Config{Pass: passedTo, Stop: exactTo})
	if err != nil {
		return err
	}
	whole := p.whole()
	for i := range p.captures {
		clip, err := p.evaluate(kernel, filter, i, whole)
		if err != nil {
			return fmt.Errorf("%s: %w", p.cfg.Names.of(i), err)
		}
		for _, c := range p.out.Presentations[i].ChannelsInverted {
			for k, v := range clip.Channels[c-1] {
				clip.Channels[c-1][k] = -v
			}
		}
		p.out.Presentations[i].Clip = clip
	}
	return nil
}

// shift returns by how many frames frame u of the common base is displaced in capture i.
func (p *preparation) shift(i int, u float64) float64 {
	t := p.time(u)
	// Written as differences from the base, so that two captures get exactly opposite shifts.
	return (p.lines[i].offset - p.base.offset) + (p.lines[i].drift-p.base.drift)*t
}

// whole reports whether all captures differ by whole frames, to a ten-thousandth, over the whole excerpt.
func (p *preparation) whole() bool {
	for i := range p.lines {
		for _, u := range []int{p.first, p.first + p.n} {
			s := p.lines[i].shift(p.time(float64(u)))
			if math.Abs(s-math.Round(s)) > 1e-4 {
				return false
			}
		}
	}
	return true
}

func (p *preparation) evaluate(kernel, filter *interpolate.Kernel, i int, whole bool) (pcm.Clip, error) {
	channels := p.captures[i].Format().Channels
	clip := pcm.NewClip(p.rate, channels, p.n)
	if whole {
		t := p.time(float64(p.first))
		from := int(math.Round(t)) + int(math.Round(p.lines[i].shift(t)))
		if err := interpolate.ReadAround(p.captures[i], clip.Channels, from); err != nil {
			return clip, fmt.Errorf("match: %w", err)
		}
	} else {
		wide := pcm.NewClip(p.rate, channels, p.n+2*filter.Half())
		if err := p.interpolate(wide, p.first-filter.Half(), kernel, i); err != nil {
			return clip, fmt.Errorf("match: %w", err)
		}
		filter.Shift(clip.Channels, wide.Channels, filter.Half(), make([]float64, p.n))
	}
	if p.lines[i].swapped {
		clip.Channels[0], clip.Channels[1] = clip.Channels[1], clip.Channels[0]
	}
	return clip, nil
}

// interpolate fills clip with capture i from frame first of the common base on.
func (p *preparation) interpolate(clip pcm.Clip, first int, kernel *interpolate.Kernel, i int) error {
	const size = 1 << 14
	stream := interpolate.NewStream(kernel, p.captures[i])
	for from := 0; from < clip.Len(); from += size {
		part := clip.Slice(from, min(from+size, clip.Len()))
		shift := make([]float64, part.Len())
		for k := range shift {
			shift[k] = p.shift(i, float64(first+from+k))
		}
		if err := stream.Read(part.Channels, first+from, shift); err != nil {
			return err
		}
	}
	return nil
}
