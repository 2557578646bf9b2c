package impair

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// Band is one auditory band: what the music holds there, and what a dose adds to it, as levels over all channels. NaN: silent.
type Band struct {
	LowHz     float64 `json:"low_hz"`
	CentreHz  float64 `json:"centre_hz"`
	HighHz    float64 `json:"high_hz"`
	MusicDBFS float64 `json:"music_dbfs"`
	AddedDBFS float64 `json:"added_dbfs"`
	// NearestDB is the most, over all moments, by which the added part exceeds what the music alone could be expected to mask in this band,
	// mostly negative; NaN where nothing is added.
	NearestDB float64 `json:"nearest_db"`
}

// Passage is a stretch of the music, and how near a dose comes to showing in it.
type Passage struct {
	StartS    float64 `json:"start_s"`
	LengthS   float64 `json:"length_s"`
	NearestDB float64 `json:"nearest_db"`
	AtS       float64 `json:"at_s"`
	AtHz      float64 `json:"at_hz"`
}

// Showing says where the addition of a dose comes nearest to exceeding the masking of the music. It is a model, to choose passages by and
// to see that a dose is hopeless; it is not a verdict.
type Showing struct {
	Bands []Band `json:"bands"`
	// NearestDB, AtS and AtHz are of the moment and the band where it is nearest. Hopeless says that it is Far or more below.
	NearestDB float64 `json:"nearest_db"`
	AtS       float64 `json:"at_s"`
	AtHz      float64 `json:"at_hz"`
	Hopeless  bool    `json:"hopeless"`
	// Passages are as long as was asked for, the one that shows the dose best first.
	Passages []Passage `json:"passages"`
	warning.Warnings
}

// Far is how many dB below the level at which it could begin to be audible a dose is hopeless. A judgement, no source;
// TestPassagesAreRankedByWhatTheyHide holds it.
const Far = 20

// quietDBFS is the level in one band below which nothing is taken to be audible: the threshold in quiet, about 0 dB SPL where hearing is
// best, where full scale is 112 dB SPL, louder than anybody should listen.
const quietDBFS = -112

// ERBNumber returns the number of auditory bands, each one equivalent rectangular bandwidth wide, below a frequency in Hz:
// 21.4·log10(4.37·f/1000 + 1).
//
// ref: Glasberg & Moore (1990), Derivation of auditory filter shapes from notched-noise data, Hearing Research 47, 103–138.
func ERBNumber(hz float64) float64 { return 21.4 * math.Log10(4.37*hz/1000+1) }

// erbFrequency is the inverse of ERBNumber.
func erbFrequency(number float64) float64 { return (math.Pow(10, number/21.4) - 1) * 1000 / 4.37 }

// maskedBelowDB is how far below a tone a noise in the same band is masked, in dB: 14.5 + z at z Bark. Noise masks more, so that what lies
// lower than this is safely masked by anything.
//
// ref: Schroeder, Atal & Hall (1979), J. Acoust. Soc. Am. 66, 1647; Bark by Zwicker & Terhardt (1980), J. Acoust. Soc. Am. 68, 1523; both
// formulas from memory.
func maskedBelowDB(hz float64) float64 {
	return 14.5 + 13*math.Atan(0.00076*hz) + 3.5*math.Atan(hz/7500*hz/7500)
}

// auditoryBands returns bands one ERB wide from 50 Hz to 16 kHz, or to what the rate holds.
func auditoryBands(rate pcm.Rate) []Band {
	var all []Band
	top := math.Min(16_000, 0.45*rate.Hz())
	for n := ERBNumber(50); ; n++ {
		b := Band{LowHz: erbFrequency(n), CentreHz: erbFrequency(n + 0.5), HighHz: erbFrequency(n + 1), NearestDB: math.NaN()}
		if b.HighHz > top {
			return all
		}
		all = append(all, b)
	}
}

// momentS is about how long a moment is, in seconds: short enough for a pause between notes, long enough for the lowest bands.
const momentS = 0.17

// Show compares a clean file with its dosed copy, band by band and moment by moment, read in blocks. passageS is how long the passages are
// to be, in seconds; 0: none. It is an error if the two do not match, are shorter than a moment, or are the same.
func Show(clean, dosed pcm.Reader, passageS float64) (Showing, error) {
	of, with := clean.Format(), dosed.Format()
	s := Showing{Bands: auditoryBands(of.Rate), NearestDB: math.NaN(), AtS: math.NaN(), AtHz: math.NaN()}
	size := 1 << int(math.Round(math.Log2(momentS*of.Rate.Hz())))
	switch {
	case of.Rate != with.Rate || of.Channels != with.Channels || clean.Frames() != dosed.Frames():
		return s, fmt.Errorf("impair: the two differ in rate, channels or length: a clean file and its dosed copy are wanted")
	case clean.Frames() < size:
		return s, fmt.Errorf("impair: %.2f s: at least %.2f s are wanted", of.Rate.Seconds(clean.Frames()), of.Rate.Seconds(size))
	}
	moments, err := s.measure(clean, dosed, size)
	if err != nil {
		return s, err
	}
	if math.IsNaN(s.NearestDB) {
		return s, fmt.Errorf("impair: the two are the same")
	}
	if s.Hopeless = s.NearestDB <= -Far; s.Hopeless {
		w := warning.Newf(measure.FarBelow, "what is added stays %.0f dB below anything that could show, by this model: take a larger dose, or another passage", -s.NearestDB)
		w.Value, w.Unit = -s.NearestDB, "dB"
		s.Warn(w)
	}
	s.Passages = passages(moments, of.Rate.Seconds(size/2), passageS)
	return s, nil
}

// moment is how near the dose comes to showing in one moment.
type moment struct{ nearestDB, hz float64 }

// measure fills the bands and returns the moments, half overlapping.
func (s *Showing) measure(clean, dosed pcm.Reader, size int) ([]moment, error) {
	rate := clean.Format().Rate
	music, added := make([]float64, len(s.Bands)), make([]float64, len(s.Bands))
	var moments []moment
	for at := 0; at+size <= clean.Frames(); at += size / 2 {
		own, extra, err := s.powersAt(clean, dosed, at, size)
		if err != nil {
			return nil, err
		}
		m := moment{nearestDB: math.NaN()}
		for b := range s.Bands {
			music[b], added[b] = music[b]+own[b], added[b]+extra[b]
			s.Bands[b].meet(&m, own[b], extra[b])
		}
		if !(m.nearestDB <= s.NearestDB) && !math.IsNaN(m.nearestDB) {
			s.NearestDB, s.AtHz, s.AtS = m.nearestDB, m.hz, rate.Seconds(at+size/2)
		}
		moments = append(moments, m)
	}
	for b := range s.Bands {
		s.Bands[b].MusicDBFS = levelDBFS(music[b] / float64(len(moments)))
		s.Bands[b].AddedDBFS = levelDBFS(added[b] / float64(len(moments)))
	}
	return moments, nil
}

// powersAt returns the powers of the music and of what is added to it, in size frames from at on.
func (s *Showing) powersAt(clean, dosed pcm.Reader, at, size int) (music, added []float64, err error) {
	block, errClean := pcm.Load(clean, at, at+size)
	other, errDosed := pcm.Load(dosed, at, at+size)
	if err := errors.Join(errClean, errDosed); err != nil {
		return nil, nil, fmt.Errorf("impair: %w", err)
	}
	for c, ch := range block.Channels {
		floats.Sub(other.Channels[c], ch)
	}
	return s.powers(block), s.powers(other), nil
}

// powers returns the mean square of a block in each band, over all channels.
func (s *Showing) powers(block pcm.Clip) []float64 {
	sum := make([]float64, len(s.Bands))
	for _, ch := range block.Channels {
		of := spectrum.Once(ch, block.Rate.Hz(), spectrum.Hann())
		for b, band := range s.Bands {
			sum[b] += of.BandPower(band.LowHz, band.HighHz)
		}
	}
	return sum
}

// meet takes the powers of one moment into the band and into the moment.
func (b *Band) meet(m *moment, music, added float64) {
	if added <= 0 {
		return
	}
	masked := levelDBFS(music) - maskedBelowDB(b.CentreHz)
	if !(masked > quietDBFS) { // silence included
		masked = quietDBFS
	}
	near := levelDBFS(added) - masked
	if !(near <= b.NearestDB) {
		b.NearestDB = near
	}
	if !(near <= m.nearestDB) {
		m.nearestDB, m.hz = near, b.CentreHz
	}
}

// levelDBFS is the level of a mean square by AES17: a full-scale sine is 0. NaN for silence.
func levelDBFS(power float64) float64 {
	if power <= 0 {
		return math.NaN()
	}
	return 10 * math.Log10(2*power)
}

// passages returns stretches side by side, each with its nearest moment, the nearest first. stepS is from moment to moment.
func passages(moments []moment, stepS, lengthS float64) []Passage {
	if !(lengthS > 0) {
		return nil
	}
	each := max(1, int(math.Round(lengthS/stepS)))
	var all []Passage
	for from := 0; from < len(moments); from += each {
		p := Passage{StartS: float64(from) * stepS, LengthS: float64(min(each, len(moments)-from)) * stepS, NearestDB: math.NaN()}
		for i := from; i < min(from+each, len(moments)); i++ {
			if m := moments[i]; !(m.nearestDB <= p.NearestDB) && !math.IsNaN(m.nearestDB) {
				p.NearestDB, p.AtHz, p.AtS = m.nearestDB, m.hz, float64(i+1)*stepS
			}
		}
		if !math.IsNaN(p.NearestDB) {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, func(a, b Passage) int { return cmp.Compare(b.NearestDB, a.NearestDB) })
	return all
}
