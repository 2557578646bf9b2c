package link

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"heardiff/stats"
	"heardiff/trials"
)

// memo memoises results that depend on a few numbers: ten thousand listeners of the same plan have no more different scores
// than it has trials.
type memo struct {
	scores     map[scoreKey]stats.Score
	plans      map[planKey]furtherPlan
	sizes      map[*stats.Looks]size
	bySittings map[sittingsKey]float64
	stops      map[stopKey]float64
	pairs      map[pairsKey]stats.PairScore
	powers     map[powerKey]float64
	// evidence and counts hold upper bounds of p_d, by evidence alone and by the exact binomial test.
	evidence, counts map[boundKey]float64
}

// size is the exact risk of a sequential plan's boundaries: 'heard' for a guesser, 'ruled out' at the smallest effect.
type size struct{ heard, ruledOut float64 }

// pairsKey is what the score of duplicate pairs depends on.
type pairsKey struct {
	stats.Pairs
	stats.ScoreConfig
}

// powerKey is what the power of Fisher's test depends on.
type powerKey struct {
	design       trials.Design
	order        trials.Order
	trials       int
	alpha, pTrue float64
}

// boundKey is a chance level, a count and the level of the bound.
type boundKey struct {
	chance          float64
	correct, trials int
	alpha           float64
}

// sittingsKey identifies a result computed from sittings: what is computed, at which level, and the answers it depends on.
type sittingsKey struct {
	what  string
	alpha float64
	of    string
}

// stopKey is where a sequential session stopped.
type stopKey struct {
	looks *stats.Looks
	k, n  int
}

type scoreKey struct {
	design          trials.Design
	correct, trials int
	stats.ScoreConfig
}

// planKey is an effect, a chance level and the levels at which the effect is to be found and ruled out.
type planKey struct{ smallest, chance, hear, ruleOut float64 }

func newMemo() memo {
	return memo{scores: map[scoreKey]stats.Score{}, plans: map[planKey]furtherPlan{}, sizes: map[*stats.Looks]size{}, bySittings: map[sittingsKey]float64{},
		stops: map[stopKey]float64{}, pairs: map[pairsKey]stats.PairScore{}, powers: map[powerKey]float64{}, evidence: map[boundKey]float64{},
		counts: map[boundKey]float64{}}
}

// sameProportion is by how much, as a ratio, equal proportions differ by rounding.
const sameProportion = 1e-12

// stakes returns the planned tests of a session with a sequential plan: its boundaries, each at its exact size.
func (m memo) stakes(h Heard, k, n int, f Family) (up, down *stats.Stake) {
	l, chance := h.Plan.Looks, h.Plan.Design.Chance()
	smallest := stats.FromDiscriminators(h.Plan.SmallestEffect, chance)
	risk, ok := m.sizes[l]
	if !ok {
		risk = size{l.Course(chance).Heard, l.Course(smallest).RuledOut}
		m.sizes[l] = risk
	}
	alpha, _ := f.ListenerAlpha()
	up = &stats.Stake{Kept: stats.UnusedShare(risk.heard, alpha)}
	down = &stats.Stake{Kept: stats.UnusedShare(risk.ruledOut, f.Alpha), Passed: func(float64, float64) bool { return false }}
	switch h.Stopped {
	case trials.StopHeard:
		at := stopKey{l, k, n}
		if up.LnP, ok = m.stops[at]; !ok {
			up.LnP = l.LnP(k, n, chance)
			m.stops[at] = up.LnP
		}
	case trials.StopRuledOut:
		down.Passed = func(limit, lnLevel float64) bool {
			return limit >= smallest*(1-sameProportion) && math.Log(risk.ruledOut) <= lnLevel+stats.TailAccuracy
		}
	}
	return up, down
}

// once memoises a result that depends only on the answers of the sittings, their plans and a level.
func (m memo) once(what string, all []sitting, alpha float64, compute func() float64) float64 {
	of := make([]byte, 0, 64*len(all))
	for _, s := range all {
		of = s.appendKey(of)
	}
	return remembered(m.bySittings, sittingsKey{what, alpha, string(of)}, compute)
}

// remembered returns the memoised value of a key, and computes it the first time.
func remembered[K comparable](kept map[K]float64, key K, compute func() float64) float64 {
	v, ok := kept[key]
	if !ok {
		v = compute()
		kept[key] = v
	}
	return v
}

// appendKey appends everything in a sitting on which its tests, its evidence and its kept share depend.
func (s *sitting) appendKey(key []byte) []byte {
	for _, n := range []int{s.Correct, s.Trials, s.Planned, int(s.heard.Plan.Order)} {
		key = binary.AppendVarint(key, int64(n))
	}
	key = append(key, s.design.String()...)
	key = binary.LittleEndian.AppendUint64(key, math.Float64bits(s.Smallest))
	key = strconv.AppendBool(key, s.inattentive)
	if t := s.table(); t != nil {
		for _, n := range []int{t.Hits, t.Misses, t.FalseAlarms, t.CorrectRejections} {
			key = binary.AppendVarint(key, int64(n))
		}
	}
	if s.heard.Plan.Sequential() {
		key = fmt.Appendf(key, "%p %s ", s.heard.Plan.Looks, s.heard.Stopped)
	}
	for _, stake := range []*stats.Stake{s.Up, s.Down} {
		if stake != nil {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(stake.Kept))
		}
	}
	return append(key, ';')
}

// boundByEvidence is the upper bound of p_d by evidence alone.
func (m memo) boundByEvidence(b boundKey) float64 {
	return remembered(m.evidence, b, func() float64 {
		return stats.Discriminators(stats.EvidenceBound(b.correct, b.trials, b.chance, b.alpha), b.chance)
	})
}

// boundByCount is the upper bound of p_d by the exact binomial test.
func (m memo) boundByCount(b boundKey) float64 {
	return remembered(m.counts, b, func() float64 {
		return stats.Discriminators(stats.UpperProportion(b.correct, b.trials, 1-b.alpha), b.chance)
	})
}

// power is the power of Fisher's test with n trials of a plan; NaN where it cannot be computed.
func (m memo) power(p trials.Plan, n int, pTrue float64) float64 {
	return remembered(m.powers, powerKey{p.Design, p.Order, n, p.Alpha, pTrue}, func() float64 {
		at, err := p.PowerAt(n, pTrue)
		if err != nil {
			return math.NaN()
		}
		return at.Power
	})
}

// duplicatePairs scores duplicate pairs.
func (m memo) duplicatePairs(c stats.Pairs, cfg stats.ScoreConfig) (stats.PairScore, error) {
	k := pairsKey{c, cfg}
	if s, ok := m.pairs[k]; ok {
		return s, nil
	}
	s, err := stats.ScorePairs(c, cfg)
	if err == nil {
		m.pairs[k] = s
	}
	return s, err
}

// score scores counts of a design.
func (m memo) score(d trials.Design, correct, trials int, cfg stats.ScoreConfig) (stats.Score, error) {
	k := scoreKey{d, correct, trials, cfg}
	if s, ok := m.scores[k]; ok {
		return s, nil
	}
	s, err := d.Score(correct, trials, cfg)
	if err == nil {
		m.scores[k] = s
	}
	return s, err
}

// furtherPlan is a further plan for one listener: heard is its power to find the smallest effect, ruledOut its power to rule
// it out where nothing is heard.
type furtherPlan struct {
	trials          int
	heard, ruledOut float64
}

// targetPower is the power that a further plan must have (common practice, no source).
const targetPower = 0.8

// settling returns the smallest plan that has both powers at the remaining levels; zero trials if no feasible plan has.
func (m memo) settling(w planKey) furtherPlan {
	f, ok := m.plans[w]
	if !ok {
		f = w.settling()
		m.plans[w] = f
	}
	return f
}

func (w planKey) settling() furtherPlan {
	p := stats.FromDiscriminators(w.smallest, w.chance)
	hear, err := stats.TrialsFor(w.chance, p, w.hear, targetPower)
	if err != nil {
		return furtherPlan{}
	}
	out, err := stats.TrialsToRuleOut(w.chance, w.smallest, 0, w.ruleOut, targetPower)
	if err != nil {
		return furtherPlan{}
	}
	n := max(hear.Trials, out.Trials)
	at, err := stats.PowerAt(n, w.chance, p, w.hear)
	if err != nil {
		return furtherPlan{}
	}
	return furtherPlan{n, at.Power, stats.RulingOutAt(n, w.chance, w.smallest, 0, w.ruleOut).Power}
}
