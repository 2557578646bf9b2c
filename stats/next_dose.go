package stats

import (
	"math"
	"slices"
)

// NextTrial is the most informative dose, given the answers so far.
type NextTrial struct {
	Dose        float64   `json:"dose"`        // of a fine ladder from the lowest to the highest tested
	Tested      float64   `json:"dose_tested"` // of the doses already in the data
	Information float64   `json:"information_bits"`
	InfoTested  float64   `json:"information_tested_bits"`
	Posterior   Posterior `json:"posterior"`
}

// Sizes of the grid over which NextDose searches.
const (
	gridThresholds = 61
	gridSlopes     = 12
	gridDoses      = 81
)

// NextDose returns the dose at which a further trial is expected to reduce the uncertainty of threshold, slope and lapse
// rate most. Thresholds extend half the range of doses beyond it on either side; slopes go from a rise over the full range
// to one over a fortieth of it. It fails where FitCurve does. Doses of zero on a logarithmic scale are not candidates.
func NextDose(points []DosePoint, cfg FitConfig) (NextTrial, error) {
	f, err := newFitter(points, cfg)
	if err != nil {
		return NextTrial{}, err
	}
	curve := Curve{Shape: f.cfg.Shape, Linear: f.cfg.Linear}
	c := PlacementConfig{Shape: f.cfg.Shape, Guess: f.cfg.Guess, Linear: f.cfg.Linear, Lapses: []float64{f.cfg.Lapse}}
	if f.cfg.FreeLapse {
		c.Lapses = []float64{0, 0.02, 0.04, 0.06, 0.08, MaxLapse}
	}
	for i := range gridThresholds {
		c.Thresholds = append(c.Thresholds, curve.dose(f.low-f.span/2+2*f.span*float64(i)/(gridThresholds-1)))
	}
	for i := range gridSlopes {
		c.Slopes = append(c.Slopes, math.Pow(40, float64(i)/(gridSlopes-1))*2/f.span)
	}
	for i := range gridDoses {
		c.Doses = append(c.Doses, curve.dose(f.low+f.span*float64(i)/(gridDoses-1)))
	}
	tested := len(c.Doses)
	for _, d := range points {
		if !math.IsInf(curve.unit(d.Dose), 0) && !slices.Contains(c.Doses[tested:], d.Dose) {
			c.Doses = append(c.Doses, d.Dose)
		}
	}
	p, err := NewPlacement(c)
	if err != nil {
		return NextTrial{}, err
	}
	for _, d := range points {
		if !math.IsInf(curve.unit(d.Dose), 0) {
			p = p.Given(d)
		}
	}
	return p.nextOf(tested), nil
}

// nextOf returns the best of the first fine doses, and the best of the others.
func (p Placement) nextOf(fine int) NextTrial {
	now := p.Entropy()
	n := NextTrial{Posterior: p.Posterior()}
	all := p
	p.cfg.Doses, p.chance = all.cfg.Doses[:fine], all.chance[:fine]
	dose, remaining := p.Next()
	n.Dose, n.Information = dose, (now-remaining)/math.Ln2
	p.cfg.Doses, p.chance = all.cfg.Doses[fine:], all.chance[fine:]
	dose, remaining = p.Next()
	n.Tested, n.InfoTested = dose, (now-remaining)/math.Ln2
	return n
}
