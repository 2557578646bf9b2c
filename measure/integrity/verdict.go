package integrity

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// verdict says what wires do.
func (l *learner) verdict(wires []wire, sentBits, receivedBits int) (v verdict) {
	v.gainDB = math.NaN()
	if copied(wires, &v) {
		return v
	}
	exchanged(wires, &v)
	dead(wires, &v)
	inverted(wires, &v)
	if slices.ContainsFunc(wires, func(w wire) bool { return w.filtered() || !w.known }) {
		l.altered(wires, &v)
		if receivedBits < sentBits && len(v.findings) > 0 {
			v.warn(warning.Newf(Shortened, "the words were shortened to %d bits as well", receivedBits).Of(float64(receivedBits), "bits"))
		}
	}
	l.gains(wires, &v)
	l.shortened(wires, &v, sentBits, receivedBits)
	late(wires, &v)
	l.constants(wires, &v, min(receivedBits, 24))
	return v
}

// copied finds a channel that arrived in another as well.
func copied(wires []wire, v *verdict) bool {
	for j, w := range wires {
		own := wires[w.from]
		if w.from != j && !own.dead && own.from == w.from {
			copied := warning.Newf(Copied, "channel %d holds what was sent in channel %d: one channel was copied to the other", j+1, w.from+1).In(j + 1)
			v.add(Unknown, copied, copied)
			return true
		}
	}
	return false
}

func exchanged(wires []wire, v *verdict) {
	var moved []string
	for j, w := range wires {
		if w.from != j {
			moved = append(moved, fmt.Sprintf("%d to %d", w.from+1, j+1))
		}
	}
	if len(moved) == 0 {
		return
	}
	which := strings.Join(moved, ", ")
	named := warning.Newf(Exchanged, "channels were exchanged: %s", which)
	if len(wires) == 2 {
		named = warning.Warning{} // there is but one way
	}
	v.add(ChannelSwap, named, warning.Newf(Exchanged, "channels were exchanged as well: %s", which))
}

func dead(wires []wire, v *verdict) {
	for j, w := range wires {
		if w.dead {
			zeros := warning.Newf(Dead, "of channel %d nothing arrived but zeros", j+1).In(j + 1)
			v.add(Dropout, zeros, zeros)
		}
	}
}

func inverted(wires []wire, v *verdict) {
	const related = 0.45 // where words are hardly related the sign says nothing: a correlation of 0.9
	var which, upright []string
	for j, w := range wires {
		switch {
		case w.dead || w.unsent || !w.known && w.noise.share > related*math.Abs(w.tap()):
		case w.sum() < 0:
			which = append(which, fmt.Sprint(j+1))
		default:
			upright = append(upright, fmt.Sprint(j+1))
		}
	}
	switch {
	case len(which) == 0:
	case len(upright) == 0:
		v.add(Polarity, warning.Warning{}, warning.Newf(Inverted, "the words were inverted as well"))
	default:
		some := warning.Newf(Inverted, "inverted in channel %s, not in channel %s", strings.Join(which, ", "), strings.Join(upright, ", "))
		v.add(Polarity, some, some)
	}
}

// cutTopShare is the part of the residual's power that lies above 0.4 of the rate where words were resampled. A judgement, no source;
// TestAWayThroughALowerRateIsResampling holds it.
const cutTopShare = 0.9

// altered finds what was resampled, or filtered otherwise, in the first channel that carries anything.
func (l *learner) altered(wires []wire, v *verdict) {
	channel := max(0, slices.IndexFunc(wires, func(w wire) bool { return !w.dead && !w.unsent }))
	w := wires[channel]
	switch {
	case l.moved(w, channel) || l.cutTop(w, channel) > cutTopShare:
		v.add(Resampling, warning.Warning{}, warning.Newf(Resampled, "the words were resampled as well"))
	case slices.ContainsFunc(wires, func(w wire) bool { return !w.known }):
		v.add(Unknown, warning.Warning{}, warning.Newf(UnknownChange, "the words were changed as well in a way that is not known"))
	default:
		filter := warning.Newf(Filtered, "a filter changed the words: more than a gain, and not as a resampler does")
		v.add(Unknown, filter, filter)
	}
}

// gains finds one gain of all channels, or that they differ.
func (l *learner) gains(wires []wire, v *verdict) {
	gains := make([]float64, len(wires))
	var known []float64
	changed, uncertain := false, 0.0
	for j, w := range wires {
		gains[j] = math.NaN()
		if w.dead || w.unsent {
			continue
		}
		g, by := l.gainDB(w, j)
		if math.IsNaN(g) {
			return
		}
		gains[j], known, uncertain = g, append(known, g), max(uncertain, by)
		changed = changed || w.known && math.Abs(g) > by
	}
	if len(known) == 0 {
		return
	}
	const least = 1e-4 // dB that are worth a mention
	named, by := warning.Warning{}, perChannel(gains, "%.4f dB")
	if slices.Max(known)-slices.Min(known) > max(2*uncertain, least) {
		named = warning.Newf(GainChanged, "the gain differs between channels: %s", by)
	} else {
		v.gainDB = spectrum.Median(known)
		by = fmt.Sprintf("%.4f dB", v.gainDB)
	}
	if changed {
		v.add(Gain, named, warning.Newf(GainChanged, "the level was changed as well, by %s", by).Of(v.gainDB, "dB"))
	}
}

// perChannel prints values of channels, those that are NaN apart.
func perChannel(values []float64, format string) string {
	var each []string
	for j, x := range values {
		if !math.IsNaN(x) {
			each = append(each, fmt.Sprintf(format+" in channel %d", x, j+1))
		}
	}
	return strings.Join(each, ", ")
}

// gainDB returns the gain of a wire and how uncertain it is; NaN where that is not known.
func (l *learner) gainDB(w wire, channel int) (gain, uncertain float64) {
	if w.known && !w.filtered() {
		g := math.Abs(w.tap())
		return pcm.DB(g), pcm.DB(1 + 5*w.noise.share/math.Sqrt(float64(w.noise.words)))
	}
	const half = 0.5 // of the power: one channel copied to two comes to a quarter
	if !w.known && w.noise.share*w.noise.share > half*w.tap()*w.tap() {
		return math.NaN(), 0
	}
	return l.lowGain(w, channel), 0.2 // a short filter is not flat
}

// What the noise of shortened words is recognised by. The kurtosis is 1.8 of a uniform distribution, 2.6 of TPDF dither and rounding (the
// sum of three uniform variables: 3 − 1.2/3) and 3 of a normal one; the limits lie between. TestCausesAreNamed and TestAConstantIsNoDither
// hold them.
const (
	roundingNoise   = 1e-6  // RMS in steps, below which nothing was rounded
	evenKurtosis    = 2.1   // at the most, of truncation
	ditherKurtosis  = 2.8   // at the most, of dither
	shortenedWords  = 0.999 // share of the words cut alike: one in a thousand may have been clipped, or cut another way
	constantToNoise = 0.6   // of what truncation leaves by itself, beyond which a constant was added: that is half a step
)

// shortening returns the cause that leaves such a noise as a wire has, and the word length.
func (l *learner) shortening(w wire, sentBits, receivedBits int) (cause Cause, bits int) {
	n := w.noise
	hidden := func(rms float64) int { return int(math.Round(1 - math.Log2(rms/math.Abs(w.tap())))) }
	switch {
	case w.dead || w.filtered() || !w.known || n.rms < roundingNoise*l.step:
		return None, receivedBits
	case n.peak > fewSteps*l.step && n.kurtosis < evenKurtosis:
		return Truncation, hidden(n.rms * math.Sqrt(12)) // uniform over one step
	case n.peak > fewSteps*l.step && n.kurtosis < ditherKurtosis:
		return Dither, hidden(n.rms * 2) // TPDF dither and rounding: a quarter of the square of a step
	case n.peak > fewSteps*l.step:
		return Unknown, receivedBits
	case n.cut < shortenedWords:
		return Dither, receivedBits
	case receivedBits < sentBits:
		return Truncation, receivedBits
	}
	return None, receivedBits // as any gain rounds
}

// shortened finds words cut, rounded or dithered.
func (l *learner) shortened(wires []wire, v *verdict, sentBits, receivedBits int) {
	for _, cause := range []Cause{Unknown, Dither, Truncation} {
		for _, w := range wires {
			is, bits := l.shortening(w, sentBits, receivedBits)
			if is != cause {
				continue
			}
			l.addShortened(v, cause, w, bits, bits != receivedBits)
			return
		}
	}
}

// addShortened adds what was done to the words.
func (l *learner) addShortened(v *verdict, cause Cause, w wire, bits int, hidden bool) {
	if cause == Unknown {
		dbfs := pcm.DB(w.noise.rms * math.Sqrt2)
		noise := warning.Newf(NoiseAdded, "noise was added, of %.1f dBFS", dbfs).Of(dbfs, "dBFS")
		v.add(Unknown, noise, noise)
		return
	}
	code, how := Dithered, fmt.Sprintf("dithered at %d bits as well", bits)
	if cause == Truncation {
		code, how = Shortened, fmt.Sprintf("shortened to %d bits without dither as well", bits)
	}
	named := warning.Warning{}
	if hidden {
		named = warning.Newf(code, "the words were of %d bits on the way, whatever they hold below", bits).Of(float64(bits), "bits")
		how += ", before they were changed otherwise"
	}
	v.add(cause, named, warning.Newf(code, "the words were %s", how).Of(float64(bits), "bits"))
}

// late finds channels that are late against each other.
func late(wires []wire, v *verdict) {
	frames := make([]float64, len(wires))
	for j, w := range wires {
		if frames[j] = float64(w.late); w.dead || w.unsent {
			frames[j] = math.NaN()
		}
	}
	if slices.ContainsFunc(frames, func(n float64) bool { return n != 0 && !math.IsNaN(n) }) {
		v.warn(warning.Newf(LateChannels, "channels are late against each other, by frames: %s", perChannel(frames, "%.0f")))
	}
}

// constants finds what was added to every word.
func (l *learner) constants(wires []wire, v *verdict, bits int) {
	steps, most := make([]float64, len(wires)), 0.0
	for j, w := range wires {
		own := l.step // what cutting downwards leaves is half a step
		if w.noise.peak > fewSteps*l.step {
			own = w.noise.rms * math.Sqrt(12)
		}
		steps[j] = w.constant / l.step
		if !w.filtered() && w.known && !w.dead && math.Abs(w.constant) > constantToNoise*own && math.Abs(steps[j]) > math.Abs(most) {
			most = steps[j]
		}
	}
	if most != 0 {
		v.warn(warning.Newf(ConstantsAdded, "a constant was added to all words, in steps of %d bits: %s", bits, perChannel(steps, "%+.4g")).Of(most, "steps"))
	}
}
