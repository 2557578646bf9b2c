package jitter

import (
	"fmt"
	"math"
	"slices"

	"heardiff/measure"
	"heardiff/playback/pcm"
)

func (m *measurement) result() Result {
	first := m.channels[m.firstTone()]
	m.carrierHz = first.carrierHz
	f := m.reader.Format()
	r := Result{
		Schema: "heardiff.jitter/1", CarrierHz: m.carrierHz, CarrierDBFS: pcm.DB(math.Exp(first.level)),
		RateHz: f.Rate.Hz(), Seconds: m.recordSeconds * float64(m.records), BandHz: m.band,
		SignalRateHz: m.signalRateHz, FrequencyOffsetPPM: (4*m.carrierHz/m.signalRateHz - 1) * 1e6,
	}
	if m.recordSeconds*m.band[0] < 50 {
		m.Warn(measure.Warningf(FewPeriods, "%.2f s of tone hold few periods of %.3g Hz: the low end of the band is uncertain", m.recordSeconds, m.band[0]).Of(m.recordSeconds, "s"))
	}
	m.Warn(m.lockedWarning()...)
	m.Warn(m.shorterWords()...)
	for c := range m.channels {
		if m.channels[c].silent {
			r.Channel = append(r.Channel, silentChannel(c+1))
			m.Warn(measure.Warningf(measure.NoSignal, "channel %d has no tone (%s)", c+1, loudness(m.tone.Level[c])).In(c+1).Of(pcm.DBFS(m.tone.Level[c]), "dBFS"))
			continue
		}
		additive(m.channels[c].bands, m.inPhase(c))
		m.Warn(amplitudeNoise(c+1, m.channels[c].bands)...)
		r.Channel = append(r.Channel, m.channel(c))
		m.Warn(wanders(c+1, r.Channel[c].Lines)...)
		m.Warn(eventWarnings(c, m.channels[c].events, m.sample(), m.mixer.rateHz)...)
		if jump := m.channels[c].jump; jump > largestStep && len(m.channels[c].events) == 0 {
			m.Warn(measure.Warningf(PhaseJump, "the phase of channel %d jumps by %.2f radians between two samples: a block was dropped or repeated, or the recording is very noisy", c+1, jump).In(c+1).Of(jump, "rad"))
		}
		if len(m.channels[c].jitter) >= maxLines {
			m.Warn(measure.Warningf(ManyLines, "channel %d shows %d lines or more: not all are listed", c+1, maxLines).In(c+1).Of(maxLines, "lines"))
		}
	}
	if m.cross != nil {
		r.Common = m.common(r.Channel)
	}
	r.Warnings = m.Warnings
	return r
}

// largestStep is the step of phase, in radians, between two baseband samples that noise of no usual recording makes (judgement, no source).
const largestStep = 0.3

// kappa returns κ of a channel over the records that begin at the measurement's first, of so many frames.
func (m *measurement) kappa(channel, frames int) float64 {
	return m.sampling.kappa(channel, m.from, m.records, frames)
}

// inPhase returns κ of a channel over the records that were measured.
func (m *measurement) inPhase(channel int) float64 { return m.kappa(channel, m.recordFrames) }

// lockedWarning says what locked clocks mean for the figures, nothing where they are not, or in an exact digital signal.
func (m *measurement) lockedWarning() []measure.Warning {
	for _, c := range m.toned {
		kappa := m.inPhase(c)
		if folds(kappa) && sum(m.channels[c].bands, 0, math.Inf(1)).pm > rounded {
			return []measure.Warning{measure.Warningf(LockedClocks, "the carrier hardly slides against the recorder's samples: of timing errors faster than %.0f Hz, which fold back, %.0f %% "+
				"show in the phase and the rest in the amplitude, which else tells additive noise; the errors and limits of the random jitter "+
				"allow for it; record with a clock of its own to know", m.reader.Format().Rate.Hz()/2-m.carrierHz, 50*(1+kappa)).In(c+1).Of(50*(1+kappa), "%")}
		}
	}
	return nil
}

// testSignal returns the jitter signal as the capture shows it.
func (m *measurement) testSignal() testSignal {
	return testSignal{m.bits, m.carrierHz, 1 / m.recordSeconds, !math.IsNaN(m.signalRateHz)}
}

// shorterWords warns where the lines are those of the jitter signal of 16 bits, while that of 24 is taken off.
func (m *measurement) shorterWords() []measure.Warning {
	for _, c := range m.channels {
		if own := m.testSignal().shorterWords(m.group(c.jitter)); own >= ownLines {
			return []measure.Warning{measure.Warningf(ShorterWords, "%d lines are those that the jitter signal of 16 bits has of itself: if that was played, measure with --bits 16", own).Of(float64(own), "lines")}
		}
	}
	return nil
}

func loudness(rms float64) string {
	if rms == 0 {
		return "digital silence"
	}
	return fmt.Sprintf("%.1f dBFS", pcm.DBFS(rms))
}

func silentChannel(number int) Channel {
	nan := math.NaN()
	return Channel{Channel: number, LevelDBFS: nan, DriftPPM: nan, WanderPs: nan, RandomPs: nan, RandomSEPs: nan,
		RandomLimitPs: nan, RawPs: nan, RawSEPs: nan, AdditivePs: nan, AdditiveSEPs: nan, DeterministicPs: nan, DeterministicSEPs: nan,
		DeterministicPsPP: nan, DeterministicLimitPs: nan, TotalPs: nan, TotalSEPs: nan, TotalLimitPs: nan}
}

// toPs turns radians of the carrier into picoseconds.
func (m *measurement) toPs(radians float64) float64 {
	return radians / (2 * math.Pi * m.carrierHz) * 1e12
}

func (m *measurement) channel(index int) Channel {
	c := m.channels[index]
	s := sum(c.bands, 0, math.Inf(1))
	random, se, significant := s.excess()
	raw, rawSE := rms(s.pm, s.variancePM)
	additive, additiveSE := rms(s.additive, s.varianceAdditive+s.unknown*s.unknown/3)
	out := Channel{
		Channel: index + 1, LevelDBFS: pcm.DB(math.Exp(c.level)), DriftPPM: c.driftHz / m.carrierHz * 1e6,
		WanderPs: m.toPs(c.wander), RandomPs: m.toPs(random), RandomSEPs: m.toPs(se), RandomLimitPs: m.limit(s),
		RandomAtFloor: !significant, RawPs: m.toPs(raw), RawSEPs: m.toPs(rawSE), AdditivePs: m.toPs(additive), AdditiveSEPs: m.toPs(additiveSE),
		Lines: m.lines(c.jitter), AMLines: m.amLines(c.other),
	}
	for low := math.Pow(10, math.Floor(math.Log10(m.band[0])+1e-9)); low < m.band[1]; low *= 10 {
		out.RandomBands = append(out.RandomBands, m.decade(c.bands, max(low, m.band[0]), min(10*low, m.band[1])))
	}
	if out.RandomAtFloor {
		out.RandomLimitPs = max(out.RandomLimitPs, proven(out.RandomBands))
	}
	out.add()
	if m.cfg.Spectrum {
		out.Spectrum = m.densities(c.bands)
	}
	return out
}

func (m *measurement) decade(bands []noiseBand, low, high float64) Band {
	s := sum(bands, low, high)
	rms, se, significant := s.excess()
	return Band{LowHz: low, HighHz: high, Ps: m.toPs(rms), SEPs: m.toPs(se), LimitPs: m.limit(s), AtFloor: !significant}
}

// limit returns the 95 % upper bound in ps where the excess is not significant, else the least that would have been.
func (m *measurement) limit(s noiseSum) float64 {
	if _, _, significant := s.excess(); significant {
		return m.toPs(s.least())
	}
	return m.toPs(s.bound())
}

// proven returns the most random jitter that a part of the band shows with 95 % confidence, which the whole has, too.
func proven(bands []Band) float64 {
	most := 0.0
	for _, b := range bands {
		if !b.AtFloor {
			most = max(most, b.Ps-oneSided95*b.SEPs)
		}
	}
	return most
}

// add fills in the sums of lines and random jitter.
func (c *Channel) add() {
	var counted, all lineSum
	for _, l := range c.Lines {
		if l.Inherent {
			continue
		}
		all.add(l)
		if l.Counts() {
			counted.add(l)
		}
	}
	c.DeterministicPs, c.DeterministicSEPs = rms(counted.squares, counted.variance)
	c.DeterministicPsPP = 2 * counted.peaks
	c.DeterministicLimitPs = c.DeterministicPs
	if all.count > counted.count {
		ps, se := rms(all.squares, all.variance)
		c.DeterministicLimitPs = ps + oneSided95*se
	}
	// What stands at the floor is as much as what does not, or more: the sum is no more than 3 dB above the floor's.
	if c.DeterministicAtFloor = all.squares > threeDB*counted.squares; c.DeterministicAtFloor {
		c.DeterministicPs, c.DeterministicSEPs, c.DeterministicPsPP = math.NaN(), math.NaN(), math.NaN()
	}
	c.addTotal(counted.count)
}

// addTotal joins random jitter and so many lines: what stands at the floor counts in the limit alone.
func (c *Channel) addTotal(lines int) {
	random, deterministic := c.RandomPs, c.DeterministicPs
	if c.RandomAtFloor {
		random = c.RandomLimitPs
	}
	c.TotalLimitPs = math.Hypot(random, c.DeterministicLimitPs)
	switch {
	case c.RandomAtFloor && (lines == 0 || c.DeterministicAtFloor):
		c.TotalPs, c.TotalSEPs = math.NaN(), math.NaN()
	case c.RandomAtFloor:
		c.TotalPs, c.TotalSEPs = deterministic, c.DeterministicSEPs
	case lines == 0 || c.DeterministicAtFloor: // of no lines there is no error to state
		c.TotalPs, c.TotalSEPs = random, c.RandomSEPs
	default:
		c.TotalPs = math.Hypot(random, deterministic)
		c.TotalSEPs = math.Hypot(random*c.RandomSEPs, deterministic*c.DeterministicSEPs) / c.TotalPs
	}
}

// lineSum adds up lines.
type lineSum struct {
	squares, peaks, variance float64 // variance: of Σ peak²/2
	count                    int
}

func (s *lineSum) add(l Line) {
	s.squares += l.PeakPs * l.PeakPs / 2
	s.peaks += l.PeakPs
	s.variance += l.PeakPs * l.PeakPs * l.PeakSEPs * l.PeakSEPs
	s.count++
}

func (m *measurement) densities(bands []noiseBand) []DensityBand {
	out := make([]DensityBand, len(bands))
	for i, n := range bands {
		width := n.high - n.low
		var s noiseSum
		s.add(n)
		random, _, _ := s.excess()
		perHz := m.toPs(1 / math.Sqrt(width))
		out[i] = DensityBand{
			OffsetHz: math.Sqrt(n.low * n.high), PMPs: m.toPs(math.Sqrt(n.pm)), AMPs: m.toPs(math.Sqrt(n.am)),
			RandomPs: random * perHz, SEPs2: s.uncertainty() * perHz * perHz, LowHz: n.low, HighHz: n.high,
		}
	}
	return out
}

// group gathers tones of all records that stand at one frequency: found in at least half of them.
func (m *measurement) group(tones []tone) [][]tone {
	slices.SortFunc(tones, func(a, b tone) int {
		if a.hz < b.hz {
			return -1
		}
		return 1
	})
	if m.records == 1 {
		out := make([][]tone, len(tones))
		for i := range tones {
			out[i] = tones[i : i+1]
		}
		return out
	}
	var out [][]tone
	for from := 0; from < len(tones); {
		to := from + 1
		for to < len(tones) && tones[to].hz-tones[to-1].hz < max(0.7/m.recordSeconds, tones[to-1].skirtHz) {
			to++
		}
		if 2*(to-from) >= m.records {
			out = append(out, tones[from:to])
		}
		from = to
	}
	return out
}

func (m *measurement) lines(tones []tone) []Line {
	var out []Line
	for _, g := range m.group(tones) {
		hz, square, noise, wander := 0.0, 0.0, 0.0, 0.0
		for _, t := range g {
			hz += t.hz / float64(len(g))
			wander += t.wanderHz * t.wanderHz / float64(len(g))
			square += t.beta * t.beta / float64(len(g))
			noise += t.betaSE * t.betaSE / float64(len(g)*len(g))
		}
		l := Line{OffsetHz: hz, WanderHz: math.Sqrt(wander)}
		beta := math.Sqrt(square)
		if known, ok := m.testSignal().residue(hz); ok {
			// Two parts of unknown phase join by power. A residue also passes the chain's response: half a decibel of grace.
			l.Inherent = beta <= known*pcm.Ratio(0.5)+3*math.Sqrt(noise)
			if !l.Inherent {
				excess := math.Sqrt(beta*beta - known*known)
				noise *= beta * beta / (excess * excess) // the error of a difference of squares
				beta = excess
			}
		}
		l.PeakPs, l.PeakSEPs = m.toPs(beta), m.toPs(math.Sqrt(noise))
		l.SidebandDBc = pcm.DB(beta / 2)
		out = append(out, l)
	}
	return out
}

func (m *measurement) amLines(tones []tone) []AMLine {
	var out []AMLine
	for _, g := range m.group(tones) {
		hz, square, noise := 0.0, 0.0, 0.0
		for _, t := range g {
			hz += t.hz / float64(len(g))
			square += t.sideband * t.sideband / float64(len(g))
			noise += t.sidebandSE * t.sidebandSE / float64(len(g)*len(g))
		}
		out = append(out, AMLine{OffsetHz: hz, DepthDBc: pcm.DB(math.Sqrt(square)), OneSided: g[0].side,
			DepthSEDB: 20 / math.Ln10 * math.Sqrt(noise/square)})
	}
	return out
}

// common reads what the first two channels share: additive noise that is in both, or jitter folded back at half the rate,
// shows in their amplitudes as in their phases and is subtracted, as in a channel's own figure. The variance of a cross density is
// (S₁·S₂ + C²)/2.
func (m *measurement) common(channels []Channel) *Common {
	var s noiseSum
	part := m.sharedAdditive()
	for i, n := range m.cross {
		a, b := m.channels[0].bands[i], m.channels[1].bands[i]
		width, additive := n.high-n.low, math.Sqrt(a.additive*b.additive)
		if a.loud || b.loud {
			n.crossAM = part * additive
			s.unknown += additive * width
		} else {
			if own := math.Sqrt(a.am * b.am); own > 0 {
				n.crossAM *= additive / own
			}
			s.unknown += width * math.Sqrt(a.unknown*b.unknown)
			s.other += width * math.Sqrt(a.other*b.other)
		}
		s.pm += n.crossPM * width
		s.additive += n.crossAM * width
		s.variancePM += a.variance(math.Sqrt((a.pm*b.pm + n.crossPM*n.crossPM) / 2))
		s.varianceAdditive += a.variance(math.Sqrt((additive*additive + n.crossAM*n.crossAM) / 2))
	}
	random, se, significant := s.excess()
	c := &Common{RandomPs: m.toPs(random), SEPs: m.toPs(se), LimitPs: m.limit(s), AtFloor: !significant, Correlation: math.NaN()}
	if a, b := channels[0].RandomPs, channels[1].RandomPs; a > 0 && b > 0 {
		c.Correlation = math.Pow(m.toPs(1), 2) * (s.pm - s.additive) / (a * b)
	}
	return c
}

// sharedAdditive returns how much of the additive noise the first two channels share, where their amplitudes tell it: 1 for all of it.
func (m *measurement) sharedAdditive() float64 {
	shared, both := 0.0, 0.0
	for i, n := range m.cross {
		a, b := m.channels[0].bands[i], m.channels[1].bands[i]
		if !a.loud && !b.loud {
			shared += n.crossAM * (n.high - n.low)
			both += math.Sqrt(a.am*b.am) * (n.high - n.low)
		}
	}
	if both == 0 {
		return 0
	}
	return shared / both
}
