package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"

	"gonum.org/v1/gonum/floats"
)

// ErrNoTone is wrapped where a capture is not one steady tone, ErrShort where the tone is too short for what is measured of it.
var (
	ErrNoTone = errors.New("not a steady tone")
	ErrShort  = errors.New("capture too short")
)

// What a tone is known by: where it begins, ends and holds its level. Judgement, no source; TestATonesStretchIsFound and, in
// measure/jitter, TestLoudClicksNextToAQuietToneLeaveNoTrace hold it.
const (
	blocksPerSecond = 20   // of a survey
	leastBlock      = 64   // frames
	silentRMS       = 1e-7 // −140 dB: no capture of a tone is as quiet
	absent          = 1e-3 // level, against the loudest channel's, below which a channel has no tone
	nearLevel       = 0.7  // of the level: blocks above belong to the tone
	leastRun        = 3    // blocks: fewer are a click
	fullWithin      = 5e-4 // of the level: a block of a tone above 500 Hz that fills it
	endBlocks       = 2    // left out at an end within the capture, or in which the tone begins: a filter rings after that
	brokenBelow     = 0.5  // of the loudest block: the tone was interrupted
	// movingDB is the change from which on the level moves: blocks that hold a fraction of a period at their ends differ by less than 0.02
	// dB above 500 Hz.
	movingDB = 0.1
	// clickBlocks is how many blocks may be louder than the tone, as where a relay clicks.
	clickBlocks = 8
)

// ToneStretch is where a capture holds its tone, and its survey.
type ToneStretch struct {
	Survey
	From, To int       // frames
	Level    []float64 // RMS of each channel: the median of blocks not far below the loud ones
	Warnings []warning.Warning
}

// FindTone surveys r, and shows each block of a twentieth of a second to visit, which may be nil. Silence, fades and clicks before and
// after the tone are left out; where it is interrupted its longest part is taken. The error wraps ErrNoTone where r is silent.
func FindTone(r pcm.Reader, visit func(block [][]float64, from int)) (ToneStretch, error) {
	f := r.Format()
	quiet := make([]pauses, f.Channels)
	survey, err := SurveyOf(r, max(leastBlock, int(f.Rate)/blocksPerSecond), func(b [][]float64, from int) {
		for c, x := range b {
			quiet[c].write(x, from, int(pauseS*f.Rate.Hz()))
		}
		if visit != nil {
			visit(b, from)
		}
	})
	if err != nil {
		return ToneStretch{}, err
	}
	t := ToneStretch{Survey: survey}
	for _, levels := range t.Levels {
		t.Level = append(t.Level, loudMedian(levels))
	}
	if !(t.Level[t.Loudest()] > silentRMS) {
		return t, fmt.Errorf("%w: the capture is silent", ErrNoTone)
	}
	t.trim()
	t.avoid(t.pauses(quiet))
	t.warn()
	return t, nil
}

// Loudest returns the channel, from 0, with the highest level.
func (t ToneStretch) Loudest() int { return floats.MaxIdx(t.Level) }

// Sounds reports whether a channel, from 0, has a tone: one no more than 60 dB below the loudest.
func (t ToneStretch) Sounds(channel int) bool { return t.Level[channel] >= absent*t.Level[t.Loudest()] }

// loudMedian returns the median of those values that are not far below the loud ones: the tone's, not the silence's. The
// very loudest do not say what is loud: they may be clicks.
func loudMedian(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(x))
	limit := sorted[len(sorted)-1-min(clickBlocks, len(sorted)/4)] / 10
	first, _ := slices.BinarySearch(sorted, limit)
	loud := sorted[first:]
	return loud[len(loud)/2]
}

// trim finds the tone: from the first to the last block at its level, less endBlocks at an end where the capture goes on
// beyond it, or where the outermost block is not quite at the level: the tone may begin within the very first block.
func (t *ToneStretch) trim() {
	levels, level := t.Levels[t.Loudest()], t.Level[t.Loudest()]
	first, last, found := LongRuns(levels, nearLevel*level, min(leastRun, len(levels)))
	if !found {
		first, last = 0, len(levels)-1
	}
	t.From, t.To = first*t.Block, min((last+1)*t.Block, t.Frames)
	partial := func(v float64) bool { return math.Abs(v-level) >= fullWithin*level }
	if first > 0 || partial(levels[first]) {
		t.From += endBlocks * t.Block
	}
	if last < len(levels)-1 || partial(levels[last]) {
		t.To = (last + 1 - endBlocks) * t.Block // the last block may be a short one
	}
}

// LongRuns returns where the first run of at least length values of least or more begins, the last value of the last such run, and whether
// there is one.
func LongRuns(x []float64, least float64, length int) (first, last int, found bool) {
	run := 0
	for i, v := range x {
		if run++; v < least {
			run = 0
		}
		if run < length {
			continue
		}
		if last = i; !found {
			first, found = i-run+1, true
		}
	}
	return first, last, found
}

// warn warns of what is wrong with the tone where it was found.
func (t *ToneStretch) warn() {
	add := func(w warning.Warning) { t.Warnings = append(t.Warnings, w) }
	for c, n := range t.Clipped {
		if n > 0 {
			add(warning.Newf(Clipped, "channel %d reaches full scale in %d samples: a clipped capture shows lines that the chain does not have", c+1, n).In(c+1).Of(float64(n), "samples"))
		}
	}
	if t.Identical() {
		add(warning.Newf(IdenticalChannels, "the channels are identical, sample by sample: one channel copied to the others says nothing of what they share"))
	}
	first, last := t.From/t.Block+1, t.To/t.Block-1
	if last-first < leastRun {
		return
	}
	inside := t.Levels[t.Loudest()][first:last]
	low, high := slices.Min(inside), slices.Max(inside)
	if low < brokenBelow*high {
		at := float64((first+slices.Index(inside, low))*t.Block) / t.Format.Rate.Hz()
		add(warning.Newf(Interrupted, "the tone is interrupted at %.2f s: lost samples make timing errors that the clock does not have", at).At(at))
		return
	}
	if moved := pcm.DB(high / low); moved > movingDB {
		add(warning.Newf(LevelMoves, "the level moves by %.2f dB: automatic gain, a limiter or a loose contact", moved).Of(moved, "dB"))
	}
}

// What a carrier is read from: judgement, no source; TestFaultsAreRefusedOrWarned, in measure/jitter, holds what tonal is.
const (
	carrierFrames      = 1 << 17 // in the middle of the tone, or fewer
	leastCarrierFrames = 2048
	lobeBins           = 5    // half the main lobe of the window
	driftingClock      = 5e-4 // of the frequency: a clock may drift within the frames
	tonalPower         = 0.9  // of all power: a tone holds nearly all
)

// Carrier returns the frequency of the tone in the middle of its stretch, to some millihertz, from the loudest channel. Errors wrap
// ErrNoTone or ErrShort, or are those of reading.
func (t ToneStretch) Carrier(r pcm.Reader) (float64, error) {
	frames := max(0, t.To-t.From)
	if frames < leastCarrierFrames {
		return 0, fmt.Errorf("%w: %d frames of tone", ErrShort, frames)
	}
	size := spectrum.Halved(carrierFrames, 0, frames)
	at := (t.From + t.To - size) / 2
	clip, err := pcm.Load(r, at, at+size)
	if err != nil {
		return 0, err
	}
	rate := t.Format.Rate.Hz()
	sp := spectrum.Once(clip.Channels[t.Loudest()], rate, spectrum.BlackmanHarris4())
	line := sp.Peak(1 + floats.MaxIdx(sp.Density[1:len(sp.Density)-1]))
	reach := max(lobeBins*sp.BinHz(), driftingClock*line.FreqHz)
	total, tonal := sp.BandPower(lobeBins*sp.BinHz(), rate/2), sp.BandPower(line.FreqHz-reach, line.FreqHz+reach)
	if tonal < tonalPower*total {
		return 0, fmt.Errorf("%w: %.0f %% of the power lies at %.1f Hz, a tone holds nearly all", ErrNoTone, 100*tonal/total, line.FreqHz)
	}
	return line.FreqHz, nil
}
