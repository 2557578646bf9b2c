package link

import (
	"iter"
	"math"
	"slices"
)

// Metric names a measured figure of a chain, with its unit.
type Metric string

// The metrics, by their keys in JSON.
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

// vocabulary returns the metrics about which this package has rules or published findings exist, with their names. measured
// are those in which a pair of chains may differ, in the order in which they are printed; known adds the others.
func vocabulary() (measured, known Metrics) {
	measured = Metrics{
		{Metric: RandomJitter, Name: "random jitter", Unit: "ps RMS", Trended: true},
		{Metric: RandomJitterLow, Name: "random jitter close in, 10 to 100 Hz", Unit: "ps RMS", Trended: true, Detail: true},
		{Metric: RandomJitterMid, Name: "random jitter, 100 Hz to 1 kHz", Unit: "ps RMS", Trended: true, Detail: true},
		{Metric: RandomJitterHigh, Name: "random jitter spread out, 1 to 10 kHz", Unit: "ps RMS", Trended: true, Detail: true},
		{Metric: DeterministicJitter, Name: "deterministic jitter", Unit: "ps RMS", Trended: true},
		{Metric: WorstLine, Name: "worst line of jitter", Unit: "ps peak", Trended: true, Detail: true},
		{Metric: Noise, Name: "noise, A-weighted", Unit: "dBFS", Trended: true},
		{Metric: NoiseUnderTone, Name: "noise under a tone at −60 dBFS, A-weighted", Unit: "dBFS"},
		{Metric: Hum, Name: "worst hum line", Unit: "dB"},
		{Metric: THDN, Name: "THD+N", Unit: "dB"},
		{Metric: IMD, Name: "intermodulation", Unit: "dB"},
		{Metric: SecondHarmonic, Name: "second harmonic over the sweep", Unit: "dB"},
		{Metric: ThirdHarmonic, Name: "third harmonic over the sweep", Unit: "dB"},
	}
	return measured, append(slices.Clone(measured), Metrics{
		{Metric: NullDepth, Name: "residual of the null", Unit: "dB"},
		{Metric: DoseRandomJitter, Name: "dose of random jitter", Unit: "ps RMS"},
		{Metric: DosePeriodicJitter, Name: "dose of periodic jitter", Unit: "ps RMS"},
		{Metric: DoseNoise, Name: "dose of noise", Unit: "dBFS"},
		{Metric: DoseGain, Name: "dose of gain", Unit: "dB"},
	}...)
}

// Declared is a metric with its name and unit.
type Declared struct {
	Metric     Metric
	Name, Unit string
	Trended    bool // whether a trend of detection over it is tested
	Detail     bool // whether it is a part of what another metric shows: in JSON and the report, not in the tables of a terminal
}

// Declare returns one of this package's own metrics with its name and unit.
func (m Metric) Declare() Declared {
	measured, _ := vocabulary()
	i := slices.IndexFunc(measured, func(d Declared) bool { return d.Metric == m })
	if i < 0 {
		return Declared{Metric: m, Name: string(m)}
	}
	return measured[i]
}

// Words returns the metric's name and unit; only its key for a metric that this package does not know.
func (m Metric) Words() (name, unit string) { return Metrics(nil).Words(m) }

// Metrics are the metrics in which chains are compared, in the order in which they are printed.
type Metrics []Declared

// Words returns the name and unit of a metric in m, or of one of this package's own; only its key for others.
func (m Metrics) Words(metric Metric) (name, unit string) {
	of := func(d Declared) bool { return d.Metric == metric }
	if i := slices.IndexFunc(m, of); i >= 0 {
		return m[i].Name, m[i].Unit
	}
	_, known := vocabulary()
	if i := slices.IndexFunc(known, of); i >= 0 {
		return known[i].Name, known[i].Unit
	}
	return string(metric), ""
}

// Chain is one way from the player to the DAC's analogue output, with every figure of every capture of it.
type Chain struct {
	Name, About string
	Role        string  // source, floor or replay
	Cost        float64 // NaN: not given
	After       string  // the chain that feeds it, "" if none is declared
	Figures     map[Metric][]Figure
}

// Figure is one reading. At the floor, Value is NaN and Limit the upper bound; otherwise Limit is the smallest value that
// could have been measured. NaN: unknown.
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

// Pair compares the figures of two chains.
type Pair struct {
	A          float64 `json:"a"`
	B          float64 `json:"b"`
	Difference float64 `json:"difference"` // B − A, NaN where either is at the floor
	// AAtMost and BAtMost are upper bounds of a chain that is at the floor in some capture; NaN otherwise, or if unknown.
	AAtMost float64 `json:"a_at_most"`
	BAtMost float64 `json:"b_at_most"`
	// DifferenceBeyond is given where one chain is at the floor and the other above its bound: the difference has this sign and
	// is at least this large. NaN elsewhere.
	DifferenceBeyond float64 `json:"difference_beyond"`
	// Uncertainty is the standard error of the difference from the spread over repeated captures; NaN with fewer than
	// two captures of each.
	Uncertainty float64 `json:"uncertainty"`
	// Limit is the larger of the two figures' limits: a bound, or the smallest value that the capture could have resolved.
	Limit float64 `json:"limit"`
	// Floor is the same figure of the recording set-up alone, from the study's floor chains; NaN if none was measured.
	Floor     float64 `json:"floor"`
	CapturesA int     `json:"captures_a"`
	CapturesB int     `json:"captures_b"`
	Entered   bool    `json:"entered"` // either
	EnteredA  bool    `json:"entered_a"`
	EnteredB  bool    `json:"entered_b"`
}

// Measured is every measured difference of a comparison.
type Measured struct {
	Figures
	Cost                 Pair    `json:"cost"`
	NullDB               float64 `json:"null_db"`
	ResponseMaxDB        float64 `json:"response_max_db"`
	LoudnessDifferenceLU float64 `json:"loudness_difference_lu"`
	LevelErrorDB         float64 `json:"level_error_db"`
	OffsetErrorUS        float64 `json:"offset_error_us"`
	BitPerfect           *bool   `json:"bit_perfect"`
}

// Figures are the pairs of both chains' figures, by metric. In JSON each is a field of the enclosing object, named by its metric.
type Figures []MetricPair

// MetricPair is a pair with its metric.
type MetricPair struct {
	Declared
	Pair
}

// none reports whether neither chain has any of it, as jitter without a line: there is nothing to hide.
func (p Pair) none() bool { return p.A == 0 && p.B == 0 }

// Of returns the pair of a metric; every number of it is NaN where there is none.
func (f Figures) Of(m Metric) Pair {
	i := slices.IndexFunc(f, func(p MetricPair) bool { return p.Metric == m })
	if i < 0 {
		return pair(nil, nil, nil)
	}
	return f[i].Pair
}

// Fields yields the name that each pair has in JSON, and the pair.
func (f Figures) Fields() iter.Seq2[string, any] {
	return func(yield func(string, any) bool) {
		for _, p := range f {
			if !yield(string(p.Metric), p.Pair) {
				return
			}
		}
	}
}

// measured compares the figures of two chains; floor is the recording set-up alone.
func measured(metrics Metrics, a, b, floor Chain, p Pairing) Measured {
	if p.Treatment != "" {
		a, b = Chain{}, Chain{} // both are the same chain: its figures say nothing about the dose, which is known
	}
	m := Measured{Cost: costs(a, b), NullDB: p.NullDB, ResponseMaxDB: p.ResponseMaxDB, LoudnessDifferenceLU: p.LoudnessDifferenceLU,
		LevelErrorDB: p.LevelErrorDB, OffsetErrorUS: p.OffsetErrorUS, BitPerfect: p.BitPerfect}
	for _, d := range metrics {
		m.Figures = append(m.Figures, MetricPair{d, pair(a.Figures[d.Metric], b.Figures[d.Metric], floor.Figures[d.Metric])})
	}
	return m
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

// setUp joins the chains of the recording set-up alone.
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
