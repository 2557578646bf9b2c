// Package link sets what listeners heard beside what was measured of the very same chains.
//
// Build takes revealed sessions and figures, and returns one row per comparison and listener, per group, and for all:
// the score, the measured differences with their limits, what else could explain the result (confounds), and a verdict.
// Numbers and text in, verdicts out; nothing is read or written here. NaN is not measurable.
//
// # The verdicts
//
//   - heard: the number correct reaches the level of the plan, after Holm's correction over the comparisons of the
//     same listener (or group, or all). What could explain it besides the chain is named first.
//   - ruled out: the exact upper bound of p_d, at the plan's level, lies below the plan's smallest effect. It is a
//     statement about p_d above that bound and nothing more.
//   - undecided: neither. The size of a fresh plan that would settle it is given; adding trials to this one would be
//     peeking. It stays undecided, too, where a listener is reliably wrong, and where the replay chain's own jitter or
//     noise exceeds every difference under test.
//   - void: a negative control was passed, at the 0.01 level (something leaks: nothing holds); a positive control was missed (no null
//     holds); or a 'heard' came with a level, alignment or response error large enough to be heard itself.
//
// Sessions that are simulated, or were answered where no device sounded, are added up with none as soon as one speaks of people:
// each stands in a row of its own, marked.
package link

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"heardiff/stats"
	"heardiff/trials"
)

// Schema names the form of Result's JSON.
const Schema = "heardiff.link/1"

// Input is everything a study knows.
type Input struct {
	Title  string
	Chains []Chain
	// Entered are the figures that somebody measured elsewhere, to be shown as such.
	Entered  []Entered
	Pairings []Pairing
	Results  []Heard
}

// Heard is one session that has ended.
type Heard struct {
	Listener, Group string
	Simulated       bool
	Marks           []Mark
	trials.Result
}

// Pairing holds what preparing and comparing the two presentations of a comparison found. NaN: not measured.
type Pairing struct {
	A, B, Excerpt        string
	NullDB               float64
	ResponseMaxDB        float64
	LoudnessDifferenceLU float64
	LevelErrorDB         float64
	OffsetErrorUS        float64
	// Identical says that the two are the same samples.
	Identical bool
	// BitPerfect says whether what B delivered is A's, word for word; nil: not measured.
	BitPerfect *bool
	// Treatment says what was put into A to make B, Dose how much of it, and DoseMetric what the dose is of; "", NaN and
	// "" where B is a chain as it is. AudioB tells the doses of one excerpt apart.
	Treatment  string
	Dose       float64
	DoseMetric Metric
	AudioB     string
}

// Result is what Build returns.
type Result struct {
	Schema    string    `json:"schema"`
	Title     string    `json:"title"`
	Simulated bool      `json:"simulated"` // some answers come from a computation, not from people
	Silent    bool      `json:"silent"`    // some were given where no device sounded
	Rows      []Row     `json:"rows"`
	Trends    []Trend   `json:"trends"`
	Entered   []Entered `json:"entered"`
	Ranking   []Ranked  `json:"ranking"`
	Cheapest  *Cheapest `json:"cheapest"`
	Warnings  []string  `json:"warnings"`
}

// Everybody is the listener of a row that holds all, or all of a group.
const Everybody = "all"

// Row is one comparison and one listener, group, or all.
type Row struct {
	Comparison string      `json:"comparison"`
	A          string      `json:"a"`
	B          string      `json:"b"`
	Excerpt    string      `json:"excerpt"`
	Listener   string      `json:"listener"`
	Group      string      `json:"group"`
	Kind       string      `json:"kind"` // listener, group, all
	Listeners  int         `json:"listeners"`
	Sessions   int         `json:"sessions"`
	Simulated  bool        `json:"simulated"`
	Silent     bool        `json:"silent"`
	Devices    []string    `json:"devices"` // every one that its sessions were heard through
	Treatment  string      `json:"treatment"`
	Dose       float64     `json:"dose"`
	DoseMetric Metric      `json:"dose_metric"`
	Smallest   float64     `json:"smallest_effect"`
	Pairs      *PairCounts `json:"pairs"`
	stats.Score
	PHolm      float64    `json:"p_holm"`
	Log10PHolm float64    `json:"log10_p_holm"`
	UpperPD    float64    `json:"p_d_upper"` // one-sided bound at the plan's level
	Positive   Control    `json:"positive_control"`
	Negative   Control    `json:"negative_control"`
	Measured   Measured   `json:"measured"`
	Confounds  []Confound `json:"confounds"`
	Masked     []string   `json:"masked_by_replay"`
	Verdict    Verdict    `json:"verdict"`
	Reason     string     `json:"reason"`
	// TrialsToSettle is the size of a fresh plan with a power of 0.8 both to find and to rule out the smallest effect;
	// 0 where the row is decided.
	TrialsToSettle int `json:"trials_to_settle"`
}

// PairCounts are the answers to duplicate pairs.
type PairCounts struct {
	stats.Pairs
	HitRate        float64 `json:"hit_rate"`
	FalseAlarmRate float64 `json:"false_alarm_rate"`
}

// Control counts the trials of known answer.
type Control struct {
	Trials  int `json:"trials"`
	Correct int `json:"correct"`
}

// key is what sessions are added up under.
type key struct {
	a, b, excerpt string
	audioB        string // of a chain compared with a dose of itself, which only the audio tells apart
	design        trials.Design
	kind          string
	who           string
	silent        bool
}

// tallied is a row while it is counted.
type tallied struct {
	Row
	pairs     stats.Pairs
	design    trials.Design
	audioB    string
	listeners map[string]bool
	sessions  map[string]bool
	heard     []Heard
	ln        float64 // ln of the one-sided p
	alpha     float64 // the strictest of its plans; Score carries it on
	// sequential rows stopped where the counts said so: the exact p and the bound of a fixed number do not hold.
	sequential bool
	stopped    string
	// answers holds what was said against what was true in ABX of balanced order, where the exact binomial p is too
	// generous to a listener who counts.
	answers  stats.Pairs
	balanced bool
}

// Build links results and figures. It is an error if a session's counts contradict themselves.
func Build(in Input) (Result, error) {
	rows, m := count(in.Results), newMemory()
	for _, r := range rows {
		if err := score(r, m); err != nil {
			return Result{}, fmt.Errorf("link: %s, %s: %w", r.Comparison, r.Listener, err)
		}
	}
	correct(rows)
	out := Result{Schema: Schema, Title: in.Title, Entered: in.Entered}
	chains, floor := byName(in.Chains), setUp(in.Chains)
	for _, r := range rows {
		pairing := find(in.Pairings, r)
		r.Treatment, r.Dose, r.DoseMetric = pairing.Treatment, pairing.Dose, pairing.DoseMetric
		r.Measured = measured(chains[r.A], chains[r.B], floor, pairing)
		r.Confounds = confounds(r, pairing)
		r.Masked = append(masked(r.Measured, in.Chains), maskedDose(pairing, in.Chains)...)
		decide(r, m)
		out.Rows = append(out.Rows, r.Row)
		out.Simulated, out.Silent = out.Simulated || r.Simulated, out.Silent || r.Silent
	}
	climb(out.Rows)
	out.Trends = append(trends(out.Rows), doseTrends(out.Rows)...)
	out.Ranking = ranking(in.Chains, out.Rows)
	out.Cheapest = cheapest(out.Ranking, out.Rows)
	out.Warnings = warnings(in, out)
	return out, nil
}

// count adds the sessions up: per listener, per group where there are two or more, and for all.
func count(results []Heard) []*tallied {
	people := ofPeople(results)
	groups := map[string]bool{}
	for _, h := range results {
		if h.counts(people) {
			groups[h.Group] = true
		}
	}
	index := map[key]*tallied{}
	var order []*tallied
	for _, h := range results {
		for _, t := range h.Tallies {
			if t.Comparison.Kind != trials.Scored || t.Trials == 0 {
				continue
			}
			whose := [][2]string{{"listener", h.Listener}}
			if h.counts(people) {
				whose = append(whose, [2]string{"all", Everybody})
			}
			if len(groups) > 1 && h.Group != "" && h.counts(people) {
				whose = append(whose, [2]string{"group", h.Group})
			}
			for _, w := range whose {
				k := keyOf(t.Comparison, h.Plan.Design, w[0], w[1])
				k.silent = h.Silent && k.kind == "listener"
				r, ok := index[k]
				if !ok {
					r = begun(k, t, h)
					index[k] = r
					order = append(order, r)
				}
				r.add(t, h)
			}
		}
	}
	rank := map[string]int{"listener": 0, "group": 1, "all": 2}
	sort.SliceStable(order, func(i, k int) bool {
		a, b := order[i], order[k]
		if a.Comparison != b.Comparison {
			return a.Comparison < b.Comparison
		}
		if rank[a.Kind] != rank[b.Kind] {
			return rank[a.Kind] < rank[b.Kind]
		}
		return a.Listener+a.Group < b.Listener+b.Group
	})
	return order
}

func keyOf(c trials.Comparison, design trials.Design, kind, who string) key {
	k := key{a: c.A, b: c.B, excerpt: c.Excerpt, design: design, kind: kind, who: who}
	if c.A == c.B {
		k.audioB = c.AudioB
	}
	return k
}

func begun(k key, t trials.Tally, h Heard) *tallied {
	r := &tallied{design: k.design, audioB: k.audioB, listeners: map[string]bool{}, sessions: map[string]bool{}}
	r.Comparison, r.A, r.B, r.Excerpt, r.Kind = t.Comparison.Name, k.a, k.b, k.excerpt, k.kind
	r.Listener, r.Group = k.who, h.Group
	if k.kind != "listener" {
		r.Listener, r.Group = Everybody, ""
	}
	if k.kind == "group" {
		r.Group = k.who
	}
	r.alpha, r.Smallest = h.Plan.Alpha, h.Plan.SmallestEffect
	return r
}

func (r *tallied) add(t trials.Tally, h Heard) {
	r.Trials += t.Trials
	r.Correct += t.Correct
	r.pairs.Hits += t.Hits
	r.pairs.Misses += t.Misses
	r.pairs.FalseAlarms += t.FalseAlarms
	r.pairs.CorrectRejections += t.CorrectRejections
	r.alpha, r.Smallest = math.Min(r.alpha, h.Plan.Alpha), math.Max(r.Smallest, h.Plan.SmallestEffect)
	r.Simulated, r.Silent = r.Simulated || h.Simulated, r.Silent || h.Silent
	for _, d := range h.Devices {
		if !slices.Contains(r.Devices, d) {
			r.Devices = append(r.Devices, d)
		}
	}
	r.countAnswers(t)
	r.listeners[h.Listener] = true
	r.Listeners = len(r.listeners)
	if r.sessions[h.Session] {
		return // a second comparison of the same chains in one plan: its controls are counted
	}
	r.sessions[h.Session] = true
	r.Sessions++
	r.heard = append(r.heard, h)
	r.stopped = string(h.Stopped)
	r.sequential = r.sequential || h.Plan.Sequential()
	r.balanced = r.balanced || h.Plan.Order == trials.Balanced
	for _, c := range h.Tallies {
		switch c.Comparison.Kind {
		case trials.PositiveControl:
			r.Positive.Trials, r.Positive.Correct = r.Positive.Trials+c.Trials, r.Positive.Correct+c.Correct
		case trials.NegativeControl:
			r.Negative.Trials, r.Negative.Correct = r.Negative.Trials+c.Trials, r.Negative.Correct+c.Correct
		}
	}
}

// countAnswers counts ABX answers by what X was.
func (r *tallied) countAnswers(t trials.Tally) {
	if r.design != trials.ABX {
		return
	}
	m := t.Answers
	r.answers.Hits += m[1][1]
	r.answers.Misses += m[1][0]
	r.answers.FalseAlarms += m[0][1]
	r.answers.CorrectRejections += m[0][0]
}

// score judges the counts, and bounds the proportion of discriminators from above.
func score(r *tallied, m memory) error {
	cfg := stats.ScoreConfig{Alpha: r.alpha}
	if r.design != trials.SameDifferent {
		s, err := m.abx(r.Correct, r.Trials, r.alpha)
		if err != nil {
			return err
		}
		r.Score, r.UpperPD = s.Score, s.upperPD
		r.ln = s.Log10P * math.Ln10
		return r.judge(cfg)
	}
	return scorePairs(r, cfg)
}

// judge replaces the exact binomial p of ABX where the plan makes it invalid: by the e-value's 1/E for a sequential plan
// (Ville's inequality: valid whenever one stops), or the plan's level where a single session stopped at its own
// boundary; by Fisher's exact test for balanced order.
func (r *tallied) judge(cfg stats.ScoreConfig) error {
	if r.sequential {
		r.ln = math.Min(0, -r.Log10EValue*math.Ln10)
		if r.Sessions == 1 && r.stopped == "heard" {
			r.ln = math.Min(r.ln, math.Log(r.alpha))
		}
		return nil
	}
	if !r.balanced || r.answers.Hits+r.answers.Misses == 0 || r.answers.FalseAlarms+r.answers.CorrectRejections == 0 {
		return nil
	}
	s, err := stats.ScorePairs(r.answers, cfg)
	if err != nil {
		return err
	}
	r.ln = s.Log10P * math.Ln10
	return nil
}

// scorePairs judges duplicate pairs by their rates. A guesser says 'different' equally often of both kinds of pair, so
// p_d is H − F; its upper bound takes H at its upper and F at its lower limit, each at half the risk.
func scorePairs(r *tallied, cfg stats.ScoreConfig) error {
	p := r.pairs
	same, different := p.FalseAlarms+p.CorrectRejections, p.Hits+p.Misses
	if same == 0 || different == 0 {
		s, err := stats.ScoreABX(r.Correct, r.Trials, cfg) // only for the interval: pairs of one kind test nothing
		if err != nil {
			return err
		}
		s.P, s.Log10P, r.UpperPD, r.ln = math.NaN(), math.NaN(), math.NaN(), 0
		s.Design = r.design.String()
		r.Score = s
		return nil
	}
	s, err := stats.ScorePairs(p, cfg)
	if err != nil {
		return err
	}
	r.Score = s.Score
	r.Pairs = &PairCounts{p, s.HitRate, s.FalseAlarmRate}
	high := stats.UpperProportion(p.Hits, different, 1-r.alpha/2)
	low := stats.LowerProportion(p.FalseAlarms, same, 1-r.alpha/2)
	r.UpperPD = math.Min(1, math.Max(0, high-low))
	r.ln = s.Log10P * math.Ln10
	return nil
}

// correct adjusts p over the comparisons of the same listener, group, or all.
func correct(rows []*tallied) {
	whose := map[string][]*tallied{}
	for _, r := range rows {
		k := r.Kind + "\x00" + r.Listener + "\x00" + r.Group
		if r.Kind != "group" {
			k = r.Kind + "\x00" + r.Listener
		}
		if r.Kind == "listener" && r.Silent {
			k += "\x00silent"
		}
		whose[k] = append(whose[k], r)
	}
	for _, family := range whose {
		lns := make([]float64, len(family))
		for i, r := range family {
			lns[i] = r.ln
		}
		for i, ln := range stats.Holm(lns) {
			family[i].PHolm, family[i].Log10PHolm = math.Exp(ln), ln/math.Ln10
		}
	}
}

func find(pairings []Pairing, r *tallied) Pairing {
	for _, p := range pairings {
		if p.Excerpt == r.Excerpt && p.AudioB == r.audioB && (p.A == r.A && p.B == r.B || p.A == r.B && p.B == r.A) {
			return p
		}
	}
	nan := math.NaN()
	return Pairing{A: r.A, B: r.B, Excerpt: r.Excerpt, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan,
		LevelErrorDB: nan, OffsetErrorUS: nan, Dose: nan}
}

func byName(chains []Chain) map[string]Chain {
	m := map[string]Chain{}
	for _, c := range chains {
		m[c.Name] = c
	}
	return m
}
