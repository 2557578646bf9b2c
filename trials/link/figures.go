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

// Figure is one reading. Where it stands at the floor, Value is NaN and Limit the upper bound; else Limit is the least
// that could have been measured. NaN: unknown.
type Figure struct {
	Value, Limit float64
	Entered      bool // typed in, not measured here
}

// Pair sets the figures of two chains side by side.
type Pair struct {
	A          float64 `json:"a"`
	B          float64 `json:"b"`
	Difference float64 `json:"difference"` // B − A, NaN where either stands at the floor
	// Uncertainty is the standard error of the difference from the spread over repeated captures; NaN with fewer than
	// two captures of each.
	Uncertainty float64 `json:"uncertainty"`
	Limit       float64 `json:"limit"`
	CapturesA   int     `json:"captures_a"`
	CapturesB   int     `json:"captures_b"`
	Entered     bool    `json:"entered"`
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
	}
}

// MetricPair is a pair and what it is of.
type MetricPair struct {
	Metric Metric
	Pair
}

func measured(a, b Chain, p Pairing) Measured {
	if p.Treatment != "" {
		a, b = Chain{}, Chain{} // both are one chain: its figures say nothing of the dose, which is known
	}
	of := func(m Metric) Pair { return pair(a.Figures[m], b.Figures[m]) }
	return Measured{
		RandomJitterPS: of(RandomJitter), RandomJitterLowPS: of(RandomJitterLow), RandomJitterMidPS: of(RandomJitterMid),
		RandomJitterHighPS: of(RandomJitterHigh), DeterministicPS: of(DeterministicJitter), WorstLinePS: of(WorstLine),
		NoiseAWeightedDB: of(Noise), NoiseUnderToneDB: of(NoiseUnderTone), HumDB: of(Hum), THDNDB: of(THDN), Cost: costs(a, b),
		NullDB: p.NullDB, ResponseMaxDB: p.ResponseMaxDB, LoudnessDifferenceLU: p.LoudnessDifferenceLU,
		LevelErrorDB: p.LevelErrorDB, OffsetErrorUS: p.OffsetErrorUS, BitPerfect: p.BitPerfect,
	}
}

func costs(a, b Chain) Pair {
	nan := math.NaN()
	p := Pair{A: nan, B: nan, Uncertainty: nan, Limit: nan}
	if a.Name != "" {
		p.A = a.Cost
	}
	if b.Name != "" {
		p.B = b.Cost
	}
	p.Difference = p.B - p.A
	return p
}

func pair(a, b []Figure) Pair {
	ma, va, na, la := summary(a)
	mb, vb, nb, lb := summary(b)
	p := Pair{A: ma, B: mb, Difference: mb - ma, Uncertainty: math.Sqrt(va + vb), CapturesA: na, CapturesB: nb}
	p.Limit = larger(la, lb)
	for _, f := range append(append([]Figure(nil), a...), b...) {
		p.Entered = p.Entered || f.Entered
	}
	return p
}

// summary returns the mean, the variance of the mean, the number of captures and the largest limit. One capture at the
// floor puts the mean there too: an average of the others would read too high.
func summary(f []Figure) (mean, variance float64, n int, limit float64) {
	limit = math.NaN()
	if len(f) == 0 {
		return math.NaN(), math.NaN(), 0, limit
	}
	for _, v := range f {
		mean += v.Value / float64(len(f))
		limit = larger(limit, v.Limit)
	}
	if len(f) < 2 {
		return mean, math.NaN(), len(f), limit
	}
	for _, v := range f {
		variance += (v.Value - mean) * (v.Value - mean)
	}
	k := float64(len(f))
	return mean, variance / (k - 1) / k, len(f), limit
}

// larger returns the larger of two numbers of which either may be unknown.
func larger(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	if math.IsNaN(b) {
		return a
	}
	return math.Max(a, b)
}
