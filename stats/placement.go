package stats

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// PlacementConfig configures a Bayesian adaptive procedure: the hypotheses, and the doses that can be played. In the prior
// threshold, slope and lapse rate are independent, and uniform unless they have weights.
type PlacementConfig struct {
	Shape      Shape
	Guess      float64   // chance level, fixed by the design
	Linear     bool      // logistic and normal in the dose, not its log10
	Thresholds []float64 // doses
	Slopes     []float64 // above zero
	Lapses     []float64 // none: 0
	Doses      []float64 // that can be played
	Aim        Aim
	// SlopeWeights and LapseWeights are the prior of slopes and lapse rates, up to a factor; nil: uniform.
	SlopeWeights []float64
	LapseWeights []float64
}

// Aim is what the next trial is meant to determine.
type Aim uint8

// Aims.
const (
	AimAll       Aim = iota // threshold, slope and lapse rate: the entropy of all of them
	AimThreshold            // the threshold alone, whatever slope and lapse rate are: the variance of its marginal
)

// Placement is the state of a Bayesian adaptive procedure: the probability of every combination of threshold, slope and
// lapse rate. It is a value: After returns the state after an answer and changes nothing.
//
// ref: Kontsevich & Tyler (1999), Bayesian adaptive estimation of psychometric slope and threshold, Vision Research 39.
// Prins (2013), The psi-marginal adaptive method, Journal of Vision 13(7), for aiming at one parameter; from memory.
type Placement struct {
	cfg    PlacementConfig
	cells  []Curve
	chance [][]float64 // by dose and cell
	weight []float64   // posterior, by cell, summing to 1
}

// NewPlacement returns the state before the first trial. It is an error if a list is empty, a value is not finite or
// out of range, or guess and lapse leave no room for a rise.
func NewPlacement(cfg PlacementConfig) (Placement, error) {
	if len(cfg.Lapses) == 0 {
		cfg.Lapses = []float64{0}
	}
	if err := cfg.check(); err != nil {
		return Placement{}, err
	}
	p := Placement{cfg: cfg}
	sum := 0.0
	for _, t := range cfg.Thresholds {
		for i, s := range cfg.Slopes {
			for k, l := range cfg.Lapses {
				p.cells = append(p.cells, Curve{Shape: cfg.Shape, Guess: cfg.Guess, Lapse: l, Threshold: t, Slope: s, Linear: cfg.Linear})
				w := weightAt(cfg.SlopeWeights, i) * weightAt(cfg.LapseWeights, k)
				p.weight, sum = append(p.weight, w), sum+w
			}
		}
	}
	for i := range p.weight {
		p.weight[i] /= sum
	}
	for _, d := range cfg.Doses {
		p.chance = append(p.chance, p.chances(d))
	}
	return p, nil
}

// weightAt returns the weight of the i-th value, 1 where none are given.
func weightAt(weights []float64, i int) float64 {
	if weights == nil {
		return 1
	}
	return weights[i]
}

// checkWeights returns an error where weights are given, but not one above zero for each of n values.
func checkWeights(of string, weights []float64, n int) error {
	if weights == nil {
		return nil
	}
	if len(weights) != n {
		return fmt.Errorf("stats: placement: %d weights for %d %s", len(weights), n, of)
	}
	for _, w := range weights {
		if !(w > 0) || math.IsInf(w, 0) {
			return fmt.Errorf("stats: placement: weight %v of %s is not above zero", w, of)
		}
	}
	return nil
}

func (c PlacementConfig) check() error {
	for name, list := range map[string][]float64{"thresholds": c.Thresholds, "slopes": c.Slopes, "doses": c.Doses} {
		if len(list) == 0 {
			return fmt.Errorf("stats: placement: no %s", name)
		}
	}
	logarithmic := !c.Linear || c.Shape == Weibull
	for _, d := range slices.Concat(c.Thresholds, c.Doses) {
		if math.IsNaN(d) || math.IsInf(d, 0) || logarithmic && d <= 0 {
			return fmt.Errorf("stats: placement: dose %v is out of range", d)
		}
	}
	for _, s := range c.Slopes {
		if !(s > 0) || math.IsInf(s, 0) {
			return fmt.Errorf("stats: placement: slope %v is not above zero", s)
		}
	}
	for _, l := range c.Lapses {
		if !(l >= 0 && c.Guess >= 0 && c.Guess+l < 1) {
			return fmt.Errorf("stats: placement: guess %v and lapse %v leave no room for a rise", c.Guess, l)
		}
	}
	return cmp.Or(checkWeights("slopes", c.SlopeWeights, len(c.Slopes)), checkWeights("lapses", c.LapseWeights, len(c.Lapses)))
}

func (p Placement) chances(dose float64) []float64 {
	at := make([]float64, len(p.cells))
	for i, c := range p.cells {
		at[i] = clampRate(c.At(dose))
	}
	return at
}

// Entropy returns the entropy of the posterior in nats: what is not known yet.
func (p Placement) Entropy() float64 {
	sum := 0.0
	for _, w := range p.weight {
		if w > 0 {
			sum -= w * math.Log(w)
		}
	}
	return sum
}

// Next returns the dose after whose answer the expected loss is smallest, and that loss: the entropy in nats or, aiming at
// the threshold alone, its variance in the scale's unit squared. Of equal doses it is the first in the list.
func (p Placement) Next() (dose, loss float64) {
	if p.cfg.Aim == AimThreshold {
		i, variance := p.sharpest()
		return p.cfg.Doses[i], variance
	}
	best, least := 0, math.Inf(1)
	for i := range p.cfg.Doses {
		if h := p.expected(p.chance[i]); h < least {
			best, least = i, h
		}
	}
	return p.cfg.Doses[best], least
}

// expected is the mean entropy after an answer: Σ over answers of P(answer)·H, which is ln P less the mean logarithm of
// the joint probabilities.
func (p Placement) expected(chance []float64) float64 {
	right, joint := 0.0, 0.0
	for i, w := range p.weight {
		a, b := w*chance[i], w*(1-chance[i])
		right += a
		joint += xlogx(a) + xlogx(b)
	}
	return xlogx(right) + xlogx(1-right) - joint
}

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// After returns the state after an answer at a dose, which need not be one of the list.
func (p Placement) After(dose float64, correct bool) Placement {
	k := 0
	if correct {
		k = 1
	}
	return p.Given(DosePoint{Dose: dose, Correct: k, Trials: 1})
}

// Given returns the state after k right answers of n at one dose.
func (p Placement) Given(d DosePoint) Placement {
	var chance []float64
	if i := slices.Index(p.cfg.Doses, d.Dose); i >= 0 {
		chance = p.chance[i]
	} else {
		chance = p.chances(d.Dose)
	}
	if d.Trials == 1 {
		return p.once(chance, d.Correct == 1)
	}
	ln := make([]float64, len(p.weight))
	for i, w := range p.weight {
		ln[i] = math.Log(w) + bernoulli(float64(d.Correct), float64(d.Trials), chance[i])
	}
	p.weight = normalised(ln)
	return p
}

// normalised returns the probabilities whose logarithms ln holds up to a constant. It mutates ln.
func normalised(ln []float64) []float64 {
	most, sum := slices.Max(ln), 0.0
	for i := range ln {
		ln[i] = math.Exp(ln[i] - most)
		sum += ln[i]
	}
	for i := range ln {
		ln[i] /= sum
	}
	return ln
}

// once is Given of one answer, by the products themselves: an adaptive session has hundreds of them.
func (p Placement) once(chance []float64, correct bool) Placement {
	weight, sum := make([]float64, len(p.weight)), 0.0
	for i, w := range p.weight {
		if c := chance[i]; correct {
			weight[i] = w * c
		} else {
			weight[i] = w * (1 - c)
		}
		sum += weight[i]
	}
	for i := range weight {
		weight[i] /= sum
	}
	p.weight = weight
	return p
}

// Posterior summarises what is known as means over the posterior.
type Posterior struct {
	Threshold   float64 `json:"threshold"`    // mean in the scale's unit, as a dose
	ThresholdSD float64 `json:"threshold_sd"` // in the scale's unit: log10 of the dose, or the dose
	Slope       float64 `json:"slope"`        // geometric mean
	Lapse       float64 `json:"lapse"`
	Entropy     float64 `json:"entropy_nats"`
}

// Posterior returns what is known so far. A threshold near the end of the list is bounded by it.
func (p Placement) Posterior() Posterior {
	var u, square, slope, lapse float64
	for i, w := range p.weight {
		at := p.cells[i].unit(p.cells[i].Threshold)
		u += w * at
		square += w * at * at
		slope += w * math.Log(p.cells[i].Slope)
		lapse += w * p.cells[i].Lapse
	}
	return Posterior{p.cells[0].dose(u), math.Sqrt(math.Max(0, square-u*u)), math.Exp(slope), lapse, p.Entropy()}
}
