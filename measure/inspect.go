package measure

import (
	"fmt"
	"math"
	"strings"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// Inspection is a first look at a recording.
type Inspection struct {
	RateHz   int                 `json:"rate_hz"`
	Bits     int                 `json:"bits"`
	Float    bool                `json:"float"`
	Channels int                 `json:"channels"`
	Frames   int                 `json:"frames"`
	Seconds  float64             `json:"seconds"`
	Channel  []ChannelInspection `json:"channel"`
	// LoudnessLUFS is the gated loudness of BS.1770, NaN where there is none.
	LoudnessLUFS float64 `json:"loudness_lufs"`
	// The largest over any 400 ms and any 3 s, NaN where the recording is shorter.
	MaxMomentaryLUFS float64 `json:"max_momentary_lufs"`
	MaxShortTermLUFS float64 `json:"max_short_term_lufs"`
	// TruePeakDBTP is −Inf for silence.
	TruePeakDBTP float64 `json:"true_peak_dbtp"`
	warning.Warnings
}

// ChannelInspection is the part of an Inspection about one channel. Runs are lengths in frames.
type ChannelInspection struct {
	Channel  int     `json:"channel"`   // from 1
	PeakDBFS float64 `json:"peak_dbfs"` // largest sample; −Inf for silence
	RMSDBFS  float64 `json:"rms_dbfs"`  // AES17: a full-scale sine reads 0
	DC       float64 `json:"dc"`        // mean, as a fraction of full scale
	// ClippedSamples are at the highest or lowest word, or at ±1 and beyond in float.
	ClippedSamples int `json:"clipped_samples"`
	LongestClipRun int `json:"longest_clip_run"`
	// FlatTopSamples are in runs of three or more at the outermost value of the channel, below full scale.
	FlatTopSamples int `json:"flat_top_samples"`
	LongestZeroRun int `json:"longest_zero_run"`
	// LongestHeldRun is the longest run of one repeated value other than zero and full scale; 1 where none repeats.
	LongestHeldRun int `json:"longest_held_run"`
	// EffectiveBits is the shortest word length that holds every sample exactly, 0 for digital silence, NaN where
	// float samples lie on no grid of 32 bits or fewer.
	EffectiveBits float64 `json:"effective_bits"`
}

// Inspect reads all of r, in blocks.
func Inspect(r pcm.Reader) (Inspection, error) {
	f := r.Format()
	loudness, peak := NewLoudnessMeter(f), NewTruePeakMeter(f)
	scans := make([]scan, f.Channels)
	for c := range scans {
		scans[c] = newScan(f)
	}
	survey, err := SurveyOf(r, blockFrames, func(block [][]float64, _ int) {
		loudness.Write(block)
		peak.Write(block)
		for c := range scans {
			scans[c].write(block[c], f)
		}
	})
	if err != nil {
		return Inspection{}, fmt.Errorf("inspect: %w", err)
	}
	loud := loudness.Reading()
	result := Inspection{
		RateHz: int(f.Rate), Bits: f.Bits, Float: f.Float, Channels: f.Channels, Frames: r.Frames(),
		Seconds: f.Rate.Seconds(r.Frames()), LoudnessLUFS: loud.IntegratedLUFS,
		MaxMomentaryLUFS: loud.MaxMomentaryLUFS, MaxShortTermLUFS: loud.MaxShortTermLUFS, TruePeakDBTP: peak.Reading().DBTP,
	}
	for c := range scans {
		result.Channel = append(result.Channel, scans[c].result(c+1, survey.Clipped[c]))
	}
	result.Warn(inspectionWarnings(result, survey.Copies)...)
	return result, nil
}

// scan gathers one channel's figures sample by sample.
type scan struct {
	full               float64 // magnitude from which a sample counts as clipped
	n                  int
	peak, squares, sum float64
	last               float64
	clip, zero, held   run
	words              WordLength
	tops               flatTops
}

// run counts how long something has lasted, and the longest.
type run struct{ now, longest int }

func (r *run) step(on bool) {
	if !on {
		r.now = 0
		return
	}
	r.now++
	r.longest = max(r.longest, r.now)
}

func newScan(f pcm.Format) scan {
	word := math.Ldexp(1, -23) // of a float
	if !f.Float {
		word = math.Ldexp(1, 1-f.Bits)
	}
	return scan{full: fullScale(f), last: math.NaN(), tops: flatTops{word: word}}
}

func (s *scan) write(x []float64, f pcm.Format) {
	s.words.Write(x, f)
	for _, v := range x {
		m := math.Abs(v)
		s.peak = max(s.peak, m)
		s.squares += v * v
		s.sum += v
		clipped := m >= s.full
		s.clip.step(clipped)
		s.zero.step(v == 0)
		if v != s.last {
			s.held.now = 0
		}
		s.held.step(v != 0 && !clipped)
		s.last = v
		s.tops.write(v)
	}
	s.n += len(x)
}

func (s *scan) result(channel, clipped int) ChannelInspection {
	n := float64(s.n)
	tops := s.tops.samples()
	if s.peak >= s.full { // these are clipped samples
		tops = 0
	}
	return ChannelInspection{
		Channel: channel, PeakDBFS: pcm.DB(s.peak), RMSDBFS: pcm.DBFS(math.Sqrt(s.squares / n)), DC: s.sum / n,
		ClippedSamples: clipped, LongestClipRun: s.clip.longest, FlatTopSamples: tops, LongestZeroRun: s.zero.longest,
		LongestHeldRun: s.held.longest, EffectiveBits: s.words.Bits(),
	}
}

// Limits of the warnings; common practice, no source.
const (
	warnClipRun    = 3    // three samples at full scale are no peak of music any more
	warnFlatTops   = 10   // samples; a square wave has them, too
	warnZeroMS     = 5    // a hole within sound
	warnHeldMS     = 1    // one value for so long, and for more than warnHeldFrames
	warnHeldFrames = 20   // frames
	coarseBits     = 8    // so few bits hold one value for long without a fault
	warnDC         = 1e-3 // of full scale
	warnQuietDBFS  = -50
)

func inspectionWarnings(r Inspection, copies []int) (list []warning.Warning) {
	for _, c := range r.Channel {
		for _, w := range c.warnings(r) {
			list = append(list, w.In(c.Channel).From(fmt.Sprintf("channel %d", c.Channel)))
		}
	}
	if len(copies) > 0 && !math.IsInf(r.Channel[0].PeakDBFS, -1) {
		list = append(list, warning.Newf(IdenticalChannels, "channel %s equals channel 1 in every sample: one channel recorded twice, or a mono source",
			strings.Trim(fmt.Sprint(copies), "[]")).In(copies[0]))
	}
	if r.TruePeakDBTP > 0 {
		list = append(list, warning.Newf(TruePeakOver, "the true peak is %+.2f dBTP: the waveform between the samples passes full scale and may clip on replay", r.TruePeakDBTP).Of(r.TruePeakDBTP, "dBTP"))
	}
	return list
}

func (c ChannelInspection) warnings(r Inspection) (list []warning.Warning) {
	if math.IsInf(c.PeakDBFS, -1) {
		return []warning.Warning{warning.Newf(DigitalSilence, "digital silence from beginning to end")}
	}
	add := func(w warning.Warning) { list = append(list, w) }
	ms := func(frames int) float64 { return 1000 * float64(frames) / float64(r.RateHz) }
	if c.LongestClipRun >= warnClipRun {
		add(warning.Newf(Clipped, "clipped: %d samples at full scale, %d of them in one run", c.ClippedSamples, c.LongestClipRun).Of(float64(c.ClippedSamples), "samples"))
	}
	if c.FlatTopSamples > warnFlatTops {
		add(warning.Newf(FlatTops, "flat tops: %d samples in runs at the outermost values, %.2f dBFS: clipped before it was turned down", c.FlatTopSamples, c.PeakDBFS).Of(float64(c.FlatTopSamples), "samples"))
	}
	if ms(c.LongestZeroRun) > warnZeroMS {
		add(warning.Newf(LongZeros, "digital zero for %d frames (%.1f ms): a dropout, or silence before and after", c.LongestZeroRun, ms(c.LongestZeroRun)).Of(ms(c.LongestZeroRun), "ms"))
	}
	if ms(c.LongestHeldRun) > warnHeldMS && c.LongestHeldRun > warnHeldFrames && c.EffectiveBits > coarseBits {
		add(warning.Newf(HeldValue, "one value held for %d frames (%.2f ms): a stuck recorder or a stopped stream", c.LongestHeldRun, ms(c.LongestHeldRun)).Of(ms(c.LongestHeldRun), "ms"))
	}
	if math.Abs(c.DC) > warnDC {
		add(warning.Newf(DCOffset, "DC of %.4f of full scale", c.DC).Of(c.DC, "of full scale"))
	}
	if c.RMSDBFS < warnQuietDBFS {
		add(warning.Newf(QuietRecording, "quiet: %.1f dBFS RMS; the recorder's own noise may dominate", c.RMSDBFS).Of(c.RMSDBFS, "dBFS"))
	}
	if !r.Float && c.EffectiveBits < float64(r.Bits) {
		add(warning.Newf(UnusedBits, "only %.0f of %d bits carry data", c.EffectiveBits, r.Bits).Of(c.EffectiveBits, "bits"))
	}
	return list
}
