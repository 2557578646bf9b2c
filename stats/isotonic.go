package stats

import (
	"cmp"
	"fmt"
	"slices"
)

// Isotonic returns the non-decreasing sequence nearest to y in weighted squares, by pooling adjacent violators; for
// proportions weighted by their trials it is the maximum-likelihood estimate. Neither slice is changed. It panics if
// the lengths differ or a weight is not above zero.
//
// ref: Ayer, Brunk, Ewing, Reid & Silverman (1955).
func Isotonic(y, weight []float64) []float64 {
	if len(y) != len(weight) {
		panic(fmt.Sprintf("stats: %d values and %d weights", len(y), len(weight)))
	}
	type block struct {
		mean, weight float64
		size         int
	}
	var blocks []block
	for i := range y {
		if !(weight[i] > 0) {
			panic(fmt.Sprintf("stats: weight %v is not above zero", weight[i]))
		}
		b := block{y[i], weight[i], 1}
		for len(blocks) > 0 && blocks[len(blocks)-1].mean >= b.mean {
			last := blocks[len(blocks)-1]
			blocks = blocks[:len(blocks)-1]
			w := last.weight + b.weight
			b = block{(last.mean*last.weight + b.mean*b.weight) / w, w, last.size + b.size}
		}
		blocks = append(blocks, b)
	}
	fit := make([]float64, 0, len(y))
	for _, b := range blocks {
		for range b.size {
			fit = append(fit, b.mean)
		}
	}
	return fit
}

// IsotonicPoint is one dose of an isotonic curve.
type IsotonicPoint struct {
	Dose       float64 `json:"dose"`
	Correct    int     `json:"correct"`
	Trials     int     `json:"trials"`
	Observed   float64 `json:"observed"`   // correct of trials
	Proportion float64 `json:"proportion"` // of the curve
}

// IsotonicCurve returns the maximum-likelihood proportions that never fall with the dose and are at least floor; rows of
// equal dose are added up. It assumes no shape, and says nothing about doses in between or the uncertainty of a threshold.
func IsotonicCurve(points []DosePoint, floor float64) ([]IsotonicPoint, error) {
	all := slices.Clone(points)
	for i := range all {
		all[i].Listener = ""
	}
	merged, err := mergeDoses(all)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(merged, func(a, b DosePoint) int { return cmp.Compare(a.Dose, b.Dose) })
	y, w := make([]float64, len(merged)), make([]float64, len(merged))
	for i, p := range merged {
		y[i], w[i] = float64(p.Correct)/float64(p.Trials), float64(p.Trials)
	}
	curve := make([]IsotonicPoint, len(merged))
	for i, v := range Isotonic(y, w) {
		curve[i] = IsotonicPoint{merged[i].Dose, merged[i].Correct, merged[i].Trials, y[i], max(v, floor)}
	}
	return curve, nil
}
