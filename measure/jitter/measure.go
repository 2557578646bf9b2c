package jitter

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"heardiff/measure"
	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"
	"heardiff/stats/warning"
)

// Measure measures the jitter of the tone in r. Errors wrap ErrNoTone or ErrShort where the capture holds
// nothing to measure; a band or rate that does not fit it is an error too. It reads r in blocks, once to look it through and
// once for all the channels that are analysed together; memory does not grow with the length of the capture beyond one minute's.
func Measure(r pcm.Reader, cfg Config) (Result, error) { return measureIn(r, cfg, longest) }

// measureIn is Measure with records of at most so many baseband samples.
func measureIn(r pcm.Reader, cfg Config, longest int) (Result, error) {
	if err := cfg.Validate(); err != nil {
		return Result{}, err
	}
	m := &measurement{cfg: cfg, reader: r, bits: cmp.Or(cfg.Bits, 24), signalRateHz: math.NaN(), longest: longest}
	if err := m.prepare(); err != nil {
		return Result{}, err
	}
	if err := m.analyseUnbroken(); err != nil {
		return Result{}, err
	}
	return m.result(), nil
}

func (m *measurement) prepare() error {
	var err error
	m.sampling.angles = make([][]float64, m.reader.Format().Channels)
	if m.tone, err = measure.FindTone(m.reader, m.sampling.note); err != nil {
		return fmt.Errorf("jitter: %w", err)
	}
	m.sampling.block = m.tone.Block
	m.Warn(m.tone.Warnings...)
	coarse, err := m.tone.Carrier(m.reader)
	if err != nil {
		return fmt.Errorf("jitter: %w", err)
	}
	rate := m.reader.Format().Rate.Hz()
	if m.band, err = m.cfg.band(coarse, rate); err != nil {
		return err
	}
	if s := cmp.Or(m.cfg.SignalRateHz, measure.PlayedRate(coarse)); s != 0 && measure.IsQuarter(coarse, s) {
		m.signalRateHz = s
	} else {
		m.Warn(warning.Newf(PlainTone, "the carrier at %.2f Hz is a quarter of no expected rate: taken as a plain tone, without the jitter signal's residue", coarse).Of(coarse, "Hz"))
	}
	m.carrierHz = coarse
	m.mixer = newMixer(rate, coarse, m.band[1])
	return nil
}

// analyseUnbroken analyses the longest stretch in which no block was lost or repeated, which shows only once it has been analysed.
func (m *measurement) analyseUnbroken() error {
	for {
		if err := m.analyse(); err != nil || !m.avoidLosses() {
			return err
		}
	}
}

// A record holds so many baseband samples, and periods of the band's low end, at the least: judgement, no source; TestFaultsAreRefusedOrWarned holds the
// second. leastPeriods is what the trend takes (see smoother).
const leastSamples, leastPeriods = 64, 8

// analyse cuts the tone into records and measures each.
func (m *measurement) analyse() error {
	lead := m.mixer.lead()
	from, to := max(m.tone.From, 0)+lead, m.tone.To-lead
	samples := (to - from) / m.mixer.decimation
	m.records = max(1, (samples+m.longest-1)/m.longest)
	m.from = from
	m.listChannels()
	each := whereItCancels(samples/m.records, m.sounding, func(channel, samples int) float64 {
		return m.kappa(channel, samples*m.mixer.decimation)
	})
	m.recordFrames = each * m.mixer.decimation
	m.recordSeconds = float64(each) / m.mixer.outRate()
	if each < leastSamples || m.recordSeconds*m.band[0] < leastPeriods {
		return fmt.Errorf("jitter: %w: %.2f s of tone, a band from %.3g Hz takes %.2f s", ErrShort, max(0, m.recordSeconds), m.band[0], leastPeriods/m.band[0])
	}
	m.workspaces, m.cross, m.first = nil, nil, spectraCopy{}
	m.transform = &transform{plan: spectrum.NewComplexPlan(paddedSize(each))}
	m.detector = newEventDetector(paddedSize(each), m.mixer.outRate(), m.band[1])
	for range max(1, min(len(m.sounding), m.longest/each)) {
		m.workspaces = append(m.workspaces, newWorkspace(m.mixer, each))
	}
	for i := range m.records {
		if err := m.analyseRecord(from+i*each*m.mixer.decimation, each, i); err != nil {
			return err
		}
	}
	return nil
}

// listChannels begins the sums of all channels, and lists those that have a tone.
func (m *measurement) listChannels() {
	m.sounding, m.channels = nil, make([]channelSum, len(m.tone.Level))
	for c := range m.channels {
		if m.channels[c].silent = !m.tone.Sounds(c); !m.channels[c].silent {
			m.sounding = append(m.sounding, c)
		}
	}
}

func (m *measurement) analyseRecord(from, samples, index int) error {
	records := make([]*record, len(m.channels))
	peaks := make([][]peak, len(m.channels))
	for group := range slices.Chunk(m.sounding, len(m.workspaces)) {
		if err := demodulate(m.reader, group, m.workspaces, m.mixer, from, samples); err != nil {
			return err
		}
		forEach(group, m.workspaces, func(w *workspace, c int) {
			records[c] = newRecord(w.samples[:samples], m.transform, m.mixer.outRate(), m.band[0], m.band[1])
			peaks[c] = m.analyseChannel(c, records[c], w, from, index)
		})
		if group[0] == 0 && len(m.sounding) > 1 {
			m.first.copyFrom(records[0], peaks[0])
		}
		if slices.Contains(group, 1) && records[0] != nil {
			m.addCross(records[1], peaks[1], index)
		}
	}
	return nil
}

// analyseChannel adds a record, which begins at a frame, to a channel and returns its lines of either kind.
func (m *measurement) analyseChannel(channel int, r *record, w *workspace, from, index int) []peak {
	c := &m.channels[channel]
	pm := newLineFinder(r, r.pm, m.band, w.noiseOf(0, len(r.pm)))
	am := newLineFinder(r, r.am, m.band, w.noiseOf(1, len(r.am)))
	phase, amplitude, events := m.separate(r, pm, am)
	for _, e := range events {
		e.seconds = (float64(from) + float64(e.from+e.to)/2*float64(m.mixer.decimation)) / m.mixer.rateHz
		c.events = append(c.events, e)
	}
	jitter, other := classify(pm, am, pm.inBand(phase), am.inBand(amplitude))
	c.jitter, c.amplitude = append(c.jitter, jitter...), append(c.amplitude, other...)
	lines := append(phase, amplitude...)
	bands := edges(m.band)
	r.measureNoise(bands, lines)
	c.average(r, bands, m.mixer.carrierHz(), index)
	return lines
}

// separate finds the lines of a record and its events, and leaves the noise.
func (m *measurement) separate(r *record, pm, am *lineFinder) (phase, amplitude []peak, events []event) {
	removeHumps(pm, am)
	phase, amplitude = findBoth(pm, am, nil, nil)
	if events = m.detector.events(r, m.mixer.quarter); len(events) > 0 {
		r.bridge(events, m.transform)
	}
	if slices.ContainsFunc(events, func(e event) bool { return e.bridged }) {
		// A tick fills the band: lines that it hid can be found now that it is gone.
		phase, amplitude = findBoth(pm, am, phase, amplitude)
		r.rebridge(events, m.transform) // what was bridged held those lines
	}
	return phase, amplitude, events
}

// average adds a record, its noise in bands and the mixer's frequency, to the means over index records before it.
func (c *channelSum) average(r *record, bands []noiseBand, mixedHz float64, index int) {
	c.bands = merged(c.bands, bands, index)
	old, fresh := float64(index)/float64(index+1), 1/float64(index+1)
	c.carrierHz = c.carrierHz*old + (mixedHz+r.offsetHz)*fresh
	c.level = c.level*old + r.logLevel*fresh
	c.driftHz += r.driftHz
	c.wander = max(c.wander, r.wander)
	c.jump = max(c.jump, r.jump)
}

// findBoth finds the lines of phase and amplitude at the same time, in addition to those that were found before.
func findBoth(pm, am *lineFinder, phase, amplitude []peak) (allPhase, allAmplitude []peak) {
	var wait sync.WaitGroup
	wait.Go(func() { allPhase = pm.find(phase) })
	wait.Go(func() { allAmplitude = am.find(amplitude) })
	wait.Wait()
	return allPhase, allAmplitude
}

// addCross adds what a record of the second channel shares with the first's.
func (m *measurement) addCross(second *record, lines []peak, index int) {
	bands := edges(m.band)
	crossNoise(&m.first, second, bands, lines)
	m.cross = merged(m.cross, bands, index)
}

// avoidLosses confines the stretch to its longest part in which no block was lost or repeated, and says so. It returns false where there is
// none to avoid, or too little would be left.
func (m *measurement) avoidLosses() bool {
	var gaps []measure.Gap
	losses := m.losses()
	for _, l := range losses {
		half := float64(l.to-l.from) / 2 * float64(m.mixer.decimation)
		gaps = append(gaps, measure.Gap{From: int(l.seconds*m.mixer.rateHz - half), To: int(l.seconds*m.mixer.rateHz + half)})
	}
	if len(gaps) == 0 || !m.tone.KeepClearOf(gaps) {
		return false
	}
	for i, l := range losses {
		if i == 0 || l.seconds-losses[i-1].seconds > sameLossS { // the other channels lose the same
			m.Warn(l.warning(m.sample(), ": "+m.tone.Measured()))
		}
	}
	return true
}

// losses returns where blocks were lost or repeated, in order of time.
func (m *measurement) losses() []loss {
	var out []loss
	for c := range m.channels {
		for _, e := range m.channels[c].events {
			if math.Abs(e.step) >= lostSample*m.sample() {
				out = append(out, loss{e, c})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b loss) int { return cmp.Compare(a.seconds, b.seconds) })
	return out
}
