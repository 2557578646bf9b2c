package link

import (
	"fmt"
	"math"

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
}

// size is what the boundaries of a sequential plan risk, exactly: 'heard' of a guesser, 'ruled out' of the smallest effect.
type size struct{ heard, ruledOut float64 }

// known is what was computed from sittings of exact binomial tests: which way, at which level, and their counts.
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
	correct, trials int
	stats.ScoreConfig
}

// wanted is an effect and the levels at which it is to be found and ruled out.
type wanted struct{ smallest, hear, ruleOut float64 }

func newMemory() memory {
	return memory{map[scored]stats.Score{}, map[wanted]fresh{}, map[*stats.Looks]size{}, map[known]float64{}, map[early]float64{}}
}

// stakes returns the planned tests of a session of a sequential plan: its boundaries, each at its exact size.
func (m memory) stakes(h Heard, k, n int, f Family) (up, down *stats.Stake) {
	l, smallest := h.Plan.Looks, stats.FromDiscriminators(h.Plan.SmallestEffect)
	risk, ok := m.sizes[l]
	if !ok {
		risk = size{l.Course(chance).Heard, l.Course(smallest).RuledOut}
		m.sizes[l] = risk
	}
	alpha, _ := f.ListenerAlpha()
	up = &stats.Stake{Kept: stats.Staked(risk.heard, alpha)}
	down = &stats.Stake{Kept: stats.Staked(risk.ruledOut, f.Alpha), Passed: func(float64, float64) bool { return false }}
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

// once computes what depends on nothing but the counts of the sittings, their plans and a level, only once.
func (m memory) once(what string, all []sitting, alpha float64, compute func() float64) float64 {
	var of []byte
	for _, s := range all {
		if s.Up != nil || s.Down != nil || s.Dealt != nil {
			return compute()
		}
		of = fmt.Appendf(of, "%d %d %d %v %v ", s.Correct, s.Trials, s.Planned, s.Smallest, s.inattentive)
	}
	k := known{what, alpha, string(of)}
	v, ok := m.known[k]
	if !ok {
		v = compute()
		m.known[k] = v
	}
	return v
}

// abx scores ABX.
func (m memory) abx(correct, trials int, cfg stats.ScoreConfig) (stats.Score, error) {
	k := scored{correct, trials, cfg}
	if s, ok := m.scores[k]; ok {
		return s, nil
	}
	s, err := stats.ScoreABX(correct, trials, cfg)
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
	p := stats.FromDiscriminators(w.smallest)
	hear, err := stats.TrialsFor(chance, p, w.hear, enough)
	if err != nil {
		return fresh{}
	}
	out, err := stats.TrialsToRuleOut(chance, w.smallest, 0, w.ruleOut, enough)
	if err != nil {
		return fresh{}
	}
	n := max(hear.Trials, out.Trials)
	at, err := stats.PowerAt(n, chance, p, w.hear)
	if err != nil {
		return fresh{}
	}
	return fresh{n, at.Power, stats.RulingOutAt(n, chance, w.smallest, 0, w.ruleOut).Power}
}
