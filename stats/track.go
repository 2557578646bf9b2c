package stats

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Placing is a way of choosing the dose of the next trial of a threshold run.
type Placing uint8

// Ways of placing. The zero value is the Bayesian one.
const (
	PlacedBayes     Placing = iota // at the rung after which the threshold's expected variance is smallest
	PlacedStaircase                // transformed up-down
	PlacedConstant                 // constant stimuli: each dose equally often, in random order
)

var placings = [...]string{"bayes", "staircase", "constant"}

// String returns "bayes", "staircase" or "constant".
func (p Placing) String() string { return nameOf("placing", placings[:], p) }

// MarshalText writes the name.
func (p Placing) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads a name that String writes, and errors for anything else.
func (p *Placing) UnmarshalText(text []byte) (err error) {
	*p, err = named[Placing]("procedure", placings[:], string(text))
	return err
}

// ThresholdPrior is the prior over a listener's threshold, slope and lapse rate, which are independent: uniform over thresholds in dB, and
// by the weights over slopes and lapse rates (none: uniform). Levels are in dB: 20·log10 of the dose.
type ThresholdPrior struct {
	LowDB  float64   `json:"low_db"` // lowest threshold
	HighDB float64   `json:"high_db"`
	StepDB float64   `json:"step_db"`
	Slopes []float64 `json:"slopes"` // s of the Weibull function 1 − 2^−(x/t)^s
	Lapses []float64 `json:"lapses"`
	// SlopeWeights and LapseWeights are prior probabilities up to a factor.
	SlopeWeights []float64 `json:"slope_weights,omitempty"`
	LapseWeights []float64 `json:"lapse_weights,omitempty"`
	// CautiousSlopes and CautiousLapses are the weights in a second prior. The interval of a threshold reaches as far as under either prior;
	// doses are placed by the first alone. Without CautiousSlopes, there is no second prior; without CautiousLapses, all lapse rates are
	// equally likely in it.
	CautiousSlopes []float64 `json:"cautious_slope_weights,omitempty"`
	CautiousLapses []float64 `json:"cautious_lapse_weights,omitempty"`
}

// PriorFor returns a prior for doses between two levels: thresholds every half decibel to 10 dB beyond either of them; slopes 0.25
// to 8, normal in their logarithm about 1.5 with a deviation of three octaves, so nearly even; no lapses with a weight of 10, and 1 to 8 %
// with a weight of 1 for each percent. In the cautious prior the weight of each slope is divided by the slope to the power of 0.75.
//
// Adaptive doses make the slope of a listener who hears slowly better look steeper than it is, so that intervals by the first prior alone
// hold the threshold of one with slope 0.5 and no lapses in 0.88 of the runs. Doses placed by the cautious prior alone would need more
// trials: at slope 2, the standard deviation of the estimate after 180 trials is 3 % larger.
func PriorFor(lowDB, highDB float64) ThresholdPrior {
	const centre, deviation, caution = 1.5, 3, 0.75
	p := ThresholdPrior{LowDB: lowDB - 10, HighDB: highDB + 10, StepDB: 0.5,
		Lapses: []float64{0, 0.01, 0.02, 0.03, 0.04, 0.06, 0.08}, LapseWeights: []float64{10, 1, 1, 1, 1, 2, 2}}
	p.CautiousLapses = p.LapseWeights
	for i := range 11 {
		s := fourDecimals(0.25 * math.Pow(2, float64(i)/2))
		off := math.Log2(s/centre) / deviation
		w := math.Exp(-off * off / 2)
		p.Slopes, p.SlopeWeights = append(p.Slopes, s), append(p.SlopeWeights, fourDecimals(w))
		p.CautiousSlopes = append(p.CautiousSlopes, fourDecimals(w/math.Pow(s, caution)))
	}
	return p
}

// fourDecimals keeps a plan readable.
func fourDecimals(v float64) float64 { return math.Round(1e4*v) / 1e4 }

// maxPriorCells bounds the grid, over all rungs, and with it the time that the next dose takes.
const maxPriorCells = 3_000_000

func (p ThresholdPrior) check(rungs int) error {
	switch {
	case !(p.HighDB > p.LowDB) || math.IsInf(p.LowDB, 0) || math.IsInf(p.HighDB, 0):
		return fmt.Errorf("stats: thresholds from %v to %v dB", p.LowDB, p.HighDB)
	case !(p.StepDB > 0 && p.StepDB <= 1):
		return fmt.Errorf("stats: thresholds every %v dB: above 0 and at most 1 is wanted", p.StepDB)
	case (p.HighDB-p.LowDB)/p.StepDB*float64(len(p.Slopes)*len(p.Lapses)*rungs) > maxPriorCells:
		return fmt.Errorf("stats: more than %d combinations of threshold, slope, lapse rate and dose", maxPriorCells)
	case len(p.Slopes) == 0 || len(p.Lapses) == 0:
		return fmt.Errorf("stats: no slopes, or no lapse rates")
	}
	if p.CautiousSlopes == nil && p.CautiousLapses != nil {
		return fmt.Errorf("stats: cautious lapse rates without cautious slopes")
	}
	return cmp.Or(checkWeights("cautious slopes", p.CautiousSlopes, len(p.Slopes)), checkWeights("cautious lapse rates", p.CautiousLapses, len(p.Lapses)))
}

// caution returns, by slope and lapse rate, how much more weight the cautious prior gives them than the prior does; nil where there is none.
func (p ThresholdPrior) caution() []float64 {
	if p.CautiousSlopes == nil {
		return nil
	}
	var more []float64
	for i, w := range p.CautiousSlopes {
		for k := range p.Lapses {
			more = append(more, w*weightAt(p.CautiousLapses, k)/(weightAt(p.SlopeWeights, i)*weightAt(p.LapseWeights, k)))
		}
	}
	return more
}

func (p ThresholdPrior) thresholds() []float64 {
	n := int(math.Round((p.HighDB - p.LowDB) / p.StepDB))
	t := make([]float64, n+1)
	for i := range t {
		t[i] = fromDB(p.LowDB + float64(i)*p.StepDB)
	}
	return t
}

func fromDB(level float64) float64 { return math.Pow(10, level/20) }
func toDB(dose float64) float64    { return 20 * math.Log10(dose) }

// TrackConfig sets one track of a threshold run: one kind of dose, graded in rungs.
type TrackConfig struct {
	Placing  Placing
	LevelsDB []float64 // of the rungs, rising
	Guess    float64   // chance level of the design
	Prior    ThresholdPrior
	WithinDB float64 // half-width of the 95 % interval at which the track is done; 0: at its limit alone
	Limit    int     // most trials
	// PlainEvery has one trial in so many, drawn by lot, at the highest rung, which should be plainly heard, so that lapses show; 0: none. Only
	// Bayesian placement has them: the classical procedures have plain doses of their own.
	PlainEvery int
	// Down and Steps configure a staircase that begins at the highest rung: see StaircaseConfig; steps are in rungs.
	Down  int
	Steps []int
}

// Track is the state of one track. It is a value: After returns the state after an answer and changes nothing. The same answers lead to the same state.
type Track struct {
	cfg     TrackConfig
	known   Placement
	caution []float64 // see ThresholdPrior.caution
	stairs  Staircase
	counts  []DosePoint // by rung
	trials  int
	settled bool
}

// leastSettled is the number of trials before which no track is done: an interval from fewer rests on the prior.
const leastSettled = 30

// NewTrack returns the state before the first trial. It is an error if there are fewer than two rungs, they do not rise, or
// a setting is out of range.
func NewTrack(cfg TrackConfig) (Track, error) {
	t := Track{cfg: cfg}
	if err := cfg.Validate(); err != nil {
		return t, err
	}
	t.caution = cfg.Prior.caution()
	for _, l := range cfg.LevelsDB {
		t.counts = append(t.counts, DosePoint{Dose: fromDB(l)})
	}
	var err error
	if t.known, err = NewPlacement(cfg.placement()); err != nil || cfg.Placing != PlacedStaircase {
		return t, err
	}
	t.stairs, err = NewStaircase(cfg.staircase())
	return t, err
}

// placement is the Bayesian procedure. Its posterior is the estimate, however the doses are placed.
func (c TrackConfig) placement() PlacementConfig {
	p := PlacementConfig{Shape: Weibull, Guess: c.Guess, Thresholds: c.Prior.thresholds(), Slopes: c.Prior.Slopes, Lapses: c.Prior.Lapses,
		SlopeWeights: c.Prior.SlopeWeights, LapseWeights: c.Prior.LapseWeights, Aim: AimThreshold}
	for _, l := range c.LevelsDB {
		p.Doses = append(p.Doses, fromDB(l))
	}
	return p
}

func (c TrackConfig) staircase() StaircaseConfig {
	top := float64(len(c.LevelsDB) - 1)
	s := StaircaseConfig{Down: c.Down, Start: top, High: top}
	for _, step := range c.Steps {
		s.Steps = append(s.Steps, float64(step))
	}
	return s
}

// Validate returns an error that names the first setting out of range, without the work of beginning a track.
func (c TrackConfig) Validate() error {
	if err := c.check(); err != nil {
		return err
	}
	if c.Placing == PlacedStaircase {
		if _, err := NewStaircase(c.staircase()); err != nil {
			return err
		}
	}
	return c.placement().check()
}

// maxLevelDB is the largest dose, in dB either side of the unit, that is taken: its ratio of amplitudes, 10²⁰, is still far from a double's end.
const maxLevelDB = 400

func (c TrackConfig) check() error {
	if len(c.LevelsDB) < 2 {
		return fmt.Errorf("stats: track: %d rungs, two or more are wanted", len(c.LevelsDB))
	}
	for i, l := range c.LevelsDB {
		if math.IsNaN(l) || math.Abs(l) > maxLevelDB || i > 0 && !(l > c.LevelsDB[i-1]) {
			return fmt.Errorf("stats: track: level %v dB of rung %d: levels rise", l, i+1)
		}
	}
	switch {
	case int(c.Placing) >= len(placings):
		return fmt.Errorf("stats: track: %v", c.Placing)
	case !(c.WithinDB >= 0) || math.IsInf(c.WithinDB, 0):
		return fmt.Errorf("stats: track: within %v dB", c.WithinDB)
	case c.Limit < 1:
		return fmt.Errorf("stats: track: at most %d trials", c.Limit)
	case c.PlainEvery < 0 || c.PlainEvery == 1 || c.PlainEvery > 0 && c.Placing != PlacedBayes:
		return fmt.Errorf("stats: track: one plain trial in %d by %v: 2 or more, by bayes alone", c.PlainEvery, c.Placing)
	}
	return c.Prior.check(len(c.LevelsDB))
}

// Rungs returns the number of rungs.
func (t Track) Rungs() int { return len(t.counts) }

// Trials is the number of answers so far.
func (t Track) Trials() int { return t.trials }

// Left is how many trials the track may still have: 0 when it is done.
func (t Track) Left() int {
	if t.settled {
		return 0
	}
	return t.cfg.Limit - t.trials
}

// Next returns the rung, from 0, of the next trial. What is drawn is drawn with below(n), which returns a number from 0 to n − 1: whether the
// trial is one of the plain ones, which it is if the number is 0; and, of constant stimuli, the rung among those given least often, so that
// each comes once before any comes again.
func (t Track) Next(below func(n int) int) int {
	switch t.cfg.Placing {
	case PlacedStaircase:
		return int(math.Round(t.stairs.Level()))
	case PlacedConstant:
		least := t.counts[0].Trials
		for _, c := range t.counts {
			least = min(least, c.Trials)
		}
		var open []int
		for i, c := range t.counts {
			if c.Trials == least {
				open = append(open, i)
			}
		}
		return open[below(len(open))]
	}
	if t.cfg.PlainEvery > 0 && below(t.cfg.PlainEvery) == 0 {
		return len(t.counts) - 1
	}
	best, _ := t.known.sharpest()
	return best
}

// After returns the state after an answer at a rung.
func (t Track) After(rung int, correct bool) Track {
	d := DosePoint{Dose: t.counts[rung].Dose, Trials: 1}
	if correct {
		d.Correct = 1
	}
	t.known = t.known.Given(d)
	t.counts = slices.Clone(t.counts)
	t.counts[rung].Trials++
	t.counts[rung].Correct += d.Correct
	t.trials++
	if t.cfg.Placing == PlacedStaircase {
		t.stairs = t.stairs.Next(correct)
	}
	t.settled = t.trials >= leastSettled && t.cfg.WithinDB > 0 && t.HalfWidthDB() <= t.cfg.WithinDB
	return t
}

// HalfWidthDB is half the width of the threshold's 95 % interval; infinite where it has no end.
func (t Track) HalfWidthDB() float64 {
	_, iv := intervalsDB(t.known, t.caution)
	if w := (iv[1] - iv[0]) / 2; !math.IsNaN(w) {
		return w
	}
	return math.Inf(1)
}

// intervalsDB returns, in dB, the 95 % interval of the threshold under the prior, and that interval extended to reach as far as the one
// under the cautious prior.
func intervalsDB(known Placement, caution []float64) (own, wider [2]float64) {
	levels := func(p Placement) [2]float64 {
		iv := p.ThresholdInterval(0.95)
		return [2]float64{toDB(iv[0]), toDB(iv[1])}
	}
	own = levels(known)
	if caution == nil {
		return own, own
	}
	return own, widerOf(own, levels(known.reweighed(caution)))
}

// widerOf returns the interval that reaches as far as either does; an end that is open in one is open.
func widerOf(a, b [2]float64) [2]float64 {
	return [2]float64{math.Min(a[0], b[0]), math.Max(a[1], b[1])} // NaN if either is
}

// ThresholdEstimate is what the answers of a track say. Levels are in dB, 20·log10 of the dose.
type ThresholdEstimate struct {
	ThresholdDB     float64    `json:"threshold_db"`      // the likeliest, see Placement.Likeliest; NaN where it is not bounded on both sides
	StandardErrorDB float64    `json:"standard_error_db"` // posterior standard deviation
	IntervalDB      [2]float64 `json:"interval_db"`       // 95 %, equal tails, the wider by either prior; an end that the answers do not bound is NaN
	Slope           float64    `json:"slope"`             // posterior geometric mean
	Lapse           float64    `json:"lapse"`
	Trials          int        `json:"trials"`
	Guess           float64    `json:"guess"`
}

// Estimate returns what the answers so far say. How the doses were placed is not in the likelihood.
func (t Track) Estimate() ThresholdEstimate {
	return estimateOf(t.known, t.caution, t.cfg.Guess, t.trials)
}

func estimateOf(known Placement, caution []float64, guess float64, trials int) ThresholdEstimate {
	own, wider := intervalsDB(known, caution)
	e := ThresholdEstimate{ThresholdDB: toDB(known.Likeliest()), StandardErrorDB: 20 * known.thresholdSD(), IntervalDB: wider, Trials: trials, Guess: guess}
	e.Slope, e.Lapse = known.slopeAndLapse()
	if math.IsNaN(own[0]) || math.IsNaN(own[1]) {
		e.ThresholdDB, e.StandardErrorDB = math.NaN(), math.NaN()
	}
	return e
}

// ThresholdGrid estimates thresholds from counts at a set of levels, for many listeners one after the other.
type ThresholdGrid struct {
	levelsDB     []float64
	guess        float64
	start        Placement
	caution      []float64 // see ThresholdPrior.caution
	lnPrior      []float64
	right, wrong [][]float64 // ln of the chance of a right and of a wrong answer, by level and cell
}

// NewThresholdGrid returns a grid for counts at the levels, in dB. It is an error if there are fewer than two, they do not rise, or the
// prior is out of range.
func NewThresholdGrid(levelsDB []float64, guess float64, prior ThresholdPrior) (*ThresholdGrid, error) {
	t, err := NewTrack(TrackConfig{LevelsDB: levelsDB, Guess: guess, Prior: prior, Limit: 1})
	if err != nil {
		return nil, err
	}
	g := &ThresholdGrid{levelsDB: levelsDB, guess: guess, start: t.known, caution: t.caution}
	for _, w := range t.known.weight {
		g.lnPrior = append(g.lnPrior, math.Log(w))
	}
	for _, chance := range t.known.chance {
		right, wrong := make([]float64, len(chance)), make([]float64, len(chance))
		for i, c := range chance {
			right[i], wrong[i] = math.Log(c), math.Log1p(-c)
		}
		g.right, g.wrong = append(g.right, right), append(g.wrong, wrong)
	}
	return g, nil
}

// Estimate returns what k right answers of n at each level say. It is an error if there is not one count for each level, or a
// count is out of range.
func (g *ThresholdGrid) Estimate(counts []Count) (ThresholdEstimate, error) {
	ln, trials, err := g.likelihood(counts)
	if err != nil {
		return ThresholdEstimate{}, err
	}
	for cell, prior := range g.lnPrior {
		ln[cell] += prior
	}
	known := g.start
	known.weight = normalised(ln)
	return estimateOf(known, g.caution, g.guess, trials), nil
}

// likelihood returns the logarithm of the chance of the counts in each cell, and the number of answers.
func (g *ThresholdGrid) likelihood(counts []Count) (ln []float64, trials int, err error) {
	if len(counts) != len(g.levelsDB) {
		return nil, 0, fmt.Errorf("stats: threshold: counts at %d levels of %d", len(counts), len(g.levelsDB))
	}
	ln = make([]float64, len(g.lnPrior))
	for i, c := range counts {
		if c == (Count{}) {
			continue
		}
		if err := checkCounts(c.Correct, c.Trials); err != nil {
			return nil, 0, err
		}
		k, w := float64(c.Correct), float64(c.Trials-c.Correct)
		for cell := range ln {
			ln[cell] += k*g.right[i][cell] + w*g.wrong[i][cell]
		}
		trials += c.Trials
	}
	return ln, trials, nil
}

// At returns the chance of a right answer at a level in dB, by the estimate.
func (e ThresholdEstimate) At(levelDB float64) float64 {
	c := Curve{Shape: Weibull, Guess: e.Guess, Lapse: e.Lapse, Threshold: fromDB(e.ThresholdDB), Slope: e.Slope}
	return c.At(fromDB(levelDB))
}

// FitP returns how often answers that follow the estimate's curve, as many at each level, deviate from it at least as much as those given:
// small where the curve does not fit. The answers are simulated, in as many sets as draws says, from the seed. Because the estimate is not
// fitted anew to each set, FitP errs on the side of a fit. NaN where there is no estimate.
func (e ThresholdEstimate) FitP(levelsDB []float64, counts []Count, draws int, seed uint64) float64 {
	if math.IsNaN(e.ThresholdDB) || draws < 1 {
		return math.NaN()
	}
	var chance []float64
	var asked []Count
	for i, c := range counts {
		if c.Trials > 0 {
			chance, asked = append(chance, clampRate(e.At(levelsDB[i]))), append(asked, c)
		}
	}
	random := rand.New(rand.NewPCG(seed, 1))
	found, extreme := devianceFrom(chance, asked), 1
	drawn := slices.Clone(asked)
	for range draws {
		for i := range drawn {
			drawn[i].Correct = 0
			for range drawn[i].Trials {
				if random.Float64() < chance[i] {
					drawn[i].Correct++
				}
			}
		}
		if devianceFrom(chance, drawn) >= found {
			extreme++
		}
	}
	return float64(extreme) / float64(draws+1)
}

// devianceFrom is twice the log-likelihood ratio of the counts' own proportions to the chances given.
func devianceFrom(chance []float64, counts []Count) float64 {
	sum := 0.0
	for i, c := range counts {
		k, n := float64(c.Correct), float64(c.Trials)
		sum += bernoulli(k, n, k/n) - bernoulli(k, n, chance[i])
	}
	return 2 * sum
}
