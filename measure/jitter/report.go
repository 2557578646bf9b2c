package jitter

import (
	"math"

	"heardiff/measure"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// fewPeriods of the band's low end leave the figure there uncertain (judgement, no source; TestWhatLiesBelowTheBandLeavesNoTrace).
const fewPeriods = 50

// result makes the figures of all channels.
func (m *measurement) result() Result {
	first := m.channels[m.sounding[0]]
	m.carrierHz = first.carrierHz
	f := m.reader.Format()
	r := Result{
		Schema: "heardiff.jitter/1", CarrierHz: m.carrierHz, CarrierDBFS: pcm.DB(math.Exp(first.level)),
		RateHz: f.Rate.Hz(), Seconds: m.recordSeconds * float64(m.records), BandHz: m.band,
		SignalRateHz: m.signalRateHz, FrequencyOffsetPPM: (4*m.carrierHz/m.signalRateHz - 1) * 1e6,
	}
	if m.recordSeconds*m.band[0] < fewPeriods {
		m.Warn(warning.Newf(FewPeriods, "%.2f s of tone hold few periods of %.3g Hz: the low end of the band is uncertain", m.recordSeconds, m.band[0]).Of(m.recordSeconds, "s"))
	}
	m.Warn(m.lockedWarning()...)
	m.Warn(m.shorterWords()...)
	for c := range m.channels {
		if m.channels[c].silent {
			r.Channel = append(r.Channel, silentChannel(c+1))
			m.Warn(warning.Newf(measure.NoSignal, "channel %d has no tone (%s)", c+1, loudness(m.tone.Level[c])).In(c+1).Of(pcm.DBFS(m.tone.Level[c]), "dBFS"))
			continue
		}
		additive(m.channels[c].bands, m.inPhase(c))
		m.Warn(amplitudeNoise(c+1, m.channels[c].bands)...)
		r.Channel = append(r.Channel, m.channel(c))
		m.Warn(wanders(c+1, r.Channel[c].Lines)...)
		m.Warn(eventWarnings(c, m.channels[c].events, m.sample(), m.mixer.rateHz)...)
		if jump := m.channels[c].jump; jump > largestStep && len(m.channels[c].events) == 0 {
			m.Warn(warning.Newf(PhaseJump, "the phase of channel %d jumps by %.2f radians between two samples: a block was dropped or repeated, or the recording is very noisy", c+1, jump).In(c+1).Of(jump, "rad"))
		}
		if len(m.channels[c].jitter) >= maxLines {
			m.Warn(warning.Newf(ManyLines, "channel %d shows %d lines or more: not all are listed", c+1, maxLines).In(c+1).Of(maxLines, "lines"))
		}
	}
	if m.cross != nil {
		r.Common = m.common(r.Channel)
	}
	r.Warnings = m.Warnings
	return r
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
		Lines: m.lines(c.jitter), AMLines: m.amLines(c.amplitude),
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

// A line is the test signal's own residue up to residueErrors standard errors above it, for two parts of unknown phase join by power, and with
// residueDB more, for it passes the chain's response. Judgement, no source; TestALineOnTheSignalsOwnCountsForItsExcess holds the first.
const residueErrors, residueDB = 3, 0.5

func (m *measurement) lines(tones []component) []Line {
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
		if step, own := m.testSignal().step(hz); own {
			known := inherentPM(m.bits, step)
			l.Inherent = beta <= known*pcm.Ratio(residueDB)+residueErrors*math.Sqrt(noise)
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

func (m *measurement) amLines(tones []component) []AMLine {
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
