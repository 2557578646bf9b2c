package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// Content is what a recording seems to hold.
type Content uint8

// The contents.
const (
	Unclear Content = iota // too short to know
	Quiet                  // silence, or noise that nobody would play
	SteadyTone
	TwoTones
	RisingTone // a sweep
	LoudNoise  // flat noise, as pseudo-random words are
	Mixed      // neither tone nor silence: music, say
)

// Look is a first look at what a recording holds, from short stretches of its loudest channel.
type Look struct {
	Content Content
	// LevelDBFS is the level of the stretches within 20 dB of the loudest, −Inf for digital silence.
	LevelDBFS float64
	Hz        []float64 // of the tones; of a sweep where it began and ended, as far as it was seen
}

// String says in words what the recording holds.
func (l Look) String() string {
	level := strings.Replace(fmt.Sprintf("%.1f dBFS", l.LevelDBFS), "-", "−", 1)
	switch l.Content {
	case Quiet:
		if math.IsInf(l.LevelDBFS, -1) {
			return "digital silence"
		}
		return "silence or noise, " + level
	case SteadyTone:
		return fmt.Sprintf("a steady tone at %.1f Hz, %s", l.Hz[0], level)
	case TwoTones:
		return fmt.Sprintf("two tones at %.1f Hz and %.1f Hz, %s", l.Hz[0], l.Hz[1], level)
	case RisingTone:
		return fmt.Sprintf("a sweep, %s", level)
	case LoudNoise:
		return "noise, as strong in treble as in bass, " + level
	case Mixed:
		return "neither tone nor silence: music, say, " + level
	}
	return "too little to tell what"
}

// What distinguishes steady tones: judgement, no source. The signals are a quarter of 32 kHz and more, and 997 Hz at −1 and −60 dBFS,
// before the gain of a chain. TestAToneIsForOneMeasurement holds them.
const (
	carrierHz   = 4000
	lowToneDBFS = -40
)

// CarriesJitter reports a tone high and loud enough to show timing errors.
func (l Look) CarriesJitter() bool {
	return l.Content == SteadyTone && l.Hz[0] >= carrierHz && l.LevelDBFS > lowToneDBFS
}

// ShowsHarmonics reports a loud tone low enough to show harmonics.
func (l Look) ShowsHarmonics() bool {
	return l.Content == SteadyTone && l.Hz[0] < carrierHz && l.LevelDBFS > lowToneDBFS
}

// ShowsDynamicRange reports a faint tone, as dynamic range is measured by.
func (l Look) ShowsDynamicRange() bool {
	return l.Content == SteadyTone && l.Hz[0] < carrierHz && l.LevelDBFS <= lowToneDBFS
}

// What a look goes by: judgement, no source; TestALookRecognisesTheSignals holds them.
const (
	lookStretches = 24
	lookSeconds   = 0.3    // least length of one
	leastLook     = 1024   // frames, below which nothing is known
	nearLoudest   = 0.01   // in power: 20 dB
	quietDBFS     = -75    // below it nothing was played
	faintNoise    = -50    // dBFS below which flat noise is what a chain adds, not what was sent
	tonal         = 0.9    // share of the power that tones hold
	lesserTone    = 0.03   // share of the weaker of two tones: 12 dB less is 0.06
	sameHz        = 1e-3   // a tone keeps its frequency within this, as a ratio
	usually       = 0.8    // share of the stretches that must agree
	mainLobe      = 5      // bins to either side of a line of the Blackman–Harris window
	sweptHz       = 1.25   // a sweep keeps within this ratio for a quarter of a stretch
	sweptRange    = 8      // ratio of the last to the first frequency of a sweep, at the least
	flat          = 0.5    // spectral flatness of noise; finite averages of white noise have 0.95 and more
	lowestHz      = 100.0  // from here flatness is read
	highestShare  = 0.4    // to here, of the rate: anti-alias filters lie above
	fadingShare   = 1. / 4 // of a stretch, in which a sweep is looked at
)

// stretch is what is seen of one channel in one stretch.
type stretch struct {
	power          float64
	hz, second     float64 // of the two strongest lines
	share, lesser  float64 // of the power
	swept, sweptIn float64 // frequency in a part of the stretch, and the share of power near it
	densityHz      float64
	density        []float64
}

// LookAt looks at stretches of r, together far shorter than r. Errors are those of reading.
func LookAt(r pcm.Reader) (Look, error) {
	f := r.Format()
	size := max(leastLook, spectrum.PowerOfTwo(int(math.Ceil(lookSeconds*f.Rate.Hz()))))
	size = spectrum.Halved(size, 0, r.Frames())
	if size < leastLook {
		return Look{Content: Unclear, LevelDBFS: math.NaN()}, nil
	}
	seen := make([][]stretch, f.Channels)
	for i := range lookStretches {
		at := (r.Frames() - size) * i / (lookStretches - 1)
		clip, err := pcm.Load(r, at, at+size)
		if err != nil {
			return Look{}, fmt.Errorf("look: %w", err)
		}
		for c, x := range clip.Channels {
			seen[c] = append(seen[c], lookAt(x, f.Rate.Hz()))
		}
	}
	loudest := slices.MaxFunc(seen, func(a, b []stretch) int { return cmp.Compare(powerOf(a), powerOf(b)) })
	return judge(loudest, f.Rate.Hz()), nil
}

func powerOf(list []stretch) (power float64) {
	for _, s := range list {
		power += s.power
	}
	return power
}

func lookAt(x []float64, rateHz float64) stretch {
	s := stretch{power: floats.Dot(x, x) / float64(len(x))}
	sp := spectrum.Once(x, rateHz, spectrum.BlackmanHarris4())
	s.density, s.densityHz = sp.Density, sp.BinHz()
	total := sp.BandPower(mainLobe*sp.BinHz(), rateHz/2)
	if !(total > 0) {
		return s
	}
	first := strongest(sp.Density, -1)
	second := strongest(sp.Density, first)
	near := func(k int) float64 {
		return sp.BandPower((float64(k)-mainLobe)*sp.BinHz(), (float64(k)+mainLobe)*sp.BinHz()) / total
	}
	s.hz, s.share = sp.Peak(first).FreqHz, near(first)
	if second > 0 {
		s.second, s.lesser = sp.Peak(second).FreqHz, near(second)
	}
	short := spectrum.Once(x[:int(fadingShare*float64(len(x)))], rateHz, spectrum.BlackmanHarris4())
	if all := short.BandPower(mainLobe*short.BinHz(), rateHz/2); all > 0 {
		s.swept = float64(strongest(short.Density, -1)) * short.BinHz()
		reach := math.Max((sweptHz-1)*s.swept, mainLobe*short.BinHz())
		s.sweptIn = short.BandPower(s.swept-reach, s.swept+reach) / all
	}
	return s
}

// strongest returns the bin of the strongest line outside the main lobe at 0 Hz and that of a line at not (−1: none); 0 where there is none.
func strongest(density []float64, not int) int {
	best := 0
	for k := mainLobe; k < len(density)-1; k++ {
		if not >= 0 && k >= not-2*mainLobe && k <= not+2*mainLobe {
			continue
		}
		if best == 0 || density[k] > density[best] {
			best = k
		}
	}
	return best
}

// judge says what stretches of one channel, in their order, hold together.
func judge(all []stretch, rateHz float64) Look {
	most := slices.MaxFunc(all, func(a, b stretch) int { return cmp.Compare(a.power, b.power) }).power
	loud := slices.DeleteFunc(slices.Clone(all), func(s stretch) bool { return s.power < nearLoudest*most })
	l := Look{LevelDBFS: pcm.DB(math.Sqrt(2 * powerOf(loud) / float64(len(loud))))}
	switch hz, content := tones(loud); {
	case l.LevelDBFS < quietDBFS:
		l.Content = Quiet
	case content != Unclear:
		l.Content, l.Hz = content, hz
	default:
		l.Content, l.Hz = untuned(loud, l.LevelDBFS, rateHz)
	}
	return l
}

// tones reports one or two tones that keep their frequencies, and those.
func tones(loud []stretch) ([]float64, Content) {
	first, second := medianOf(loud, func(s stretch) float64 { return s.hz }), medianOf(loud, func(s stretch) float64 { return s.second })
	one, two := 0, 0
	for _, s := range loud {
		at := func(hz, want float64) bool { return math.Abs(hz/want-1) < sameHz }
		either := at(s.hz, first) && at(s.second, second) || at(s.hz, second) && at(s.second, first)
		switch {
		case s.share+s.lesser >= tonal && s.lesser >= lesserTone && either:
			two++
		case s.share >= tonal && at(s.hz, first):
			one++
		}
	}
	need := usually * float64(len(loud))
	switch {
	case float64(one) >= need:
		return []float64{first}, SteadyTone
	case float64(two) >= need:
		return []float64{math.Min(first, second), math.Max(first, second)}, TwoTones
	}
	return nil, Unclear
}

// untuned distinguishes a sweep, flat noise and everything else.
func untuned(loud []stretch, levelDBFS, rateHz float64) (Content, []float64) {
	if hz := swept(loud); hz != nil {
		return RisingTone, hz
	}
	if flatness(loud, rateHz) < flat {
		return Mixed, nil
	}
	if levelDBFS < faintNoise {
		return Quiet, nil
	}
	return LoudNoise, nil
}

// swept returns the first and last frequency of a tone that rises, nil where none does.
func swept(loud []stretch) []float64 {
	var rising []float64
	for _, s := range loud {
		if s.sweptIn < tonal {
			continue
		}
		if n := len(rising); n > 0 && s.swept < rising[n-1] {
			return nil
		}
		rising = append(rising, s.swept)
	}
	n := len(rising)
	if float64(n) < usually*float64(len(loud)) || rising[n-1] < sweptRange*rising[0] {
		return nil
	}
	return []float64{rising[0], rising[n-1]}
}

// flatness is the geometric over the arithmetic mean of the density averaged over stretches: 1 for white noise.
func flatness(loud []stretch, rateHz float64) float64 {
	logs, sum, n := 0.0, 0.0, 0.0
	for k := range loud[0].density {
		hz := float64(k) * loud[0].densityHz
		if hz < lowestHz || hz > highestShare*rateHz {
			continue
		}
		mean := 0.0
		for _, s := range loud {
			mean += s.density[k] / float64(len(loud))
		}
		logs, sum, n = logs+math.Log(mean), sum+mean, n+1
	}
	return math.Exp(logs/n) / (sum / n)
}

func medianOf(list []stretch, value func(stretch) float64) float64 {
	var all []float64
	for _, s := range list {
		all = append(all, value(s))
	}
	return spectrum.Median(all)
}
