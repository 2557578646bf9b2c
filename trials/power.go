package trials

import "heardiff/stats"

// Conditional reports whether Fisher's exact test decides instead of the exact binomial test: for designs judged by rates,
// and for any design in balanced order.
func (p Plan) Conditional() bool { return p.Design.ByRates() || p.Order == Balanced }

// PowerAt returns the power of n scored trials in the plan's design, order and level, for a listener who is right with
// probability pTrue: by the test that decides, over the splits into kinds that the deal can give. It is an error if n or
// pTrue is out of range.
func (p Plan) PowerAt(n int, pTrue float64) (stats.Power, error) {
	if !p.Conditional() {
		return stats.PowerAt(n, p.Design.Chance(), pTrue, p.Alpha)
	}
	return stats.FisherPower(n, p.splits(n), pTrue, p.Alpha)
}

// Powers returns PowerAt at each of several pTrue. Where the exact binomial test decides, it is an error if n or one of
// them is out of range.
func (p Plan) Powers(n int, pTrue []float64) ([]float64, error) {
	if p.Conditional() {
		return stats.FisherPowers(p.splits(n), n, p.Alpha, pTrue...), nil
	}
	powers := make([]float64, len(pTrue))
	for i, v := range pTrue {
		at, err := p.PowerAt(n, v)
		if err != nil {
			return nil, err
		}
		powers[i] = at.Power
	}
	return powers, nil
}

// TrialsFor returns the smallest plan whose PowerAt reaches power and keeps it; stats.ErrOutOfReach where none does.
func (p Plan) TrialsFor(pTrue, power float64) (stats.Power, error) {
	if !p.Conditional() {
		return stats.TrialsFor(p.Design.Chance(), pTrue, p.Alpha, power)
	}
	return stats.FisherTrialsFor(p.splits, pTrue, p.Alpha, power)
}

// splits returns the ways in which n trials can fall into the two kinds that Fisher's test compares, see assignments.
func (p Plan) splits(n int) []stats.Split {
	if p.Order == Independent {
		return stats.CoinSplits(n)
	}
	return stats.RoundSplits(n, len(p.Design.possible()))
}
