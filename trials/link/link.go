package link

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"heardiff/stats"
	"heardiff/stats/warning"
	"heardiff/trials"
)

// Schema names the format of Result's JSON.
const Schema = "heardiff.link/1"

// Input is all data of a study.
type Input struct {
	Title  string
	Chains []Chain
	// Metrics are what the chains are compared in; nil: the metrics of this package.
	Metrics Metrics
	// Entered are figures that were measured elsewhere, to be shown as such.
	Entered  []Entered
	Pairings []Pairing
	Results  []Heard
	// Family is what the study asks. If its Alpha is 0, the plan of the first session defines it, for one listener.
	Family Family
	// Absent describes sessions that were begun and are not among the results.
	Absent []warning.Warning
}

// Heard is one ended session.
type Heard struct {
	Listener, Group string
	Simulated       bool
	Marks           []Mark
	// Arrived is the position in the study's record at which the result became known. Sessions are judged in this order, so that
	// one that is imported late comes last, whenever it was run. 0, for sessions older than the record, comes first.
	Arrived int
	trials.Result
}

// Pairing holds the findings of preparing and comparing the two presentations of a comparison. NaN: not measured.
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
	// Treatment says what was added to A to make B, Dose how much of it, and DoseMetric the metric of the dose; "", NaN and ""
	// where B is an unaltered chain. AudioB identifies the doses of one excerpt.
	Treatment  string
	Dose       float64
	DoseMetric Metric
	AudioB     string
}

// Result is what Build returns.
type Result struct {
	Schema    string        `json:"schema"`
	Title     string        `json:"title"`
	Simulated bool          `json:"simulated"` // some answers come from a computation, not from people
	Silent    bool          `json:"silent"`    // some were given where no device sounded
	Family    FamilySummary `json:"family"`
	Rows      []Row         `json:"rows"`
	Trends    []Trend       `json:"trends"`
	Entered   []Entered     `json:"entered"`
	Ranking   []Ranked      `json:"ranking"`
	Cheapest  *Cheapest     `json:"cheapest"`
	// Thresholds come from the study's threshold runs. Margins compare chains with the lowest of them, Predictions compare what
	// they predict for each pair with its verdict. Published are thresholds from the literature, if there are any for jitter here.
	// ThresholdDifferences compare the ladders with one another.
	Thresholds           []Threshold           `json:"thresholds"`
	ThresholdDifferences []ThresholdDifference `json:"threshold_differences"`
	Margins              []Margin              `json:"threshold_margins"`
	Predictions          []Prediction          `json:"threshold_predictions"`
	Published            []Published           `json:"published_thresholds"`
	warning.Warnings
	// Metrics are the metrics of the input, with their names, and Asked is its family.
	Metrics Metrics `json:"-"`
	Asked   Family  `json:"-"`
	// Questions are what shares the study's risk: rows refer to them by index.
	Questions []QuestionShare `json:"-"`
}

// QuestionShare is a question's share of the risk of a study, see stats.Question.
type QuestionShare struct {
	Share    float64 `json:"share"`
	Planned  bool    `json:"planned"`
	Complete bool    `json:"complete"`
}

// ClaimShare is a row's share of the risk of its question, see stats.Claim. Share is 0 for the sum in a study of one listener,
// whose claim is the listener's.
type ClaimShare struct {
	Question int     `json:"question"` // its index among the questions
	Share    float64 `json:"share"`
	Planned  bool    `json:"planned"`
	// Panel is the planned number of listeners of a sum, 0 for none.
	Panel int `json:"panel"`
	// Counted marks a listener who is included in the sums.
	Counted bool `json:"counted"`
}

// Everybody is the listener of a row for all listeners, or for all of a group.
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
	Devices    []string    `json:"devices"` // all outputs of its sessions
	Treatment  string      `json:"treatment"`
	Dose       float64     `json:"dose"`
	DoseMetric Metric      `json:"dose_metric"`
	Smallest   float64     `json:"smallest_effect"`
	Pairs      *PairCounts `json:"pairs"`
	stats.Score
	// PStudy is p corrected over all questions of the study, over repeats and looks: it alone decides. Score's p is uncorrected.
	PStudy      float64 `json:"p_study"`
	Log10PStudy float64 `json:"log10_p_study"`
	// PHolm is PStudy under its earlier name, for scripts that read it.
	PHolm      float64 `json:"p_holm"`
	Log10PHolm float64 `json:"log10_p_holm"`
	// HeardBy says, for a sum, how many of its listeners hear it by themselves.
	HeardBy *HeardBy `json:"heard_by"`
	// LeftOut is the number of sessions that are excluded from the sum because a control or a mark makes them void.
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
	// TrialsToSettle is the size of a further plan for a listener with a power of 0.8 both to find and to rule out the smallest
	// effect at the remaining risk; 0 where the row is decided, or no feasible plan has that power.
	TrialsToSettle int `json:"trials_to_settle"`
	// Parts are the sessions of the row, each with its comparisons. Balanced marks a row with a plan that deals each assignment
	// equally often.
	Parts    []Part     `json:"-"`
	Balanced bool       `json:"-"`
	Claim    ClaimShare `json:"-"`
	// Hidden marks a row that its counts alone would rule out, but for a replay chain whose own jitter and noise exceed what is
	// tested. WrongWay marks one that was told apart and named the wrong way round. Both are undecided.
	Hidden   bool `json:"-"`
	WrongWay bool `json:"-"`

	asks  question
	masks []mask // as in Masked
	// valid counts the sittings that are not void: trends and curves use these.
	valid stats.Count
}

// Part is the contribution of one session to a row: some of the comparisons of its plan, by their names.
type Part struct {
	Session     string
	Comparisons []string
}

// HeardBy counts the listeners of a sum who hear it by themselves, among those whose sessions are not void.
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

// Control counts the trials with a known answer.
type Control struct {
	Trials  int `json:"trials"`
	Correct int `json:"correct"`

	asked []stats.Guesses // the trials, by chance level
}

// tallied is a row under construction.
type tallied struct {
	Row
	*evidence
	pairs     stats.Pairs
	answers   stats.Pairs // for designs of two answers: counts by what was right
	sittings  []sitting
	listeners map[string]bool
	sessions  map[string]bool
	heard     []Heard
	alpha     float64
	// planned is the planned number of listeners; 0: none, and their sum has no planned test.
	planned int
	// claimShare is the row's share of its comparison's risk; claimForeseen says that it was planned.
	claimShare    float64
	claimForeseen bool
	// leak is the negative control of a listener who 'heard' a difference where there was none.
	leak *Control
}

// Build links results and figures. It is an error if a session's counts contradict themselves.
func Build(in Input) (Result, error) { return NewBuilder().Build(in) }

// Builder is Build for several inputs one after the other, with memoised results. It is not safe for concurrent use.
type Builder struct{ memo }

// NewBuilder returns a Builder with nothing memoised.
func NewBuilder() *Builder { return &Builder{newMemo()} }

// Build is the function Build.
func (b *Builder) Build(in Input) (Result, error) {
	if in.Family.Alpha == 0 {
		in.Family = familyOf(in.Results)
	}
	if in.Metrics == nil {
		in.Metrics, _ = vocabulary()
	}
	m := b.memo
	all, leaking := gather(in.Results, in.Family, m)
	rows := rowsOf(all, leaking, VoidSessions(in.Results, in.Family), in.Family)
	for _, r := range rows {
		if err := score(r, m); err != nil {
			return Result{}, fmt.Errorf("link: %s, %s: %w", r.Comparison, r.Listener, err)
		}
	}
	out := Result{Schema: Schema, Title: in.Title, Family: in.Family.Summary(), Asked: in.Family, Entered: in.Entered, Metrics: in.Metrics}
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
	orderLadders(out.Rows)
	out.Trends = append(trends(out.Rows, in.Metrics), doseTrends(out.Rows)...)
	out.Ranking = ranking(in.Chains, out.Rows)
	out.Cheapest = cheapest(out.Ranking, out.Rows)
	if err := out.addThresholds(in); err != nil {
		return Result{}, err
	}
	out.warn(in)
	return out, nil
}

// Of returns the listener's rows for the questions of a session, as judged over the study.
func (r Result) Of(listener string, session trials.Result) []Row {
	var rows []Row
	for _, a := range questionsOf(planOf(Heard{Result: session})) {
		for _, row := range r.Rows {
			if row.Kind == "listener" && row.Listener == listener && row.Silent == session.Silent && row.asks == a.question {
				rows = append(rows, row)
			}
		}
	}
	return rows
}

// familyOf is the family of results without one: it follows from the plan of the first session.
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

// planOf is the plan of a session, with the tallied comparisons if it lists none.
func planOf(h Heard) trials.Plan {
	p := h.Plan
	if p.Comparisons == nil {
		for _, t := range h.Tallies {
			p.Comparisons = append(p.Comparisons, t.Comparison)
		}
	}
	return p
}

// rowsOf returns the rows of each question: every listener, every group if there are two or more, and all. Listeners with a
// leak, and sessions whose positive control was missed, are excluded from the sums.
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
				i += max(0, f.Listeners-len(e.listeners)) // who is in no sum takes no planned listener's share
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
			everybody.claimShare = 0 // all is the listener
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
		r.valid.Correct, r.valid.Trials = r.valid.Correct+s.Correct, r.valid.Trials+s.Trials
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

// score fills in the uncorrected score of the counts. It decides nothing.
func score(r *tallied, m memo) error {
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
	case r.design.ByRates(): // only the interval is used: pairs of one kind have no test
		r.P, r.Log10P = math.NaN(), math.NaN()
	case r.Balanced && bothKinds(r.answers):
		ln := stats.ConditionalP([]stats.Pairs{r.answers})
		r.P, r.Log10P = math.Exp(ln), ln/math.Ln10
	}
	return nil
}

// noScore is the score of a row without any valid session.
func noScore(d trials.Design) stats.Score {
	nan := math.NaN()
	none := [2]float64{nan, nan}
	return stats.Score{Design: d.String(), Chance: d.Chance(), Proportion: nan, P: nan, Log10P: nan, MidP: nan, Log10MidP: nan, PTwoSided: nan, Log10PTwo: nan,
		PBelow: nan, Log10PBelow: nan, ClopperPearson: none, Wilson: none, Jeffreys: none, MidPInterval: none,
		DPrime: nan, DPrimeIndependent: nan, DPrimeDifferencing: nan, DPrimeInterval: none, DPrimeDifferencingInterval: none, DPrimeCorrected: nan,
		Discriminators: nan, DiscriminatorsInterval: none, DiscriminatorsUpper: nan, BayesFactor: nan, Log10BayesFactor: nan,
		EValue: nan, Log10EValue: nan}
}

// find returns the pairing of a row; for a row over several excerpts, the largest of each difference.
func find(pairings []Pairing, r *tallied) Pairing {
	nan := math.NaN()
	found := Pairing{A: r.A, B: r.B, Excerpt: r.Excerpt, NullDB: nan, ResponseMaxDB: nan, LoudnessDifferenceLU: nan,
		LevelErrorDB: nan, OffsetErrorUS: nan, Dose: nan}
	first := true
	for _, p := range pairings {
		if !holds(strings.Split(r.Excerpt, NameSeparator), p.Excerpt) || p.AudioB != r.audioB || !(p.A == r.A && p.B == r.B || p.A == r.B && p.B == r.A) {
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

// worsen takes over the larger differences of another pairing of the same chains.
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
