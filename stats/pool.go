package stats

import (
	"fmt"
	"math"

	"heardiff/stats/warning"
)

// Listener is one listener's total.
type Listener struct {
	Listener string
	Group    string
	Site     string // where the listener listened; with two or more, the sites are combined too
	Correct  int
	Trials   int
}

// ListenerScore is one listener's score among others.
type ListenerScore struct {
	Listener string `json:"listener"`
	Group    string `json:"group"`
	Score
	PHolm      float64 `json:"p_holm"` // adjusted for the number of listeners: any false finding
	Log10PHolm float64 `json:"log10_p_holm"`
	PBH        float64 `json:"p_bh"` // adjusted: proportion of false findings
	Log10PBH   float64 `json:"log10_p_bh"`
}

// GroupScore is the naive total of one group, and the fit that allows for the spread of its listeners.
type GroupScore struct {
	Group     string `json:"group"`
	Listeners int    `json:"listeners"`
	Score
	BetaBinomial BetaBinomial `json:"beta_binomial"`
}

// Pool is the combined result of several listeners.
type Pool struct {
	Total         Score           `json:"total"` // as if all trials were one listener's
	Groups        []GroupScore    `json:"groups"`
	Listeners     []ListenerScore `json:"listeners"`
	Heterogeneity Heterogeneity   `json:"heterogeneity"`
	BetaBinomial  BetaBinomial    `json:"beta_binomial"`
	// Discriminators is how the listeners' true proportions of discriminators are spread, none below chance.
	Discriminators  DiscriminatorSpread `json:"discriminators_beta_binomial"`
	StoufferP       float64             `json:"stouffer_p"`
	StoufferLog10P  float64             `json:"log10_stouffer_p"`
	FisherP         float64             `json:"fisher_p"`
	FisherLog10P    float64             `json:"log10_fisher_p"`
	MaximumP        float64             `json:"maximum_p"` // at least one listener hears it: the best of them against chance
	MaximumLog10P   float64             `json:"log10_maximum_p"`
	GroupDifference *GroupDifference    `json:"group_difference"` // nil with fewer than two groups
	MetaAnalysis    *SiteAnalysis       `json:"meta_analysis"`    // nil with fewer than two sites
	Differ          bool                `json:"listeners_differ"` // by more than chance, at α: do not read the total's p alone then
	Says            string              `json:"says"`             // the result in a sentence
	warning.Warnings
}

// SetVerdict replaces the pool's own statement about who hears it by the verdict of the study to which it belongs.
func (p *Pool) SetVerdict(says string) {
	p.Says = says
	p.Drop(HeardBySome)
}

// PoolListeners pools listeners; several rows of one listener are added up. It is an error if there are none, a count
// is out of range, or a listener appears in two groups or at two sites.
func PoolListeners(listeners []Listener, cfg ScoreConfig) (Pool, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return Pool{}, err
	}
	if len(listeners) == 0 {
		return Pool{}, fmt.Errorf("stats: no listeners to pool")
	}
	var p Pool
	if listeners, err = p.addUp(listeners); err != nil {
		return Pool{}, err
	}
	if err := p.scoreEach(listeners, cfg); err != nil {
		return Pool{}, err
	}
	counts := countsOf(listeners)
	t := sumCounts(counts)
	if p.Total, err = ScoreChoice(cfg.Procedure, t.Correct, t.Trials, cfg); err != nil {
		return Pool{}, err
	}
	if err := p.setGroups(listeners, cfg); err != nil {
		return Pool{}, err
	}
	p.Heterogeneity, p.BetaBinomial = TestHeterogeneity(counts), FitBetaBinomial(counts, cfg.Confidence)
	p.Discriminators = FitDiscriminators(counts, p.Total.Chance, cfg.Confidence)
	p.combine(counts, p.Total.Chance)
	if p.MetaAnalysis, err = analyseSites(listeners, cfg); err != nil {
		return Pool{}, err
	}
	p.warn(cfg)
	return p, nil
}

// addUp returns one entry for each listener, in order of first appearance.
func (p *Pool) addUp(listeners []Listener) ([]Listener, error) {
	at := make(map[string]int, len(listeners))
	one := make([]Listener, 0, len(listeners))
	for _, l := range listeners {
		if err := checkCounts(l.Correct, l.Trials); err != nil {
			return nil, fmt.Errorf("listener %q: %w", l.Listener, err)
		}
		i, known := at[l.Listener]
		if !known {
			at[l.Listener] = len(one)
			one = append(one, l)
			continue
		}
		if one[i].Group != l.Group {
			return nil, fmt.Errorf("stats: listener %q is in groups %q and %q", l.Listener, one[i].Group, l.Group)
		}
		if one[i].Site != l.Site {
			return nil, fmt.Errorf("stats: listener %q is at sites %q and %q: two people need two names", l.Listener, one[i].Site, l.Site)
		}
		one[i].Correct += l.Correct
		one[i].Trials += l.Trials
	}
	if err := checkTotals(one); err != nil {
		return nil, err
	}
	if len(one) < len(listeners) {
		p.Warn(warning.Newf(RowsAdded, "%d rows belong to %d listeners: rows of one listener were added up", len(listeners), len(one)).Of(float64(len(one)), "listeners"))
	}
	return one, nil
}

// checkTotals bounds the memory that pooling takes, which grows with the largest number of trials of a listener.
func checkTotals(listeners []Listener) error {
	for _, l := range listeners {
		if l.Trials > MaxTrials {
			return fmt.Errorf("stats: listener %q has %d trials: at most %d can be pooled", l.Listener, l.Trials, MaxTrials)
		}
	}
	return nil
}

func countsOf(listeners []Listener) []Count {
	counts := make([]Count, len(listeners))
	for i, l := range listeners {
		counts[i] = Count{l.Correct, l.Trials}
	}
	return counts
}

// scoreEach scores every listener; equal totals share one computation.
func (p *Pool) scoreEach(listeners []Listener, cfg ScoreConfig) error {
	known := map[Count]Score{}
	ln := make([]float64, len(listeners))
	p.Listeners = make([]ListenerScore, len(listeners))
	for i, l := range listeners {
		s, ok := known[Count{l.Correct, l.Trials}]
		if !ok {
			var err error
			if s, err = ScoreChoice(cfg.Procedure, l.Correct, l.Trials, cfg); err != nil {
				return fmt.Errorf("listener %q: %w", l.Listener, err)
			}
			known[Count{l.Correct, l.Trials}] = s
		}
		p.Listeners[i] = ListenerScore{Listener: l.Listener, Group: l.Group, Score: s}
		ln[i] = lnBinomialUpper(l.Correct, l.Trials, s.Chance)
	}
	holm, bh := Holm(ln), BenjaminiHochberg(ln)
	for i := range p.Listeners {
		l := &p.Listeners[i]
		l.PHolm, l.Log10PHolm = math.Exp(holm[i]), log10Of(holm[i])
		l.PBH, l.Log10PBH = math.Exp(bh[i]), log10Of(bh[i])
	}
	return nil
}

func (p *Pool) setGroups(listeners []Listener, cfg ScoreConfig) error {
	var names []string
	members := map[string][]Count{}
	for _, l := range listeners {
		if _, known := members[l.Group]; !known {
			names = append(names, l.Group)
		}
		members[l.Group] = append(members[l.Group], Count{l.Correct, l.Trials})
	}
	for _, name := range names {
		t := sumCounts(members[name])
		s, err := ScoreChoice(cfg.Procedure, t.Correct, t.Trials, cfg)
		if err != nil {
			return err
		}
		p.Groups = append(p.Groups, GroupScore{Group: name, Listeners: len(members[name]), Score: s,
			BetaBinomial: FitBetaBinomial(members[name], cfg.Confidence)})
	}
	if len(names) < 2 {
		return nil
	}
	d := CompareGroups(members[names[0]], members[names[1]], cfg.Confidence)
	d.A, d.B = names[0], names[1]
	p.GroupDifference = &d
	if len(names) > 2 {
		p.Warn(warning.Newf(GroupsLeftOut, "%d groups: only the first two, %q and %q, are compared", len(names), names[0], names[1]).Of(float64(len(names)), "groups"))
	}
	return nil
}

func (p *Pool) combine(counts []Count, chance float64) {
	ln, z, weight := make([]float64, len(counts)), make([]float64, len(counts)), make([]float64, len(counts))
	known := map[Count]float64{}
	for i, c := range counts {
		if _, ok := known[c]; !ok {
			b, _ := BinomialTest(c.Correct, c.Trials, chance) // the counts were checked when each listener was scored
			known[c] = b.midZ()
		}
		ln[i], z[i], weight[i] = lnBinomialUpper(c.Correct, c.Trials, chance), known[c], math.Sqrt(float64(c.Trials))
	}
	stouffer, fisher, most := Stouffer(z, weight), Fisher(ln), lnMaximum(counts, ln, chance)
	p.StoufferP, p.StoufferLog10P = math.Exp(stouffer), log10Of(stouffer)
	p.FisherP, p.FisherLog10P = math.Exp(fisher), log10Of(fisher)
	p.MaximumP, p.MaximumLog10P = math.Exp(most), log10Of(most)
}

// lnTinySum is the logarithm below which 1 − Π(1 − t) equals Σt to fifteen digits; Σt does not underflow there.
const lnTinySum = -30

// lnMaximum returns ln of the probability that any of the listeners, all guessing, has a p as small as the smallest
// observed. It uses each listener's own discrete p-values, so it is exact and never larger than Bonferroni's.
func lnMaximum(counts []Count, ln []float64, chance float64) float64 {
	best := 0.0
	for _, l := range ln {
		best = math.Min(best, l)
	}
	known, none, sum := map[int]float64{}, 0.0, math.Inf(-1)
	for _, c := range counts {
		tail, ok := known[c.Trials]
		if !ok {
			tail = math.Inf(-1)
			k := firstCount(0, c.Trials, func(k int) bool { return lnBinomialUpper(k, c.Trials, chance) <= best+reachSlack })
			if k <= c.Trials {
				tail = lnBinomialUpper(k, c.Trials, chance)
			}
			known[c.Trials] = tail
		}
		none += math.Log1p(-math.Exp(tail))
		sum = lnAdd(sum, tail)
	}
	if sum < lnTinySum {
		return sum
	}
	return math.Min(0, ln1mExp(none))
}

// warn adds what the numbers cannot tell, and says who hears it.
func (p *Pool) warn(cfg ScoreConfig) {
	h := p.Heterogeneity
	p.Differ = h.Log10P <= math.Log10(cfg.Alpha) || h.TaroneLP <= math.Log10(cfg.Alpha)
	if p.Differ {
		p.Warn(warning.Newf(ListenersDiffer, "listeners differ more than chance (χ² %.2f, df %d, p %.2g; Tarone's Z %.2f): the pooled p of %.2g is exact only against 'none of them hears it', and overstates what is known about the mean over listeners; read each listener and the beta-binomial interval",
			h.Chi2, h.DF, h.P, h.Tarone, p.Total.P).Of(h.P, ""))
	}
	hearing, wrong := p.standOut(cfg.Alpha)
	if hearing > 0 && !p.Total.Reached {
		p.Warn(warning.Newf(HeardBySome, "the total does not reach α = %g, but %d of %d listeners do after Holm's correction", cfg.Alpha, hearing, len(p.Listeners)).Of(float64(hearing), "listeners"))
	}
	if wrong > 0 {
		p.Warn(warning.Newf(ListenersWrong, "%d of %d listeners are reliably wrong: look for exchanged answers", wrong, len(p.Listeners)).Of(float64(wrong), "listeners"))
	}
	if d := p.GroupDifference; d != nil && d.Cut {
		p.Warn(warning.Newf(DifferenceCut, "the interval of the group difference reached beyond ±1, where no difference of proportions can be, and is cut there: so few listeners hardly bound it"))
	}
	p.Says = p.sentence(hearing)
}

// standOut counts the listeners who hear it after Holm's correction, and those reliably wrong after Bonferroni's.
func (p *Pool) standOut(alpha float64) (hearing, wrong int) {
	for _, l := range p.Listeners {
		if l.Log10PHolm <= math.Log10(alpha) {
			hearing++
		}
		if l.Log10PBelow+math.Log10(float64(len(p.Listeners))) <= math.Log10(alpha/2) {
			wrong++
		}
	}
	return hearing, wrong
}

// sentence states the result; it never gives the total's p alone where listeners differ.
func (p *Pool) sentence(hearing int) string {
	n, t := len(p.Listeners), p.Total
	if n == 1 {
		return fmt.Sprintf("One listener, %d of %d right (one-sided p %.2g).", t.Correct, t.Trials, t.P)
	}
	each := fmt.Sprintf("%d of %d hear it after Holm's correction, and that at least one does has p %.2g", hearing, n, p.MaximumP)
	if !p.Differ {
		return fmt.Sprintf("The %d listeners differ no more than chance explains: %d of %d right together (one-sided p %.2g); %s.", n, t.Correct, t.Trials, t.P, each)
	}
	where := "the mean over listeners is not bounded by these data"
	if b := p.BetaBinomial; b.Interval[0] > 0 && b.Interval[1] < 1 {
		where = fmt.Sprintf("the mean over listeners lies between %.2f and %.2f, where %.2f is guessing", b.Interval[0], b.Interval[1], t.Chance)
	}
	return fmt.Sprintf("The %d listeners differ more than chance explains, so they are not one listener: p %.2g is exact only against 'none of them hears it', and overstates what is known about their mean; %s; %s.", n, t.P, where, each)
}
