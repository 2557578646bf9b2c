package link

import "math"

// Metric names a measured figure of a chain, with its unit.
type Metric string

// The metrics, as they stand in the JSON.
const (
	RandomJitter        Metric = "random_jitter_ps"
	RandomJitterLow     Metric = "random_jitter_10_100_hz_ps"
	RandomJitterMid     Metric = "random_jitter_100_1000_hz_ps"
	RandomJitterHigh    Metric = "random_jitter_1_10_khz_ps"
	DeterministicJitter Metric = "deterministic_jitter_ps"
	WorstLine           Metric = "worst_line_ps"
	Noise               Metric = "noise_a_weighted_db"
	NoiseUnderTone      Metric = "noise_under_tone_a_weighted_db" // dynamic range with the sign turned
	Hum                 Metric = "hum_db"
	THDN                Metric = "thd_n_db"
	IMD                 Metric = "imd_db"
	SecondHarmonic      Metric = "sweep_second_harmonic_db"
	ThirdHarmonic       Metric = "sweep_third_harmonic_db"
	NullDepth           Metric = "null_db"

	// Known doses, put into a clean excerpt.
	DoseRandomJitter   Metric = "dose_random_jitter_ps"
	DosePeriodicJitter Metric = "dose_periodic_jitter_ps"
	DoseNoise          Metric = "dose_noise_dbfs"
	DoseGain           Metric = "dose_gain_db"
)

// Words returns what the metric is called and its unit.
func (m Metric) Words() (name, unit string) {
	w, ok := map[Metric][2]string{
		RandomJitter:        {"random jitter", "ps RMS"},
		RandomJitterLow:     {"random jitter close in, 10 to 100 Hz", "ps RMS"},
		RandomJitterMid:     {"random jitter, 100 Hz to 1 kHz", "ps RMS"},
		RandomJitterHigh:    {"random jitter spread out, 1 to 10 kHz", "ps RMS"},
		DeterministicJitter: {"deterministic jitter", "ps RMS"},
		WorstLine:           {"worst line of jitter", "ps peak"},
		Noise:               {"noise, A-weighted", "dBFS"},
		NoiseUnderTone:      {"noise under a tone at −60 dBFS, A-weighted", "dBFS"},
		Hum:                 {"worst hum line", "dB"},
		THDN:                {"THD+N", "dB"},
		IMD:                 {"intermodulation", "dB"},
		SecondHarmonic:      {"second harmonic over the sweep", "dB"},
		ThirdHarmonic:       {"third harmonic over the sweep", "dB"},
		NullDepth:           {"residual of the null", "dB"},
		DoseRandomJitter:    {"dose of random jitter", "ps RMS"},
		DosePeriodicJitter:  {"dose of periodic jitter", "ps RMS"},
		DoseNoise:           {"dose of noise", "dBFS"},
		DoseGain:            {"dose of gain", "dB"},
	}[m]
	if !ok {
		return string(m), ""
	}
	return w[0], w[1]
}

// Chain is one way from the player to the DAC's analogue output, with every figure of every capture of it.
type Chain struct {
	Name, About string
	Role        string  // source, floor or replay
	Cost        float64 // NaN: not given
	Figures     map[Metric][]Figure
}

// Figure is one reading. Where it is at the floor, Value is NaN and Limit the upper bound; else Limit is the least
// that could have been measured. NaN: unknown.
type Figure struct {
	Value, Limit float64
	Entered      bool // typed in, not measured here
}

// Entered is a figure of a chain that somebody measured elsewhere; NaN: not known.
type Entered struct {
	Chain  string  `json:"chain"`
	Metric Metric  `json:"metric"`
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// Pair sets the figures of two chains side by side.
type Pair struct {
	A          float64 `json:"a"`
	B          float64 `json:"b"`
	Difference float64 `json:"difference"` // B − A, NaN where either is at the floor
	// AAtMost and BAtMost bound a chain from above that is at the floor in some capture; NaN where it is not, or nothing is known.
	AAtMost float64 `json:"a_at_most"`
	BAtMost float64 `json:"b_at_most"`
	// DifferenceBeyond is known where one chain is at the floor and the other above its bound: the difference has this sign and is
	// at least as large. NaN elsewhere.
	DifferenceBeyond float64 `json:"difference_beyond"`
	// Uncertainty is the standard error of the difference from the spread over repeated captures; NaN with fewer than
	// two captures of each.
	Uncertainty float64 `json:"uncertainty"`
	// Limit is the larger of the two figures' own: a bound, or the least that the capture could have told.
	Limit float64 `json:"limit"`
	// Floor is the same figure of the recording set-up alone, from the study's floor chains; NaN where none was measured.
	Floor     float64 `json:"floor"`
	CapturesA int     `json:"captures_a"`
	CapturesB int     `json:"captures_b"`
	Entered   bool    `json:"entered"` // either
	EnteredA  bool    `json:"entered_a"`
	EnteredB  bool    `json:"entered_b"`
}

// Measured is every measured difference of a comparison.
type Measured struct {
	RandomJitterPS       Pair    `json:"random_jitter_ps"`
	RandomJitterLowPS    Pair    `json:"random_jitter_10_100_hz_ps"`
	RandomJitterMidPS    Pair    `json:"random_jitter_100_1000_hz_ps"`
	RandomJitterHighPS   Pair    `json:"random_jitter_1_10_khz_ps"`
	DeterministicPS      Pair    `json:"deterministic_jitter_ps"`
	WorstLinePS          Pair    `json:"worst_line_ps"`
	NoiseAWeightedDB     Pair    `json:"noise_a_weighted_db"`
	NoiseUnderToneDB     Pair    `json:"noise_under_tone_a_weighted_db"`
	HumDB                Pair    `json:"hum_db"`
	THDNDB               Pair    `json:"thd_n_db"`
	IMDDB                Pair    `json:"imd_db"`
	SecondHarmonicDB     Pair    `json:"sweep_second_harmonic_db"`
	ThirdHarmonicDB      Pair    `json:"sweep_third_harmonic_db"`
	Cost                 Pair    `json:"cost"`
	NullDB               float64 `json:"null_db"`
	ResponseMaxDB        float64 `json:"response_max_db"`
	LoudnessDifferenceLU float64 `json:"loudness_difference_lu"`
	LevelErrorDB         float64 `json:"level_error_db"`
	OffsetErrorUS        float64 `json:"offset_error_us"`
	BitPerfect           *bool   `json:"bit_perfect"`
}

// Pairs returns the pairs of both chains' figures, by metric.
func (m Measured) Pairs() []MetricPair {
	return []MetricPair{
		{RandomJitter, m.RandomJitterPS}, {RandomJitterLow, m.RandomJitterLowPS}, {RandomJitterMid, m.RandomJitterMidPS},
		{RandomJitterHigh, m.RandomJitterHighPS}, {DeterministicJitter, m.DeterministicPS}, {WorstLine, m.WorstLinePS},
		{Noise, m.NoiseAWeightedDB}, {NoiseUnderTone, m.NoiseUnderToneDB}, {Hum, m.HumDB}, {THDN, m.THDNDB},
		{IMD, m.IMDDB}, {SecondHarmonic, m.SecondHarmonicDB}, {ThirdHarmonic, m.ThirdHarmonicDB},
	}
}

// MetricPair is a pair and what it is of.
type MetricPair struct {
	Metric Metric
	Pair
}

// measured sets the figures of two chains beside each other; floor is the recording set-up alone.
func measured(a, b, floor Chain, p Pairing) Measured {
	if p.Treatment != "" {
		a, b = Chain{}, Chain{} // both are one chain: its figures say nothing of the dose, which is known
	}
	of := func(m Metric) Pair { return pair(a.Figures[m], b.Figures[m], floor.Figures[m]) }
	return Measured{
		RandomJitterPS: of(RandomJitter), RandomJitterLowPS: of(RandomJitterLow), RandomJitterMidPS: of(RandomJitterMid),
		RandomJitterHighPS: of(RandomJitterHigh), DeterministicPS: of(DeterministicJitter), WorstLinePS: of(WorstLine),
		NoiseAWeightedDB: of(Noise), NoiseUnderToneDB: of(NoiseUnderTone), HumDB: of(Hum), THDNDB: of(THDN),
		IMDDB: of(IMD), SecondHarmonicDB: of(SecondHarmonic), ThirdHarmonicDB: of(ThirdHarmonic), Cost: costs(a, b),
		NullDB: p.NullDB, ResponseMaxDB: p.ResponseMaxDB, LoudnessDifferenceLU: p.LoudnessDifferenceLU,
		LevelErrorDB: p.LevelErrorDB, OffsetErrorUS: p.OffsetErrorUS, BitPerfect: p.BitPerfect,
	}
}

func costs(a, b Chain) Pair {
	nan := math.NaN()
	p := Pair{A: nan, B: nan, Uncertainty: nan, AAtMost: nan, BAtMost: nan, DifferenceBeyond: nan, Limit: nan, Floor: nan}
	if a.Name != "" {
		p.A = a.Cost
	}
	if b.Name != "" {
		p.B = b.Cost
	}
	p.Difference = p.B - p.A
	return p
}

// setUp joins the chains that are the recording set-up alone.
func setUp(chains []Chain) Chain {
	all := Chain{Role: "floor", Figures: map[Metric][]Figure{}}
	for _, c := range chains {
		if c.Role != "floor" {
			continue
		}
		for m, f := range c.Figures {
			all.Figures[m] = append(all.Figures[m], f...)
		}
	}
	return all
}
