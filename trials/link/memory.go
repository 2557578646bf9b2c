package link

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"heardiff/stats"
	"heardiff/trials"
)

// memory keeps what was computed from the same few numbers: ten thousand listeners who answered the same plan have no
// more scores than it has trials.
type memory struct {
	scores map[scored]stats.Score
	plans  map[wanted]fresh
	sizes  map[*stats.Looks]size
	known  map[known]float64
	early  map[early]float64
	pairs  map[paired]stats.PairScore
	powers map[powered]float64
	// evidence and counts hold bounds of p_d by evidence alone, and by the exact binomial test.
	evidence, counts map[bounded]float64
}

// size is what the boundaries of a sequential plan risk, exactly: 'heard' of a guesser, 'ruled out' of the smallest effect.
type size struct{ heard, ruledOut float64 }

// paired is what duplicate pairs are scored from.
type paired struct {
	stats.Pairs
	stats.ScoreConfig
}

// powered is what the power of Fisher's test depends on.
type powered struct {
	design       trials.Design
	order        trials.Order
	trials       int
	alpha, pTrue float64
}

// bounded is a guesser's chance, a count and the level at which it bounds.
type bounded struct {
	chance          float64
	correct, trials int
	alpha           float64
}

// known is what was computed from sittings: which way, at which level, and what of them it depends on.
type known struct {
	what  string
	alpha float64
	of    string
}

// early is where a sequential session stopped.
type early struct {
	looks *stats.Looks
	k, n  int
}

type scored struct {
	design          trials.Design
	correct, trials int
	stats.ScoreConfig
}

// wanted is an effect, a guesser's chance and the levels at which the effect is to be found and ruled out.
type wanted struct{ smallest, chance, hear, ruleOut float64 }

func newMemory() memory {
	return memory{scores: map[scored]stats.Score{}, plans: map[wanted]fresh{}, sizes: map[*stats.Looks]size{}, known: map[known]float64{},
		early: map[early]float64{}, pairs: map[paired]stats.PairScore{}, powers: map[powered]float64{}, evidence: map[bounded]float64{},
		counts: map[bounded]float64{}}
}

// stakes returns the planned tests of a session of a sequential plan: its boundaries, each at its exact size.
func (m memory) stakes(h Heard, k, n int, f Family) (up, down *stats.Stake) {
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
		at := early{l, k, n}
		if up.LnP, ok = m.early[at]; !ok {
			up.LnP = l.LnP(k, n, chance)
			m.early[at] = up.LnP
		}
	case trials.StopRuledOut:
		down.Passed = func(limit, lnLevel float64) bool {
			return limit >= smallest*(1-1e-12) && math.Log(risk.ruledOut) <= lnLevel+1e-9
		}
	}
	return up, down
}

// ofOne is ln of the p of one listener's sittings.
func (m memory) ofOne(all []sitting, alpha float64) float64 {
	return m.once("p", all, alpha, func() float64 { return one(all, alpha) })
}

// boundOfOne is boundOne.
func (m memory) boundOfOne(all []sitting, alpha float64) float64 {
	return m.once("bound", all, alpha, func() float64 { return boundOne(all, alpha) })
}

// once computes what depends on nothing but the answers to the sittings, their plans and a level, only once.
func (m memory) once(what string, all []sitting, alpha float64, compute func() float64) float64 {
	of := make([]byte, 0, 64*len(all))
	for _, s := range all {
		of = s.appendKey(of)
	}
	return remembered(m.known, known{what, alpha, string(of)}, compute)
}

// remembered returns what is kept under a key, and computes it where nothing is.
func remembered[K comparable](kept map[K]float64, key K, compute func() float64) float64 {
	v, ok := kept[key]
	if !ok {
		v = compute()
		kept[key] = v
	}
	return v
}

// appendKey appends all of a sitting that its tests, its evidence and what is kept depend on.
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

// boundByEvidence bounds p_d from above by evidence alone.
func (m memory) boundByEvidence(b bounded) float64 {
	return remembered(m.evidence, b, func() float64 {
		return stats.Discriminators(stats.EvidenceBound(b.correct, b.trials, b.chance, b.alpha), b.chance)
	})
}

// boundByCount bounds p_d from above by the exact binomial test.
func (m memory) boundByCount(b bounded) float64 {
	return remembered(m.counts, b, func() float64 {
		return stats.Discriminators(stats.UpperProportion(b.correct, b.trials, 1-b.alpha), b.chance)
	})
}

// power is the chance that Fisher's test finds a listener in so many trials of a plan; NaN where there is none.
func (m memory) power(p trials.Plan, n int, pTrue float64) float64 {
	return remembered(m.powers, powered{p.Design, p.Order, n, p.Alpha, pTrue}, func() float64 {
		at, err := p.PowerAt(n, pTrue)
		if err != nil {
			return math.NaN()
		}
		return at.Power
	})
}

// duplicatePairs scores duplicate pairs.
func (m memory) duplicatePairs(c stats.Pairs, cfg stats.ScoreConfig) (stats.PairScore, error) {
	k := paired{c, cfg}
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
func (m memory) score(d trials.Design, correct, trials int, cfg stats.ScoreConfig) (stats.Score, error) {
	k := scored{d, correct, trials, cfg}
	if s, ok := m.scores[k]; ok {
		return s, nil
	}
	s, err := d.Score(correct, trials, cfg)
	if err == nil {
		m.scores[k] = s
	}
	return s, err
}

// fresh is a further plan of one listener, and what it does: Heard is the chance to find the smallest effect, RuledOut that
// of ruling it out where nothing is heard.
type fresh struct {
	trials          int
	heard, ruledOut float64
}

// enough is the chance that a further plan is to have (common practice, no source).
const enough = 0.8

// settling returns the least plan that has both chances, at the levels that are left for it; no trials where none in
// reach has.
func (m memory) settling(w wanted) fresh {
	f, ok := m.plans[w]
	if !ok {
		f = w.settling()
		m.plans[w] = f
	}
	return f
}

func (w wanted) settling() fresh {
	p := stats.FromDiscriminators(w.smallest, w.chance)
	hear, err := stats.TrialsFor(w.chance, p, w.hear, enough)
	if err != nil {
		return fresh{}
	}
	out, err := stats.TrialsToRuleOut(w.chance, w.smallest, 0, w.ruleOut, enough)
	if err != nil {
		return fresh{}
	}
	n := max(hear.Trials, out.Trials)
	at, err := stats.PowerAt(n, w.chance, p, w.hear)
	if err != nil {
		return fresh{}
	}
	return fresh{n, at.Power, stats.RulingOutAt(n, w.chance, w.smallest, 0, w.ruleOut).Power}
}
