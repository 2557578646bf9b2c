package impair

import (
	"context"
	"fmt"
	"math"

	"heardiff/measure"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// fadeS is how long what a dose adds takes to come in and to go, in seconds: as long as an excerpt's own fades, so that
// added noise neither begins nor ends with a click (common practice, no source).
const fadeS = 0.01

// Rendered is a clean excerpt with a dose put in.
type Rendered struct {
	// Clip holds the samples that will be played, rounded to 32-bit floating point.
	Clip pcm.Clip `json:"-"`
	Done Done     `json:"done"`
	// DifferenceDB is the level of what the dose changed, relative to the clean excerpt: rms(dosed − clean)/rms(clean).
	DifferenceDB float64 `json:"difference_db"`
	// EqualizedDB is the gain that made the copy as loud as the excerpt; 0 where it was within LoudnessStepLU of it. LoudnessLU is how
	// much louder the copy is now; NaN where it has no loudness: of silence, and below 0.4 s.
	EqualizedDB float64 `json:"equalized_db"`
	LoudnessLU  float64 `json:"loudness_difference_lu"`
}

// LoudnessStepLU is the difference in loudness up to which a copy stays as it is, sample by sample: a fiftieth of the least that is audible
// in level under the best conditions (0.2 to 0.5 dB; common practice, no source). Jitter reaches it from some microseconds RMS on, where
// what it changes is 15 dB below the music; noise where it is 28 dB below.
const LoudnessStepLU = 0.01

// Render puts a dose into a prepared excerpt. What the dose changes is faded in and out over 10 ms; between, the copy is
// that of Apply, made as loud as the excerpt unless the dose is a gain: so that no dose is recognized by its loudness. It is an error if the
// copy would pass full scale, or if the dose changes no sample.
func Render(ctx context.Context, clean pcm.Clip, d Dose) (Rendered, error) {
	r := Rendered{Clip: pcm.NewClip(clean.Rate, len(clean.Channels), 0)}
	done, err := Apply(ctx, clean, d, func(block [][]float64) error {
		for c, ch := range block {
			r.Clip.Channels[c] = append(r.Clip.Channels[c], ch...)
		}
		return nil
	})
	if err != nil {
		return r, err
	}
	r.Done = done
	if r.EqualizedDB, r.LoudnessLU, err = equalize(r.Clip, clean, d.GainDB == 0); err != nil {
		return r, err
	}
	var changed, total, peak float64
	for c, ch := range r.Clip.Channels {
		x, y := fadeChange(ch, clean.Channels[c], int(fadeS*clean.Rate.Hz()))
		changed, total, peak = changed+x, total+y, max(peak, floats.Norm(ch, math.Inf(1)))
	}
	r.Done.PeakDBFS = pcm.DB(peak)
	r.DifferenceDB = pcm.PowerDB(changed / total)
	switch {
	case changed == 0:
		return r, fmt.Errorf("impair: the dose changes no sample")
	case r.Done.PeakDBFS > 0:
		return r, fmt.Errorf("impair: the copy reaches %+.2f dBFS and would clip", r.Done.PeakDBFS)
	}
	return r, nil
}

// equalize makes dosed as loud as clean, where wanted, and returns the gain and how much louder it is then. It mutates dosed.
func equalize(dosed, clean pcm.Clip, wanted bool) (gainDB, louderLU float64, err error) {
	is, err := measure.Loudness(dosed)
	if err != nil {
		return 0, 0, err
	}
	was, err := measure.Loudness(clean)
	if err != nil {
		return 0, 0, err
	}
	louderLU = is.IntegratedLUFS - was.IntegratedLUFS
	if math.IsInf(louderLU, 0) {
		louderLU = math.NaN()
	}
	if !wanted || !(math.Abs(louderLU) > LoudnessStepLU) {
		return 0, louderLU, nil
	}
	gain := pcm.Ratio(-louderLU)
	for _, ch := range dosed.Channels {
		floats.Scale(gain, ch)
	}
	return -louderLU, 0, nil
}

// fadeChange weighs the change from clean to dosed at both ends, rounds dosed, and returns the energies of the change
// and of clean. It mutates dosed.
func fadeChange(dosed, clean []float64, fade int) (changed, total float64) {
	for i, x := range clean {
		w := 1.0
		if edge := min(i, len(clean)-1-i); edge < fade {
			w = 0.5 - 0.5*math.Cos(math.Pi*(float64(edge)+0.5)/float64(fade))
		}
		if w < 1 {
			dosed[i] = x + w*(dosed[i]-x)
		}
		dosed[i] = float64(float32(dosed[i]))
		d := dosed[i] - x
		changed, total = changed+d*d, total+x*x
	}
	return changed, total
}
