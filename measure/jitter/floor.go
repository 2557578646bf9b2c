package jitter

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/playback/pcm"
)

// oneSided95 is how many standard errors above a figure its bound of 95 % stands: the normal distribution's quantile.
const oneSided95 = 1.6449

// threeDB is the power ratio within which a figure is not told from the floor's.
const threeDB = 1.9952623149688795 // 10^0.3

// AgainstFloor returns r read against the same measurement of the recording set-up alone. A random figure within
// 3 dB of the floor's (or of the bound of additive noise under it) becomes an upper bound; a line within 3 dB of the same
// line of the floor is marked and not counted. Above that the figures stay as measured: the floor's part is not taken
// off, since a clock that recorder and chain share would make that wrong. A channel is read against the floor's
// channel of its number, else its first. It is an error if the bands or carriers differ: jitter in seconds is then not comparable.
func (r Result) AgainstFloor(floor Result) (Result, error) {
	if math.Abs(r.CarrierHz/floor.CarrierHz-1) > 0.01 || differ(r.BandHz, floor.BandHz) {
		return Result{}, fmt.Errorf("jitter: the floor has a carrier of %.1f Hz and a band of %.0f to %.0f Hz, the capture %.1f Hz and %.0f to %.0f Hz",
			floor.CarrierHz, floor.BandHz[0], floor.BandHz[1], r.CarrierHz, r.BandHz[0], r.BandHz[1])
	}
	r.Channel = slices.Clone(r.Channel)
	r.Warnings = r.Warnings.Clone()
	for i := range r.Channel {
		f := floor.Channel[0]
		if i < len(floor.Channel) {
			f = floor.Channel[i]
		}
		if math.IsNaN(f.RawPs) || math.IsNaN(r.Channel[i].RawPs) {
			r.Warn(measure.Warningf(measure.NoFloor, "channel %d has no floor: one of the two has no tone there", i+1).In(i + 1))
			continue
		}
		r.Warn(levelsApart(r.Channel[i], f)...)
		r.Channel[i].against(f, r.Seconds)
	}
	if r.Common != nil {
		c := r.Common.against(floor)
		if r.Channel[0].RandomAtFloor || r.Channel[1].RandomAtFloor {
			c.Correlation = math.NaN()
		}
		r.Common = &c
	}
	return r, nil
}

// levelsApart says what it means that the floor's tone has another level than the capture's, from 3 dB on: additive noise stays as it is in
// full scale, and as jitter it counts against the tone.
func levelsApart(c, floor Channel) []measure.Warning {
	apart := c.LevelDBFS - floor.LevelDBFS
	if math.Abs(apart) <= pcm.PowerDB(threeDB) {
		return nil
	}
	means := "is higher by that, and jitter that it hides makes the capture's figures bounds"
	if apart < 0 {
		means = "is lower by that, and the floor's figures are smaller than they would be at the capture's level"
	}
	return []measure.Warning{measure.Warningf(measure.FloorLevel, "channel %d: the floor's tone is at %.1f dBFS, the capture's at %.1f: additive noise, read as jitter, %s; record the floor at the capture's level",
		c.Channel, floor.LevelDBFS, c.LevelDBFS, means).In(c.Channel).Of(-apart, "dB")}
}

// against reads what channels share against what the floor's do: the recorder's own clock is in both. Of a floor of one channel all
// its jitter may be.
func (c Common) against(floor Result) Common {
	ps, bound := floor.Channel[0].RandomPs, floor.Channel[0].RandomLimitPs
	if f := floor.Common; f != nil {
		ps, bound = f.RandomPs, f.LimitPs
	}
	c.RandomPs, c.SEPs, c.LimitPs, c.AtFloor = limit(c.RandomPs, c.SEPs, c.LimitPs, c.AtFloor, ps, bound)
	return c
}

func differ(a, b [2]float64) bool {
	return math.Abs(a[0]/b[0]-1) > 0.01 || math.Abs(a[1]/b[1]-1) > 0.01
}

func (c *Channel) against(f Channel, seconds float64) {
	c.RandomPs, c.RandomSEPs, c.RandomLimitPs, c.RandomAtFloor = limit(c.RandomPs, c.RandomSEPs, c.RandomLimitPs, c.RandomAtFloor, f.RandomPs, f.RandomLimitPs)
	c.RandomBands = slices.Clone(c.RandomBands)
	for i := range c.RandomBands {
		if i < len(f.RandomBands) {
			b, g := &c.RandomBands[i], f.RandomBands[i]
			b.Ps, b.SEPs, b.LimitPs, b.AtFloor = limit(b.Ps, b.SEPs, b.LimitPs, b.AtFloor, g.Ps, g.LimitPs)
		}
	}
	c.Spectrum = slices.Clone(c.Spectrum)
	for i := range min(len(c.Spectrum), len(f.Spectrum)) {
		if d := &c.Spectrum[i]; d.RandomPs*d.RandomPs <= threeDB*f.Spectrum[i].most() {
			d.RandomPs = math.NaN()
		}
	}
	c.Lines = slices.Clone(c.Lines)
	for i := range c.Lines {
		l := &c.Lines[i]
		for _, g := range f.Lines {
			// A line of the mains or of a supply wanders a little between two captures.
			near := math.Abs(g.OffsetHz-l.OffsetHz) < max(2/seconds, 2e-4*l.OffsetHz)
			l.AtFloor = l.AtFloor || near && l.PeakPs*l.PeakPs <= threeDB*g.PeakPs*g.PeakPs
		}
	}
	c.add()
}

// limit reads a random figure against the floor's figure, or its bound where that is itself at its floor.
func limit(ps, se, bound float64, atFloor bool, floorPs, floorBound float64) (newPs, newSE, newBound float64, newAtFloor bool) {
	floor := floorPs
	if math.IsNaN(floor) {
		floor = floorBound
	}
	if atFloor {
		return math.NaN(), math.NaN(), bound, true
	}
	if ps*ps <= threeDB*floor*floor {
		return math.NaN(), math.NaN(), ps + oneSided95*se, true
	}
	return ps, se, max(bound, floor), false
}

// Transfer is how much of one capture's jitter another still shows.
type Transfer struct {
	Schema  string            `json:"schema"`
	Channel []TransferChannel `json:"channel"`
	measure.Warnings
}

// TransferChannel holds one channel's attenuation against jitter frequency.
type TransferChannel struct {
	Channel int            `json:"channel"`
	Lines   []TransferLine `json:"lines"`
	Density []TransferBand `json:"density"`
}

// TransferLine is the attenuation of one line, in dB, positive where the second capture shows less.
type TransferLine struct {
	OffsetHz      float64 `json:"offset_hz"`
	ReferencePs   float64 `json:"reference_ps"`
	OutputPs      float64 `json:"output_ps"` // NaN where not found
	AttenuationDB float64 `json:"attenuation_db"`
	AttenuationSE float64 `json:"attenuation_se_db"`
	AtLeast       bool    `json:"at_least"` // the floor stopped the reading: the attenuation is this or more
}

// TransferBand is the attenuation of the random jitter of one narrow band; NaN where the reference shows none.
type TransferBand struct {
	OffsetHz      float64 `json:"offset_hz"`
	AttenuationDB float64 `json:"attenuation_db"`
	AttenuationSE float64 `json:"attenuation_se_db"` // NaN where AtLeast
	AtLeast       bool    `json:"at_least"`
}

// NewTransfer sets output against reference: two measurements of one band made with Config.Spectrum, such as clock
// recovery off and on. Lines marked inherent or at the floor take no part. It is an error if the bands differ or a spectrum is missing
// (or lacks what it held before it could be stored whole).
func NewTransfer(reference, output Result) (Transfer, error) {
	if differ(reference.BandHz, output.BandHz) {
		return Transfer{}, fmt.Errorf("jitter: bands differ: %.0f to %.0f Hz and %.0f to %.0f Hz", reference.BandHz[0], reference.BandHz[1], output.BandHz[0], output.BandHz[1])
	}
	t := Transfer{Schema: "heardiff.transfer/1"}
	for i := range min(len(reference.Channel), len(output.Channel)) {
		a, b := reference.Channel[i], output.Channel[i]
		if math.IsNaN(a.RawPs) || math.IsNaN(b.RawPs) {
			t.Warn(measure.Warningf(measure.NoSignal, "channel %d has no tone in one of the captures", i+1).In(i + 1))
			continue
		}
		if len(a.Spectrum) == 0 || len(b.Spectrum) == 0 || a.Spectrum[0].HighHz == 0 || b.Spectrum[0].HighHz == 0 {
			return Transfer{}, fmt.Errorf("jitter: transfer of results without a spectrum")
		}
		t.Channel = append(t.Channel, TransferChannel{Channel: i + 1,
			Lines: transferLines(a, b, reference.Seconds, output.Seconds), Density: transferDensity(a, b)})
	}
	if len(t.Channel) == 0 {
		return Transfer{}, fmt.Errorf("jitter: %w in any channel of both", ErrNoTone)
	}
	return t, nil
}

func transferLines(a, b Channel, secondsA, secondsB float64) []TransferLine {
	var out []TransferLine
	for _, l := range a.Lines {
		if !l.Counts() {
			continue
		}
		t := TransferLine{OffsetHz: l.OffsetHz, ReferencePs: l.PeakPs, OutputPs: math.NaN()}
		relative := l.PeakSEPs / l.PeakPs
		if o, ok := sameLine(b.Lines, l.OffsetHz, 1/secondsA+1/secondsB); ok {
			t.OutputPs, t.AttenuationDB = o.PeakPs, pcm.DB(l.PeakPs/o.PeakPs)
			t.AtLeast = o.AtFloor
			t.AttenuationSE = 8.686 * math.Hypot(relative, o.PeakSEPs/o.PeakPs) // 20/ln 10
		} else {
			// A line of five standard errors would have been found nine times out of ten or so; seven nearly always.
			t.AtLeast, t.AttenuationSE = true, math.NaN()
			t.AttenuationDB = pcm.DB(l.PeakPs / (7 * b.lineSE(l.OffsetHz, secondsB)))
		}
		out = append(out, t)
	}
	return out
}

// lineSE returns the standard error that a line at hz would have, from the density there: √(S·ENBW/seconds).
func (c Channel) lineSE(hz, seconds float64) float64 {
	const enbw = (1 - taper*5./8) / ((1 - taper/2) * (1 - taper/2))
	for _, d := range c.Spectrum {
		if hz <= d.HighHz {
			return d.PMPs * math.Sqrt(enbw/seconds)
		}
	}
	return c.Spectrum[len(c.Spectrum)-1].PMPs * math.Sqrt(enbw/seconds)
}

func sameLine(lines []Line, hz, reach float64) (Line, bool) {
	i := slices.IndexFunc(lines, func(l Line) bool { return math.Abs(l.OffsetHz-hz) <= reach })
	if i < 0 {
		return Line{}, false
	}
	return lines[i], true
}

// clearOfNoise is how many standard errors of its own the output's part of a band has at the least to be read as measured: of some hundred
// bands of noise alone chance passes none (3·10⁻⁵ each).
const clearOfNoise = 4

// most returns the most that the random jitter of a band comes to, squared: what was found, or where that does not stand clear of the noise
// the bound of 95 %.
func (d DensityBand) most() float64 {
	if d.RandomPs*d.RandomPs >= clearOfNoise*d.SEPs2 {
		return d.RandomPs * d.RandomPs
	}
	return max(0, d.PMPs*d.PMPs-d.AMPs*d.AMPs) + oneSided95*d.SEPs2
}

func transferDensity(a, b Channel) []TransferBand {
	out := make([]TransferBand, min(len(a.Spectrum), len(b.Spectrum)))
	for i := range out {
		x, y := a.Spectrum[i], b.Spectrum[i]
		out[i] = TransferBand{OffsetHz: x.OffsetHz, AttenuationDB: math.NaN(), AttenuationSE: math.NaN()}
		if math.IsNaN(x.RandomPs) {
			continue
		}
		shown := x.RandomPs * x.RandomPs
		rest := y.RandomPs * y.RandomPs
		if out[i].AtLeast = math.IsNaN(y.RandomPs) || rest < clearOfNoise*y.SEPs2; out[i].AtLeast {
			rest = y.most()
		} else {
			out[i].AttenuationSE = 4.343 * math.Hypot(x.SEPs2/shown, y.SEPs2/rest) // 10/ln 10
		}
		out[i].AttenuationDB = pcm.PowerDB(shown / rest)
	}
	return out
}
