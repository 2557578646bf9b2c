package tone

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// Result is the measurement of a single tone.
type Result struct {
	Schema  string    `json:"schema"` // heardiff.tone/1
	RateHz  int       `json:"rate_hz"`
	Seconds float64   `json:"seconds"` // of what was measured
	Channel []Channel `json:"channel"`
	warning.Warnings
}

// Channel is the part of a Result about one channel. Ratios are to the fundamental, in dB; the band is 20 Hz
// to 20 kHz.
type Channel struct {
	Channel     int     `json:"channel"` // from 1
	FrequencyHz float64 `json:"frequency_hz"`
	LevelDBFS   float64 `json:"level_dbfs"` // AES17
	// THDDB is the root sum of squares of harmonics 2 to 9 within the band (THD_F of IEC 60268-3).
	THDDB float64 `json:"thd_db"`
	// THDLimitDB is what noise alone reaches once in twenty times: near it and below THDDB is an upper bound. NaN where the recording is
	// too short to tell.
	THDLimitDB float64 `json:"thd_limit_db"`
	// THDNDB holds everything but the fundamental. SINADDB is the same with the sign turned.
	THDNDB  float64 `json:"thd_n_db"`
	SINADDB float64 `json:"sinad_db"`
	// NoiseDB is everything but the fundamental and harmonics 2 to 9, hum included.
	NoiseDB   float64    `json:"noise_db"`
	Harmonics []Harmonic `json:"harmonics"`
	Hum       []Line     `json:"hum"`
	Spurs     []Line     `json:"spurs"`
	Limits    []Limit    `json:"limits,omitempty"`
	// Density is the density of all but the tone and its harmonics.
	Density []DensityPoint `json:"-"`
}

// DensityPoint is a point of a noise density, for pictures.
type DensityPoint struct {
	Hz   float64 `json:"hz"`
	DBFS float64 `json:"dbfs_in_1_hz"` // 0 is the power of a full-scale sine
}

// compactPerDecade keeps 20 Hz to 20 kHz within 500 points, about as many as a picture has pixels.
const compactPerDecade = 160

// compact returns the mean power within each of compactPerDecade steps a decade; where bins are wider, each bin.
func compact(list []DensityPoint) []DensityPoint {
	var out []DensityPoint
	for i := 0; i < len(list); {
		edge := list[i].Hz * math.Pow(10, 1.0/compactPerDecade)
		hz, power, n := 0.0, 0.0, 0.0
		for ; i < len(list) && (n == 0 || list[i].Hz < edge); i++ {
			hz, power, n = hz+list[i].Hz, power+math.Pow(10, list[i].DBFS/10), n+1
		}
		out = append(out, DensityPoint{Hz: hz / n, DBFS: pcm.PowerDB(power / n)})
	}
	return out
}

// densityOf returns the density from 20 Hz to 20 kHz.
func densityOf(s spectrum.Spectrum) []DensityPoint {
	var list []DensityPoint
	for k := s.Bin(bandLow); k <= s.Bin(min(bandHigh, s.RateHz/2)); k++ {
		list = append(list, DensityPoint{Hz: s.FreqHz(k), DBFS: pcm.DBFS(math.Sqrt(s.Density[k]))})
	}
	return list
}

// Harmonic is one harmonic. DBC is NaN where it lies above 20 kHz or half the rate.
type Harmonic struct {
	Order int     `json:"order"`
	DBC   float64 `json:"dbc"`
	// LimitDBC is the level that noise alone reaches once in twenty times: below it DBC is noise. NaN
	// where the recording is too short to tell.
	LimitDBC float64 `json:"limit_dbc"`
}

// Line is a line relative to the fundamental.
type Line struct {
	Hz  float64 `json:"hz"`
	DBC float64 `json:"dbc"`
}

const (
	highestHarmonic = 9
	steadyDB        = 0.1 // a steady tone whose level moves by more is warned of; common practice, no source
	weakDBFS        = -100
	loudestLowTone  = -20 // above it the noise is a loud tone's, which is another question
	// strayAmplitude is the amplitude, relative to the tone, from which on a second line that is no harmonic makes it two tones, or music. A judgement,
	// no source; TestTheSignalOfAnotherMeasurementIsRefused holds it.
	strayAmplitude = 0.2
	// beyondTone is how far beyond the highest tone, as a ratio, the power counts.
	beyondTone = 1.01
)

// Measure measures a recording of a single tone: the strongest line of each channel. Silence before and after is
// trimmed. The error wraps ErrNoSignal where no channel holds a tone.
func Measure(r pcm.Reader) (Result, error) {
	track, err := trackTone(r)
	if err != nil {
		return Result{}, fmt.Errorf("tone: %w", err)
	}
	result := Result{
		Schema: "heardiff.tone/1", RateHz: int(r.Format().Rate), Seconds: r.Format().Rate.Seconds(track.to - track.from),
	}
	result.Warn(track.warnings(r.Format().Rate, steadyDB)...)
	result.Warn(track.faults()...)
	for c, t := range track.channels {
		ch := silentChannel(c + 1)
		if t != nil {
			ch = t.channel(c + 1)
			result.Warn(strayTone(c+1, ch.FrequencyHz)...)
			if measure.IsQuarter(ch.FrequencyHz, r.Format().Rate.Hz()) {
				result.Warn(warning.Newf(JitterSignal, "channel %d: the tone is at %.2f Hz, a quarter of the rate: the jitter signal? Its harmonics lie beyond the band", c+1, ch.FrequencyHz).
					In(c+1).Of(ch.FrequencyHz, "Hz"))
			}
			if ch.LevelDBFS < quietestTone {
				result.Warn(oddLevel(c+1, ch.LevelDBFS, "is this the low tone, or is the gain off?"))
			}
		}
		result.Channel = append(result.Channel, ch)
	}
	return result, nil
}

func silentChannel(n int) Channel {
	nan := math.NaN()
	return Channel{Channel: n, FrequencyHz: nan, LevelDBFS: nan, THDDB: nan, THDLimitDB: nan, THDNDB: nan, SINADDB: nan, NoiseDB: nan}
}

// tracked is a recording whose tones have been followed; a channel without a tone is nil.
type tracked struct {
	active
	channels []*tracker
	missing  []warning.Warning
}

// faults are what following the tones brought to light.
func (t tracked) faults() []warning.Warning {
	return slices.Concat(t.missing, t.jumpWarnings(), t.burstWarnings())
}

// noisyDB returns by how much the level of a tone not far above its noise may move: steadyDB, or as much as the
// noise moves it, which over some minutes is nine times what it is from one tenth to the next.
func (t tracked) noisyDB() float64 {
	limit := steadyDB
	for c, ch := range t.channels {
		if ch != nil {
			limit = max(limit, min(1, 9*t.restlessDB[c]))
		}
	}
	return limit
}

// leastTonal is the share of the power that the strongest lines of a test tone hold at the least. A judgement, no source;
// TestTheSignalOfAnotherMeasurementIsRefused holds it.
const leastTonal = 0.3

// Levels in dBFS at which a tone is likely to be another signal than the one to be measured: a tone is sent at −1 or so, a low tone at −60.
// Judgement, no source; TestFaultsOfTheRecorderAreNamed holds the first.
const (
	quietestTone    = -40
	faintestLowTone = -80
)

// trackTone finds the strongest line of each channel, follows it, and gathers harmonics 2 to 9.
func trackTone(r pcm.Reader) (tracked, error) {
	rate := r.Format().Rate
	return track(r, 1, func(hz []float64) [][]int {
		var orders [][]int
		for n := 2; n <= highestHarmonic; n++ {
			if float64(n)*hz[0] < belowHalf*rate.Hz() {
				orders = append(orders, []int{n})
			}
		}
		return orders
	})
}

// track finds the count strongest lines of each channel and follows them and their products.
func track(r pcm.Reader, count int, products func(hz []float64) [][]int) (tracked, error) {
	a, err := findActive(r)
	if err != nil {
		return tracked{}, err
	}
	rate := r.Format().Rate
	frames := a.to - a.from
	if frames == 0 {
		return tracked{}, fmt.Errorf("%w: silent from beginning to end", ErrNoSignal)
	}
	if frames < int(rate)/2 {
		return tracked{}, fmt.Errorf("%w: only %.2f s of steady signal, half a second is the least", ErrNoSignal, rate.Seconds(frames))
	}
	t := tracked{active: a, channels: make([]*tracker, r.Format().Channels)}
	lines, err := strongest(r, a, count)
	if err != nil {
		return tracked{}, err
	}
	found := false
	for c, hz := range lines {
		if hz == nil {
			t.missing = append(t.missing, warning.Newf(measure.NoSignal, "channel %d: no %s found", c+1, plural(count)).In(c+1))
			t.swingDB[c] = math.NaN() // the swing of noise says nothing
			continue
		}
		found = true
		t.channels[c] = newTracker(rate, frames, hz, products(hz))
	}
	if !found {
		return tracked{}, fmt.Errorf("%w: no %s above the noise", ErrNoSignal, plural(count))
	}
	return t, a.stretches(r, int(rate), func(block [][]float64) error {
		for c, x := range block {
			if t.channels[c] != nil {
				t.channels[c].write(x)
			}
		}
		return nil
	})
}

func plural(count int) string {
	if count == 1 {
		return "tone"
	}
	return fmt.Sprintf("%d tones", count)
}

// strongest returns the frequencies of the count strongest lines of each channel, lowest first; nil where there are
// not as many above −100 dBFS, or the weakest of them holds less than a tenth of the rest of the channel's power.
func strongest(r pcm.Reader, a active, count int) ([][]float64, error) {
	rate := r.Format().Rate
	list := make([][]float64, r.Format().Channels)
	averagers := make([]*spectrum.Averager, len(list))
	for c := range averagers {
		averagers[c] = newAverager(rate, a.to-a.from)
	}
	// Half a minute gives the frequencies well enough for the fit to take over.
	part := a
	part.to = min(a.to, a.from+30*int(rate))
	err := part.stretches(r, int(rate), func(block [][]float64) error {
		for c, x := range block {
			averagers[c].Write(x)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for c, avg := range averagers {
		list[c] = pick(avg.Mean(), count)
	}
	return list, nil
}

// topTone is the frequency up to which a tone counts as within the band: 20 kHz by any clock. Judgement, no source;
// TestWhatIsBeyondTheBandIsNoNoise holds it.
const topTone = 1.01 * bandHigh

// farStronger is how much stronger, in dB, a tone beyond the band must be than what is taken for one within it, such as hum under the jitter signal
// of 96 kHz. A judgement, no source; TestHumUnderAToneBeyondTheBandIsNotTheTone holds it.
const farStronger = 60

// pick returns the frequencies of the count test tones of a spectrum, lowest first, or nil. A converter that shapes its noise has lines beyond the
// band, or what chance makes of the edge of that noise, that are stronger than a low tone.
func pick(s spectrum.Spectrum, count int) []float64 {
	all := s.Lines(5*s.BinHz(), s.RateHz/2*0.995, 50, falseAlarms)
	within := slices.DeleteFunc(slices.Clone(all), func(l spectrum.Line) bool { return l.FreqHz > topTone })
	tones, anywhere := tonesOf(s, within, count), tonesOf(s, all, count)
	if tones == nil || anywhere != nil && anywhere[0].Amplitude > tones[0].Amplitude*pcm.Ratio(farStronger) {
		tones = anywhere
	}
	var hz []float64
	for _, l := range tones {
		hz = append(hz, l.FreqHz)
	}
	slices.Sort(hz)
	return hz
}

// tonesOf returns the count strongest of some lines, or nil where they are no test tones.
func tonesOf(s spectrum.Spectrum, lines []spectrum.Line, count int) []spectrum.Line {
	if len(lines) < count || pcm.DB(lines[count-1].Amplitude) < weakDBFS {
		return nil
	}
	if count == 1 && len(lines) > 1 && lines[1].Amplitude > strayAmplitude*lines[0].Amplitude && !nearMultiple(lines[1].FreqHz, lines[0].FreqHz, 4*s.BinHz()) {
		return nil // two tones, or music
	}
	power, highest := 0.0, bandHigh
	for _, l := range lines[:count] {
		power += l.Amplitude * l.Amplitude / 2
		highest = max(highest, beyondTone*l.FreqHz)
	}
	// Noise beyond the band is no part of any figure.
	if power < leastTonal*s.BandPower(bandLow, highest) { // music or noise with lines in it, not a test tone
		return nil
	}
	return lines[:count]
}

// channel computes the figures of one channel.
func (t *tracker) channel(n int) Channel {
	clean := t.clean.Mean()
	amplitude, hz := t.tone(0)
	ratio := func(power float64) float64 { return pcm.PowerDB(power / (amplitude * amplitude / 2)) }
	thdn := ratio(weightedPower(t.residual.Mean(), nil))
	c := Channel{
		Channel: n, FrequencyHz: hz, LevelDBFS: pcm.DB(amplitude), THDNDB: thdn, SINADDB: -thdn,
		NoiseDB: ratio(weightedPower(clean, nil)), Density: densityOf(clean),
	}
	c.Harmonics, c.THDDB = t.harmonics(amplitude, hz)
	c.THDLimitDB = noiseTHD(c.Harmonics)
	hum, spurs := findLines(clean, func(f float64) bool { return nearMultiple(f, hz, clean.BinHz()*4) })
	c.Hum, c.Spurs = relative(hum, amplitude), relative(spurs, amplitude)
	return c
}

// nearMultiple reports whether f is near a multiple of the tone: a line there is modulation of the
// tone, or a harmonic above the ninth.
func nearMultiple(f, tone, within float64) bool {
	n := math.Max(1, math.Round(f/tone))
	return math.Abs(f-n*tone) < within
}

func relative(lines []spectrum.Line, amplitude float64) []Line {
	var list []Line
	for _, l := range lines {
		list = append(list, Line{Hz: l.FreqHz, DBC: pcm.DB(l.Amplitude / amplitude)})
	}
	return list
}

func (t *tracker) harmonics(amplitude, hz float64) ([]Harmonic, float64) {
	list := make([]Harmonic, 0, highestHarmonic-1)
	sum := 0.0
	for n := 2; n <= highestHarmonic; n++ {
		h := Harmonic{Order: n, DBC: math.NaN(), LimitDBC: math.NaN()}
		if n-2 < len(t.products) && float64(n)*hz <= bandHigh {
			a, se := t.products[n-2].amplitude(t.n)
			h.DBC, h.LimitDBC = pcm.DB(a/amplitude), pcm.DB(se*chance95(t.n)/amplitude)
			sum += a * a
		}
		list = append(list, h)
	}
	if sum == 0 {
		return list, math.NaN()
	}
	return list, pcm.DB(math.Sqrt(sum) / amplitude)
}

// LowToneResult is the dynamic range by a tone at −60 dBFS.
type LowToneResult struct {
	Schema  string           `json:"schema"` // heardiff.low_tone/1
	RateHz  int              `json:"rate_hz"`
	Seconds float64          `json:"seconds"`
	Channel []LowToneChannel `json:"channel"`
	warning.Warnings
}

// LowToneChannel is the part of a LowToneResult about one channel. The ranges are the levels of everything but the tone,
// 20 Hz to 20 kHz, below 0 dBFS of the recording, positive.
type LowToneChannel struct {
	Channel            int     `json:"channel"`
	FrequencyHz        float64 `json:"frequency_hz"`
	LevelDBFS          float64 `json:"level_dbfs"`
	DynamicRangeDB     float64 `json:"dynamic_range_db"`
	DynamicRangeADB    float64 `json:"dynamic_range_a_db"`
	DynamicRangeCCIRDB float64 `json:"dynamic_range_ccir_db"`
	BelowTonePlus60ADB float64 `json:"below_tone_plus_60_a_db"` // A-weighted, below 60 dB above the tone: the chain's own full scale
	Limits             []Limit `json:"limits,omitempty"`

	Density []DensityPoint `json:"-"` // of all but the tone
}

// LowTone measures the dynamic range after AES17 on a recording of a tone at −60 dBFS: the residual in the presence of the
// tone, which keeps muting circuits and noise gates from hiding it. Errors are those of Measure.
func LowTone(r pcm.Reader) (LowToneResult, error) {
	track, err := trackTone(r)
	if err != nil {
		return LowToneResult{}, fmt.Errorf("low tone: %w", err)
	}
	result := LowToneResult{
		Schema: "heardiff.low_tone/1", RateHz: int(r.Format().Rate), Seconds: r.Format().Rate.Seconds(track.to - track.from),
	}
	result.Warn(track.warnings(r.Format().Rate, track.noisyDB())...)
	result.Warn(track.faults()...)
	for c, t := range track.channels {
		nan := math.NaN()
		ch := LowToneChannel{Channel: c + 1, FrequencyHz: nan, LevelDBFS: nan, DynamicRangeDB: nan, DynamicRangeADB: nan, DynamicRangeCCIRDB: nan, BelowTonePlus60ADB: nan}
		if t != nil {
			ch = t.lowTone(c + 1)
			result.Warn(strayTone(c+1, ch.FrequencyHz)...)
			if ch.LevelDBFS > loudestLowTone {
				return LowToneResult{}, fmt.Errorf("low tone: %w: a tone at %.1f dBFS, −60 is wanted", ErrNoSignal, ch.LevelDBFS)
			}
			if ch.LevelDBFS > quietestTone || ch.LevelDBFS < faintestLowTone {
				result.Warn(oddLevel(c+1, ch.LevelDBFS, "not near −60: another signal, or the gain is off"))
			}
		}
		result.Channel = append(result.Channel, ch)
	}
	return result, nil
}

func (t *tracker) lowTone(n int) LowToneChannel {
	residual := t.residual.Mean()
	amplitude, hz := t.tone(0)
	below := func(weight func(float64) float64) float64 {
		return -pcm.DBFS(math.Sqrt(weightedPower(residual, weight)))
	}
	a := below(measure.AWeightDB)
	return LowToneChannel{
		Channel: n, FrequencyHz: hz, LevelDBFS: pcm.DB(amplitude), DynamicRangeDB: below(nil),
		DynamicRangeADB: a, DynamicRangeCCIRDB: below(measure.CCIRWeightDB), BelowTonePlus60ADB: a + pcm.DB(amplitude) + 60,
		Density: densityOf(residual),
	}
}
