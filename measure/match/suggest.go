package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// Suggestion is a stretch worth listening to, and why.
type Suggestion struct {
	// StartS and Seconds count in the first capture, as Excerpt does.
	StartS  float64 `json:"start_s"`
	Seconds float64 `json:"seconds"`
	// Kind is one of the kinds below, Value its figure and Unit the figure's unit.
	Kind  string  `json:"kind"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// What Suggest looks for. Jitter and noise show on different material: random jitter on sustained high tones, timing on
// transients, noise and hum in quiet passages, a difference between channels where the stereo picture is wide (common
// practice, no source).
const (
	Transients = "transients"
	HighTones  = "sustained high tones"
	Quiet      = "quiet passage"
	Wide       = "wide stereo"
)

// SuggestConfig says how many stretches, and how long.
type SuggestConfig struct {
	// Count is how many to find. 0: 4.
	Count int
	// LengthS is how long each is, in seconds. 0: 15.
	LengthS float64
	Names   Names
}

// Validate returns an error that names the field that is out of its range.
func (c SuggestConfig) Validate() error {
	switch {
	case c.Count < 0 || c.Count > mostSuggested:
		return fmt.Errorf("match: Count %d: want 1 to %d", c.Count, mostSuggested)
	case c.LengthS != 0 && !(c.LengthS >= 1 && c.LengthS <= longestSuggestedS):
		return fmt.Errorf("match: excerpts of %v s: want 1 to %d s", c.LengthS, longestSuggestedS)
	}
	return nil
}

// mostSuggested stretches, of longestSuggestedS seconds, are more than anybody listens to. A judgement, no source;
// TestSuggestionsRefuseWhatIsTooShortAndSkipSilence holds them.
const mostSuggested, longestSuggestedS = 100, 600

// Frames of analysis: long enough to resolve tones at 100 Hz, short enough to see an onset.
const (
	suggestBlock = 2048
	quietestDBFS = -70 // below, a stretch is silence rather than music (common practice, no source)
	highFromHz   = 2000
	highToHz     = 10000
)

// Suggest finds stretches of music worth listening to, within what all captures hold, in the order of the kinds above and
// then from the first kind on, none overlapping another. Fewer come where the music holds no more. It reads the first capture block by
// block; the others are only placed against it. Errors are those of Compare, and ErrUnfit where the captures share less
// than one stretch.
func Suggest(captures []pcm.Reader, cfg SuggestConfig) ([]Suggestion, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	cfg.Count, cfg.LengthS = cmp.Or(cfg.Count, 4), cmp.Or(cfg.LengthS, 15)
	if len(captures) == 0 {
		return nil, fmt.Errorf("match: no captures")
	}
	lo, hi, err := common(captures, cfg.Names)
	if err != nil {
		return nil, err
	}
	rate := captures[0].Format().Rate
	length := int(cfg.LengthS * rate.Hz())
	if hi-lo < length {
		return nil, fmt.Errorf("match: %w: all captures together hold %.1f s, less than one stretch of %.1f s", ErrUnfit, rate.Seconds(hi-lo), cfg.LengthS)
	}
	traits, err := traitsOf(captures[0], lo, hi)
	if err != nil {
		return nil, err
	}
	return choose(traits, lo, length, rate, cfg.Count), nil
}

// common returns the frames of the first capture that all hold.
func common(captures []pcm.Reader, names Names) (lo, hi int, err error) {
	lo, hi = 0, captures[0].Frames()
	for i, c := range captures[1:] {
		r, err := compare(captures[0], c)
		if err != nil {
			return 0, 0, fmt.Errorf("%s: %w", names.of(i+1), err)
		}
		from, to := r.line.Overlap(captures[0], c, 0)
		lo, hi = max(lo, from), min(hi, to)
	}
	return lo, hi, nil
}

// trait is what one block of analysis shows.
type trait struct {
	power     float64 // mean square
	side, mid float64
	// onset is by how many dB the high band rises over the block before, 0 where it falls.
	onset float64
	// tones is by how many dB the strongest bin of the high band exceeds the band's mean bin; level is that bin's.
	tones, level float64
}

func traitsOf(r pcm.Reader, lo, hi int) ([]trait, error) {
	plan := spectrum.NewPlan(suggestBlock)
	window := spectrum.Hann().Samples(suggestBlock)
	planes := pcm.Planes(r.Format().Channels, suggestBlock)
	mono := make([]float64, suggestBlock)
	var bins []complex128
	var all []trait
	before := math.Inf(1)
	for from := lo; from+suggestBlock <= hi; from += suggestBlock {
		if _, err := r.ReadFrames(planes, from); err != nil {
			return nil, fmt.Errorf("match: %w", err)
		}
		t := trait{}
		t.sums(planes, mono)
		floats.Mul(mono, window)
		bins = plan.Forward(bins, mono)
		high := t.high(bins, r.Format().Rate)
		if t.onset = math.Max(0, pcm.PowerDB(high/before)); math.IsNaN(t.onset) || math.IsInf(t.onset, 0) {
			t.onset = 0
		}
		before = math.Max(high, 1e-12) // out of silence nothing is infinitely louder
		all = append(all, t)
	}
	return all, nil
}

// sums fills in the powers, and mono with the mean of the channels.
func (t *trait) sums(planes [][]float64, mono []float64) {
	for i := range mono {
		first, last := planes[0][i], planes[len(planes)-1][i]
		mid, side := (first+last)/2, (first-last)/2
		mono[i] = mid
		t.mid += mid * mid / suggestBlock
		t.side += side * side / suggestBlock
	}
	t.power = t.mid + t.side
}

// high fills in what the high band shows and returns its power.
func (t *trait) high(bins []complex128, rate pcm.Rate) float64 {
	from := int(highFromHz * suggestBlock / rate.Hz())
	to := int(math.Min(highToHz, 0.45*rate.Hz()) * suggestBlock / rate.Hz())
	sum, most := 0.0, 0.0
	for _, b := range bins[from:to] {
		p := real(b)*real(b) + imag(b)*imag(b)
		sum, most = sum+p, math.Max(most, p)
	}
	t.level = most / (suggestBlock * suggestBlock)
	t.tones = pcm.PowerDB(most * float64(to-from) / sum)
	if sum == 0 {
		t.tones = 0
	}
	return sum / (suggestBlock * suggestBlock)
}

// kind is what to look for, with its figure of a stretch; NaN where it is nothing of the kind.
type kind struct {
	name, unit string
	figure     func([]trait) float64
	sign       float64 // 1 where more is better, −1 where less is
}

func kinds() []kind {
	return []kind{
		{Transients, "dB of onset on average, over the strongest sixth of the stretch", onsets, 1},
		{HighTones, "dB that the strongest tone of 2 to 10 kHz stands out, half of the time", highTones, 1},
		{Quiet, "dBFS", quiet, -1},
		{Wide, "dB of side against middle", wide, 1},
	}
}

func onsets(part []trait) float64 {
	rises := make([]float64, len(part))
	for i, t := range part {
		rises[i] = t.onset
	}
	slices.Sort(rises)
	// One block of six: four onsets a second at 48 kHz, a lively pace.
	n := max(1, len(rises)/6)
	sum := floats.Sum(rises[len(rises)-n:])
	if sum == 0 || loudness(part) < quietestDBFS {
		return math.NaN()
	}
	return sum / float64(n)
}

// inaudible is the power of a tone 80 dB below full scale (common practice, no source).
const inaudible = 1e-8

func highTones(part []trait) float64 {
	tones := make([]float64, len(part))
	for i, t := range part {
		if t.level >= inaudible {
			tones[i] = t.tones
		}
	}
	if m := spectrum.Median(tones); m > 0 {
		return m
	}
	return math.NaN()
}

func quiet(part []trait) float64 {
	if v := loudness(part); v >= quietestDBFS {
		return v
	}
	return math.NaN()
}

func wide(part []trait) float64 {
	var side, mid float64
	for _, t := range part {
		side, mid = side+t.side, mid+t.mid
	}
	if side == 0 || loudness(part) < quietestDBFS {
		return math.NaN()
	}
	return pcm.PowerDB(side / mid)
}

// loudness is the level of a stretch in dBFS.
func loudness(part []trait) float64 {
	sum := 0.0
	for _, t := range part {
		sum += t.power
	}
	return pcm.PowerDB(2 * sum / float64(len(part)))
}

// choose takes the best stretch of each kind in turn that overlaps none taken before.
func choose(traits []trait, lo, length int, rate pcm.Rate, count int) []Suggestion {
	blocks := length / suggestBlock
	step := max(1, blocks/8)
	taken := make([]bool, len(traits))
	var out []Suggestion
	for barren := 0; barren < len(kinds()) && len(out) < count; {
		for _, k := range kinds() {
			best, at := math.NaN(), -1
			for i := 0; i+blocks <= len(traits); i += step {
				if v := k.figure(traits[i : i+blocks]); !slices.Contains(taken[i:i+blocks], true) && !math.IsNaN(v) && !(k.sign*v <= k.sign*best) {
					best, at = v, i
				}
			}
			if at < 0 || len(out) == count {
				barren++
				continue
			}
			barren = 0
			for i := range blocks {
				taken[at+i] = true
			}
			out = append(out, Suggestion{StartS: rate.Seconds(lo + at*suggestBlock), Seconds: rate.Seconds(length), Kind: k.name, Value: best, Unit: k.unit})
		}
	}
	return out
}
