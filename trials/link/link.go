package link

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
)

// Schema names the form of Result's JSON.
const Schema = "heardiff.link/1"

// Input is everything a study knows.
type Input struct {
	Title  string
	Chains []Chain
	// Metrics are those in which the chains are compared; nil: those that this package has words for.
	Metrics Metrics
	// Entered are the figures that somebody measured elsewhere, to be shown as such.
	Entered  []Entered
	Pairings []Pairing
	Results  []Heard
	// Family is what the study asks. Where its Alpha is 0 it is that of the plan of the first session, for one listener.
	Family Family
	// Absent names, in words, sessions that were begun and are not among the results.
	Absent []string
}

// Heard is one session that has ended.
type Heard struct {
	Listener, Group string
	Simulated       bool
	Marks           []Mark
	// Arrived is the place in the study's record at which the result became known: sessions are added up in this order, so that
	// one that is imported late comes last, whenever it was run. 0, of what is older than the record, comes first.
	Arrived int
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
	Family    Said      `json:"family"`
	Rows      []Row     `json:"rows"`
	Trends    []Trend   `json:"trends"`
	Entered   []Entered `json:"entered"`
	Ranking   []Ranked  `json:"ranking"`
	Cheapest  *Cheapest `json:"cheapest"`
	// Thresholds are those of the study's threshold runs; Margins set chains against the lowest of them, Predictions what they say of
	// each pair beside its verdict. Published are thresholds of the literature, where there are any of jitter to set beside them.
	Thresholds  []Threshold  `json:"thresholds"`
	Margins     []Margin     `json:"threshold_margins"`
	Predictions []Prediction `json:"threshold_predictions"`
	Published   []Published  `json:"published_thresholds"`
	Warnings    []string     `json:"warnings"`
	// Metrics are the input's, with what they are called, and Asked is its family.
	Metrics Metrics `json:"-"`
	Asked   Family  `json:"-"`
	// Questions are what the study's risk is shared among: rows point to them.
	Questions []QuestionShare `json:"-"`
}

// QuestionShare is a question's part of the risk of a study, see stats.Question.
type QuestionShare struct {
	Share    float64 `json:"share"`
	Planned  bool    `json:"planned"`
	Complete bool    `json:"complete"`
}

// ClaimShare is a row's part of the risk of its question, see stats.Claim. Share is 0 for the sum of a study of one listener,
// which is that listener's claim.
type ClaimShare struct {
	Question int     `json:"question"` // its index among the questions
	Share    float64 `json:"share"`
	Planned  bool    `json:"planned"`
	// Panel is how many listeners the plan foresaw for a sum, 0 where none.
	Panel int `json:"panel"`
	// Counted marks a listener who is added up with others.
	Counted bool `json:"counted"`
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
	// PStudy is p corrected over all that the study asks, over repeats and looks: it alone decides. Score's p is uncorrected.
	PStudy      float64 `json:"p_study"`
	Log10PStudy float64 `json:"log10_p_study"`
	// PHolm is PStudy under its earlier name, for scripts that read it.
	PHolm      float64 `json:"p_holm"`
	Log10PHolm float64 `json:"log10_p_holm"`
	// HeardBy, of a sum, says how many of its listeners hear it by themselves.
	HeardBy *HeardBy `json:"heard_by"`
	// LeftOut is the number of sessions that are in no sum, for a control said that they are void.
	LeftOut int `json:"sessions_left_out"`
	// Sequential marks rows of plans that may stop early: p of a fixed number of trials is not valid for them.
	Sequential bool       `json:"sequential"`
	UpperPD    float64    `json:"p_d_upper"` // one-sided bound at the study's level, valid over repeats and looks
	Positive   Control    `json:"positive_control"`
	Negative   Control    `json:"negative_control"`
	Measured   Measured   `json:"measured"`
	Confounds  []Confound `json:"confounds"`
	Masked     []string   `json:"masked_by_replay"`
	Verdict    Verdict    `json:"verdict"`
	Reason     string     `json:"reason"`
	// TrialsToSettle is the size of a fresh plan, of a listener, with a power of 0.8 both to find and to rule out the
	// smallest effect with the risk that is left; 0 where the row is decided, or no plan in reach does.
	TrialsToSettle int `json:"trials_to_settle"`
	// Parts are the sessions that the row adds up, and of each the comparisons. Balanced marks a row of which some plan deals
	// each assignment equally often.
	Parts    []Part     `json:"-"`
	Balanced bool       `json:"-"`
	Claim    ClaimShare `json:"-"`

	asks  question
	masks []mask // what Masked says
	// sound counts the sittings that are not void: trends and curves are drawn from these.
	sound stats.Count
}

// Part is what one session adds to a row: its answers to some of the comparisons of its plan, by their names.
type Part struct {
	Session     string
	Comparisons []string
}

// HeardBy counts the listeners of a sum who hear it by themselves, of those whose sessions are not void.
type HeardBy struct {
	Count int `json:"count"`
	Of    int `json:"of"`
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

	asked []stats.Guesses // the trials, by a guesser's chance in them
}

// tallied is a row while it is counted.
type tallied struct {
	Row
	*evidence
	pairs     stats.Pairs
	answers   stats.Pairs // of designs of two answers, what was said against what was true
	sittings  []sitting
	listeners map[string]bool
	sessions  map[string]bool
	heard     []Heard
	alpha     float64
	// planned is how many listeners the plan foresaw, 0 where none: then their sum has no planned test.
	planned int
	// claimShare is the row's share of its comparison's risk, foreseen where it was planned.
	claimShare    float64
	claimForeseen bool
	// leak is the negative control of a listener who heard what was not there.
	leak *Control
}

// Build links results and figures. It is an error if a session's counts contradict themselves.
func Build(in Input) (Result, error) { return NewBuilder().Build(in) }

// Builder builds links one after the other, and keeps what it computed from the same few numbers. It is not safe for
// concurrent use.
type Builder struct{ memory }

// NewBuilder returns a Builder that has computed nothing yet.
func NewBuilder() *Builder { return &Builder{newMemory()} }

// Build is the function Build.
func (b *Builder) Build(in Input) (Result, error) {
	if in.Family.Alpha == 0 {
		in.Family = familyOf(in.Results)
	}
	if in.Metrics == nil {
		in.Metrics, _ = vocabulary()
	}
	m := b.memory
	all, leaking := gather(in.Results, in.Family, m)
	rows := rowsOf(all, leaking, VoidSessions(in.Results, in.Family), in.Family)
	for _, r := range rows {
		if err := score(r, m); err != nil {
			return Result{}, fmt.Errorf("link: %s, %s: %w", r.Comparison, r.Listener, err)
		}
	}
	out := Result{Schema: Schema, Title: in.Title, Family: in.Family.Said(), Asked: in.Family, Entered: in.Entered, Metrics: in.Metrics}
	out.Questions = share(rows, in.Family, m)
	chains, floor := byName(in.Chains), setUp(in.Chains)
	for _, r := range rows {
		pairing := find(in.Pairings, r)
		r.Treatment, r.Dose, r.DoseMetric = pairing.Treatment, pairing.Dose, pairing.DoseMetric
		r.Measured = measured(in.Metrics, chains[r.A], chains[r.B], floor, pairing)
		r.Confounds = confounds(r, pairing)
		r.masks = append(masked(r.Measured, in.Chains), maskedDose(pairing, in.Chains)...)
		for _, own := range r.masks {
			r.Masked = append(r.Masked, own.says)
		}
		decide(r, m)
		out.Simulated, out.Silent = out.Simulated || r.Simulated, out.Silent || r.Silent
	}
	countHearing(rows)
	for _, r := range rows {
		r.PHolm, r.Log10PHolm = r.PStudy, r.Log10PStudy
		out.Rows = append(out.Rows, r.Row)
	}
	climb(out.Rows)
	out.Trends = append(trends(out.Rows, in.Metrics), doseTrends(out.Rows)...)
	out.Ranking = ranking(in.Chains, out.Rows)
	out.Cheapest = cheapest(out.Ranking, out.Rows)
	if err := out.against(in); err != nil {
		return Result{}, err
	}
	out.Warnings = warnings(in, out)
	return out, nil
}

// Of returns the rows of the listener of a session about what it asked, as they are over the whole study.
func (r Result) Of(listener string, session trials.Result) []Row {
	var rows []Row
	for _, a := range asked(planOf(Heard{Result: session})) {
		for _, row := range r.Rows {
			if row.Kind == "listener" && row.Listener == listener && row.Silent == session.Silent && row.asks == a.question {
				rows = append(rows, row)
			}
		}
	}
	return rows
}

// familyOf is the family of results without one: of the plan of the first session.
func familyOf(results []Heard) Family {
	if len(results) == 0 {
		return Family{Alpha: 0.05, Listeners: 1, Comparisons: 1}
	}
	first := results[0]
	for _, h := range results {
		if h.Begun.Before(first.Begun) {
			first = h
		}
	}
	return NewFamily([]trials.Plan{planOf(first)}, nil)
}

// planOf is the plan of a session, with the comparisons that were tallied where it names none.
func planOf(h Heard) trials.Plan {
	p := h.Plan
	if p.Comparisons == nil {
		for _, t := range h.Tallies {
			p.Comparisons = append(p.Comparisons, t.Comparison)
		}
	}
	return p
}

// rowsOf returns the rows of each question: every listener, every group where there are two or more, and all. Listeners
// in whom something leaks, and sessions whose positive control was missed, are in no sum.
func rowsOf(all []*evidence, leaking map[string]Control, void map[string]string, f Family) []*tallied {
	var rows []*tallied
	groups := map[string]bool{}
	for _, e := range all {
		for _, g := range e.groups {
			groups[g] = true
		}
		if e.ungrouped {
			groups[""] = true
		}
	}
	parts := f.shares()
	for _, e := range all {
		at := len(rows)
		index := map[string]*tallied{}
		for i, who := range slices.Concat(e.listeners, e.others) {
			r := e.row("listener", who.id)
			if i >= len(e.listeners) {
				i += max(0, f.Listeners-len(e.listeners)) // who is counted with nobody takes no share of who was planned
			}
			r.claimShare, r.claimForeseen = parts.ofListener(i)
			if c, ok := leaking[who.id]; ok {
				r.leak = &c
			}
			index[who.key()], rows = r, append(rows, r)
		}
		sums := map[string]*tallied{}
		if len(groups) > 1 {
			rows = append(rows, e.groupRows(sums, f, parts)...)
		}
		everybody := e.row("all", Everybody)
		everybody.claimShare, everybody.claimForeseen, everybody.planned = parts.all, f.Listeners > 1, f.Listeners
		if len(e.listeners) > 0 {
			rows = append(rows, everybody)
		}
		for _, s := range e.sittings {
			index[s.who().key()].add(s)
			if s.counted {
				everybody.sum(s, void)
				if g := sums[s.heard.Group]; g != nil {
					g.sum(s, void)
				}
			}
		}
		if len(e.listeners) == 1 && f.Listeners == 1 {
			everybody.claimShare = 0 // they are the listener
		}
		sortRows(rows[at:])
	}
	sort.SliceStable(rows, func(i, k int) bool { return rows[i].Comparison < rows[k].Comparison })
	return rows
}

// sum adds a sitting to a row of several listeners, unless it is void.
func (r *tallied) sum(s sitting, void map[string]string) {
	if void[s.heard.Session] != "" {
		r.LeftOut++
		return
	}
	r.add(s)
}

func (e *evidence) groupRows(index map[string]*tallied, f Family, parts shares) []*tallied {
	var rows []*tallied
	others := 0
	for _, g := range e.groups {
		n := f.Groups[g]
		r := e.row("group", g)
		r.claimShare, r.claimForeseen, r.planned = parts.ofGroup(n > 0, others), n > 0, n
		if n == 0 {
			others++
		}
		index[g], rows = r, append(rows, r)
	}
	return rows
}

// sortRows puts listeners first, then groups, then all.
func sortRows(rows []*tallied) {
	rank := map[string]int{"listener": 0, "group": 1, "all": 2}
	sort.SliceStable(rows, func(i, k int) bool {
		a, b := rows[i], rows[k]
		if rank[a.Kind] != rank[b.Kind] {
			return rank[a.Kind] < rank[b.Kind]
		}
		return a.Listener+a.Group < b.Listener+b.Group
	})
}

func (e *evidence) row(kind, who string) *tallied {
	r := &tallied{Row: Row{asks: e.question}, evidence: e, listeners: map[string]bool{}, sessions: map[string]bool{}}
	r.Comparison, r.A, r.B, r.Excerpt, r.Kind = e.name, e.a, e.b, e.excerpt, kind
	r.Smallest = e.smallest
	r.Listener = who
	if kind == "group" {
		r.Listener, r.Group = Everybody, who
	}
	return r
}

func (r *tallied) add(s sitting) {
	h := s.heard
	r.sittings, r.Parts = append(r.sittings, s), append(r.Parts, Part{h.Session, s.parts})
	r.Trials, r.Correct = r.Trials+s.Trials, r.Correct+s.Correct
	if !s.inattentive && h.voidMark() == "" {
		r.sound.Correct, r.sound.Trials = r.sound.Correct+s.Correct, r.sound.Trials+s.Trials
	}
	r.pairs, r.answers = plus(r.pairs, s.pairs), plus(r.answers, s.answers)
	r.Simulated, r.Silent = r.Simulated || h.Simulated, r.Silent || h.Silent
	for _, d := range h.Devices {
		if !slices.Contains(r.Devices, d) {
			r.Devices = append(r.Devices, d)
		}
	}
	r.listeners[h.Listener] = true
	r.Listeners = len(r.listeners)
	if r.Kind == "listener" {
		r.Group = h.Group
	}
	r.Balanced = r.Balanced || h.Plan.Order == trials.Balanced
	r.Sequential = r.Sequential || h.Plan.Sequential()
	if r.sessions[h.Session] {
		return
	}
	r.sessions[h.Session] = true
	r.Sessions++
	r.heard = append(r.heard, h)
	r.Positive, r.Negative = r.Positive.plus(h, trials.PositiveControl), r.Negative.plus(h, trials.NegativeControl)
}

// score fills what the counts say by themselves, uncorrected: it decides nothing.
func score(r *tallied, m memory) error {
	if r.Trials == 0 {
		r.Score = noScore(r.design)
		return nil
	}
	cfg := stats.ScoreConfig{Alpha: r.alpha}
	if r.Sequential {
		cfg.Plan = stats.SequentialPlan
	}
	if r.design.ByRates() && bothKinds(r.pairs) {
		s, err := m.duplicatePairs(r.pairs, cfg)
		r.Score = s.Score
		r.Pairs = &PairCounts{r.pairs, s.HitRate, s.FalseAlarmRate}
		return err
	}
	s, err := m.score(r.design, r.Correct, r.Trials, cfg)
	if err != nil {
		return err
	}
	r.Score = s
	switch {
	case r.design.ByRates(): // only for the interval: pairs of one kind test nothing
		r.P, r.Log10P = math.NaN(), math.NaN()
	case r.Balanced && bothKinds(r.answers):
		ln := stats.ConditionalP([]stats.Pairs{r.answers})
		r.P, r.Log10P = math.Exp(ln), ln/math.Ln10
	}
	return nil
}

// noScore is the score of a row of which every session was left out.
func noScore(d trials.Design) stats.Score {
	nan := math.NaN()
	none := [2]float64{nan, nan}
	return stats.Score{Design: d.String(), Chance: d.Chance(), Proportion: nan, P: nan, Log10P: nan, MidP: nan, Log10MidP: nan, PTwoSided: nan, Log10PTwo: nan,
		PBelow: nan, Log10PBelow: nan, ClopperPearson: none, Wilson: none, Jeffreys: none, MidPInterval: none,
		DPrime: nan, DPrimeIndependent: nan, DPrimeDifferencing: nan, DPrimeInterval: none, DPrimeDifferencingInterval: none, DPrimeCorrected: nan,
		Discriminators: nan, DiscriminatorsInterval: none, DiscriminatorsUpper: nan, BayesFactor: nan, Log10BayesFactor: nan,
		EValue: nan, Log10EValue: nan}
}

// find returns the pairing of a row; of a row over several excerpts the largest of each difference.
func find(pairings []Pairing, r *tallied) Pairing {
	nan := math.NaN()
	found := Pairing{A: r.A, B: r.B, Excerpt: r.Excerpt, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan,
		LevelErrorDB: nan, OffsetErrorUS: nan, Dose: nan}
	first := true
	for _, p := range pairings {
		if !holds(strings.Split(r.Excerpt, between), p.Excerpt) || p.AudioB != r.audioB || !(p.A == r.A && p.B == r.B || p.A == r.B && p.B == r.A) {
			continue
		}
		if first {
			found, first = p, false
			continue
		}
		found.worsen(p)
	}
	return found
}

// worsen takes over what is larger in another pairing of the same chains.
func (p *Pairing) worsen(q Pairing) {
	worse := func(a *float64, b float64) {
		if math.IsNaN(*a) || math.Abs(b) > math.Abs(*a) {
			*a = b
		}
	}
	p.NullDB = larger(p.NullDB, q.NullDB)
	worse(&p.ResponseMaxDB, q.ResponseMaxDB)
	worse(&p.LoudnessDifferenceLU, q.LoudnessDifferenceLU)
	worse(&p.LevelErrorDB, q.LevelErrorDB)
	worse(&p.OffsetErrorUS, q.OffsetErrorUS)
	p.Identical = p.Identical && q.Identical
	if p.BitPerfect == nil || q.BitPerfect != nil && !*q.BitPerfect {
		p.BitPerfect = q.BitPerfect
	}
}

func byName(chains []Chain) map[string]Chain {
	m := map[string]Chain{}
	for _, c := range chains {
		m[c.Name] = c
	}
	return m
}
