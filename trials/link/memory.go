package link

import "heardiff/stats"

// memory keeps what was computed from the same few numbers: ten thousand listeners who answered the same plan have no
// more scores than it has trials.
type memory struct {
	scores map[scored]bounded
	plans  map[wanted]int
}

type scored struct {
	correct, trials int
	alpha           float64
}

type bounded struct {
	stats.Score
	upperPD float64
}

type wanted struct{ smallest, alpha float64 }

func newMemory() memory { return memory{map[scored]bounded{}, map[wanted]int{}} }

// abx scores ABX, and bounds the proportion of discriminators from above.
func (m memory) abx(correct, trials int, alpha float64) (bounded, error) {
	k := scored{correct, trials, alpha}
	if b, ok := m.scores[k]; ok {
		return b, nil
	}
	s, err := stats.ScoreABX(correct, trials, stats.ScoreConfig{Alpha: alpha})
	if err != nil {
		return bounded{}, err
	}
	b := bounded{s, stats.Discriminators(stats.UpperProportion(correct, trials, 1-alpha))}
	m.scores[k] = b
	return b, nil
}

// settling returns the size of a plan with a power of 0.8 to find the smallest effect, and to rule it out where nothing
// is heard; 0 where no plan in reach does.
func (m memory) settling(smallest, alpha float64) int {
	k := wanted{smallest, alpha}
	n, ok := m.plans[k]
	if !ok {
		n = settling(smallest, alpha)
		m.plans[k] = n
	}
	return n
}

func settling(smallest, alpha float64) int {
	s, err := stats.ToSettle(smallest, alpha, 0.8)
	if err != nil {
		return 0
	}
	return max(s.Hear.Trials, s.RuleOut.Trials)
}
