package jitter

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
)

// stretch is where the tone is, and what a first look at the whole capture found.
type stretch struct {
	from, to int       // frames
	level    []float64 // RMS of each channel, median over blocks
	warnings []measure.Warning
	block    int         // frames
	angle    [][]float64 // of each channel in each block: see inPhase
}

// scan looks through the capture once: where the tone begins and ends, whether it is clipped, holds still, is interrupted,
// or is one channel twice.
func scan(r pcm.Reader) (stretch, error) {
	f := r.Format()
	block := max(64, int(f.Rate)/20)
	rms, angle, listening := make([][]float64, f.Channels), make([][]float64, f.Channels), make([]pauses, f.Channels)
	top := 1.0 // the largest word, or full scale of floats
	if !f.Float {
		top -= math.Ldexp(1, 1-f.Bits)
	}
	clipped, same := make([]int, f.Channels), f.Channels > 1
	err := pcm.Blocks(r, block, func(b [][]float64, from int) error {
		for c, ch := range b {
			sum, fourth := 0.0, 0.0
			for i, v := range ch {
				sum += v * v
				fourth += v * v * v * v
				if v >= top || v <= -top {
					clipped[c]++
				}
				same = same && (c == 0 || v == b[0][i])
			}
			rms[c] = append(rms[c], math.Sqrt(sum/float64(len(ch))))
			angle[c] = append(angle[c], meanAngle(sum, fourth, len(ch)))
			listening[c].listen(ch, from, int(pauseS*f.Rate.Hz()))
		}
		return nil
	})
	if err != nil {
		return stretch{}, fmt.Errorf("jitter: %w", err)
	}
	s := stretch{level: make([]float64, f.Channels), block: block, angle: angle}
	loudest := 0
	for c := range rms {
		s.level[c] = upperMedian(rms[c])
		if s.level[c] > s.level[loudest] {
			loudest = c
		}
	}
	if !(s.level[loudest] > 1e-7) {
		return s, fmt.Errorf("jitter: %w: the capture is silent", ErrNoTone)
	}
	s.trim(rms[loudest], block, r.Frames())
	s.avoid(pausesOf(listening, rms, block, s.level), f.Rate.Hz())
	s.warn(rms[loudest], block, clipped, same, f)
	return s, nil
}

// clickBlocks is how many blocks of 50 ms may be louder than the tone, as where a relay clicks.
const clickBlocks = 8

// upperMedian returns the median of those values that are not far below the loud ones: the tone's, not the silence's. The
// very loudest do not say what is loud: they may be clicks.
func upperMedian(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(x))
	limit := sorted[len(sorted)-1-min(clickBlocks, len(sorted)/4)] / 10
	first, _ := slices.BinarySearch(sorted, limit)
	loud := sorted[first:]
	return loud[len(loud)/2]
}

// trim finds the tone: from the first to the last block at its level, less two at an end where the capture goes on
// beyond it, or where the outermost block is not quite at the level: the tone may begin within the very first block,
// and a filter rings after that. A whole block of a tone above 500 Hz is within 5·10⁻⁴ of the level. One block alone, or
// two, are a click.
func (s *stretch) trim(rms []float64, block, frames int) {
	level := upperMedian(rms)
	first, last := longRuns(rms, 0.7*level, min(3, len(rms)))
	s.from, s.to = first*block, min((last+1)*block, frames)
	whole := func(v float64) bool { return math.Abs(v-level) < 5e-4*level }
	if first > 0 || !whole(rms[first]) {
		s.from += 2 * block
	}
	if last < len(rms)-1 || !whole(rms[last]) {
		s.to = (last - 1) * block // the last block may be a short one
	}
}

// longRuns returns the first value of the first and the last of the last run of so many values above a level; all
// values if there is no such run.
func longRuns(x []float64, level float64, length int) (first, last int) {
	first, last = -1, len(x)-1
	run := 0
	for i, v := range x {
		if run++; v <= level {
			run = 0
		}
		if run < length {
			continue
		}
		if last = i; first < 0 {
			first = i - run + 1
		}
	}
	return max(0, first), last
}

func (s *stretch) warn(rms []float64, block int, clipped []int, same bool, f pcm.Format) {
	for c, n := range clipped {
		if n > 0 {
			s.warnings = append(s.warnings, measure.Warningf(measure.Clipped, "channel %d reaches full scale in %d samples: a clipped capture shows lines that the chain does not have", c+1, n).In(c+1).Of(float64(n), "samples"))
		}
	}
	if same {
		s.warnings = append(s.warnings, measure.Warningf(measure.IdenticalChannels, "the channels are identical, sample by sample: one channel copied to the others tells nothing of common or separate jitter"))
	}
	first, last := s.from/block+1, s.to/block-1
	if last-first < 3 {
		return
	}
	inside := rms[first:last]
	low, high := slices.Min(inside), slices.Max(inside)
	if low < 0.5*high {
		at := float64((first+slices.Index(inside, low))*block) / f.Rate.Hz()
		s.warnings = append(s.warnings, measure.Warningf(measure.Interrupted, "the tone is interrupted at %.2f s: lost samples make jitter that the clock does not have", at).At(at))
		return
	}
	// Blocks of 50 ms that hold a fraction of a period at their ends differ by less than 0.02 dB above 500 Hz.
	if moved := pcm.DB(high / low); moved > 0.1 {
		s.warnings = append(s.warnings, measure.Warningf(measure.LevelMoves, "the level moves by %.2f dB: automatic gain, a limiter or a loose contact", moved).Of(moved, "dB"))
	}
}

// findCarrier returns the frequency of the tone in the middle of a stretch, coarsely, from its loudest channel.
func findCarrier(r pcm.Reader, s stretch) (float64, error) {
	f := r.Format()
	frames := max(0, s.to-s.from)
	if frames < 2048 {
		return 0, fmt.Errorf("jitter: %w: %d frames of tone", ErrShort, frames)
	}
	size := 1 << 17
	for size > frames {
		size /= 2
	}
	at := (s.from + s.to - size) / 2
	clip, err := pcm.Load(r, at, at+size)
	if err != nil {
		return 0, fmt.Errorf("jitter: %w", err)
	}
	loudest := 0
	for c := range s.level {
		if s.level[c] > s.level[loudest] {
			loudest = c
		}
	}
	sp, err := spectrum.Of(clip.Channels[loudest], spectrum.Config{RateHz: f.Rate.Hz(), Size: size, Window: spectrum.BlackmanHarris4()})
	if err != nil {
		return 0, fmt.Errorf("jitter: %w", err)
	}
	k := 1
	for i := 1; i < len(sp.Density)-1; i++ {
		if sp.Density[i] > sp.Density[k] {
			k = i
		}
	}
	line := sp.Peak(k)
	// A clock may drift within the block, so the tone is what lies within 500 ppm, not one lobe.
	reach := max(5*sp.BinHz(), 5e-4*line.FreqHz)
	total, tonal := sp.BandPower(5*sp.BinHz(), f.Rate.Hz()/2), sp.BandPower(line.FreqHz-reach, line.FreqHz+reach)
	if tonal < 0.9*total {
		return 0, fmt.Errorf("jitter: %w: %.0f %% of the power lies at %.1f Hz, a tone holds nearly all", ErrNoTone, 100*tonal/total, line.FreqHz)
	}
	return line.FreqHz, nil
}
