package link_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

var full = flag.Bool("full", false, "4000 simulated studies a case instead of 120: some minutes")

// bench is an invented study that is run by chance: a listener's proportion of discriminators is known[listener], of any
// comparison; 0 where it does not say.
type bench struct {
	r       *rand.Rand
	plans   []trials.Plan
	groups  []string
	known   map[string]float64
	results []link.Heard
	builder *link.Builder
}

func newBench(seed uint64, b *link.Builder) *bench {
	return &bench{builder: b, r: rand.New(rand.NewPCG(seed, 17)), known: map[string]float64{}}
}

// plan adds a plan of scored comparisons "0", "1", … of n trials each, with so many negative controls.
func (b *bench) plan(id string, comparisons []string, n, negative int, mend func(*trials.Plan)) trials.Plan {
	p := trials.Plan{ID: id, Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3}
	for _, c := range comparisons {
		p.Comparisons = append(p.Comparisons, trials.Comparison{Name: c, A: "bus", B: c, Excerpt: "strings", Trials: n})
	}
	if negative > 0 {
		p.Comparisons = append(p.Comparisons, trials.Comparison{Name: "negative control", Kind: trials.NegativeControl, Trials: negative})
	}
	if mend != nil {
		mend(&p)
	}
	b.plans = append(b.plans, p)
	return p
}

// sit lets a listener work through a plan; stop, where set, is asked after every trial whether to give up, and is told
// the score, which a listener cannot know: so the guarantee holds for those who do, too.
func (b *bench) sit(p trials.Plan, listener, group string, stop func(n, k int) bool) {
	h := link.Heard{Listener: listener, Group: group, Result: trials.Result{Session: fmt.Sprint(len(b.results)), Plan: p,
		Begun: time.Unix(int64(2*len(b.results)), 0), Ended: time.Unix(int64(2*len(b.results)+1), 0)}}
	scored, right := 0, 0
	for _, c := range p.Comparisons {
		t := trials.Tally{Comparison: c}
		truth := b.deal(p, c.Trials)
		for i := 0; i < c.Trials && h.Stopped == "" && !h.GivenUp; i++ {
			correct := b.correct(c, listener)
			b.tally(&t, p.Design, truth[i], correct)
			if c.Kind != trials.Scored {
				continue
			}
			if scored++; correct {
				right++
			}
			h.Stopped = stopOf(p, scored, right)
			h.GivenUp = stop != nil && stop(scored, right)
		}
		h.Tallies = append(h.Tallies, t)
	}
	b.results = append(b.results, h)
}

func (b *bench) deal(p trials.Plan, n int) []int {
	truth := make([]int, n)
	for i := range truth {
		truth[i] = b.r.IntN(2)
		if p.Order == trials.Balanced {
			truth[i] = i % 2
		}
	}
	return truth
}

func (b *bench) correct(c trials.Comparison, listener string) bool {
	p := 0.5
	switch c.Kind {
	case trials.Scored:
		p = (1 + b.known[listener]) / 2
	case trials.NegativeControl:
		if b.known[listener+" leaks"] > 0 {
			p = 1
		}
	}
	return b.r.Float64() < p
}

func (b *bench) tally(t *trials.Tally, d trials.Design, truth int, correct bool) {
	said := truth
	if !correct {
		said = 1 - truth
	}
	t.Answers[truth][said]++
	t.Trials++
	if correct {
		t.Correct++
	}
	if d == trials.SameDifferent {
		m := t.Answers
		t.Hits, t.Misses, t.FalseAlarms, t.CorrectRejections = m[1][1], m[1][0], m[0][1], m[0][0]
	}
}

func stopOf(p trials.Plan, scored, right int) trials.Stop {
	if p.Looks == nil {
		return ""
	}
	for i, n := range p.Looks.Trials {
		switch {
		case n != scored:
		case right >= p.Looks.Heard[i]:
			return trials.StopHeard
		case right <= p.Looks.RuledOut[i]:
			return trials.StopRuledOut
		}
	}
	return ""
}

// look returns the rows as they are now.
func (b *bench) look() []link.Row {
	got, err := b.builder.Build(link.Input{Results: b.results, Family: link.NewFamily(b.plans, b.groups)})
	if err != nil {
		panic(err)
	}
	return got.Rows
}

func (b *bench) any(v link.Verdict, kinds ...string) bool {
	for _, r := range b.look() {
		if r.Verdict == v && (len(kinds) == 0 || contains(kinds, r.Kind)) {
			return true
		}
	}
	return false
}

func contains(all []string, s string) bool {
	for _, v := range all {
		if v == s {
			return true
		}
	}
	return false
}

// everyone lets n listeners, in groups by turns, work through all plans; looks reports whether the verdict was there
// after any of them.
func (b *bench) everyone(n, groups int) {
	for i := range n {
		g := ""
		if groups > 0 {
			g = fmt.Sprint("g", i%groups)
		}
		b.groups = append(b.groups, g)
	}
	for _, p := range b.plans {
		for i, g := range b.groups {
			b.sit(p, fmt.Sprint("l", i), g, nil)
		}
	}
}

// repeat lets one listener repeat the plan until the verdict is there, at most so often.
func (b *bench) repeat(p trials.Plan, times int, stop func(n, k int) bool, v link.Verdict) bool {
	for range times {
		b.sit(p, "l0", "", stop)
		if b.any(v) {
			return true
		}
	}
	return false
}

// studies are the ways of running a study in which, before verdicts were corrected over all of it, some row said 'heard' too
// often where nothing is heard. effect is the p_d of listener l0, or of everybody where it is negative.
var studies = []struct {
	name string
	run  func(b *bench, v link.Verdict) bool
}{
	{"one listener, one plan of 42", func(b *bench, v link.Verdict) bool {
		return b.repeat(b.plan("1", []string{"0"}, 42, 0, nil), 1, nil, v)
	}},
	{"four listeners in two groups", func(b *bench, v link.Verdict) bool {
		b.plan("1", []string{"0"}, 42, 0, nil)
		b.everyone(4, 2)
		return b.any(v)
	}},
	{"20 listeners", func(b *bench, v link.Verdict) bool {
		b.plan("1", []string{"0"}, 42, 0, nil)
		b.everyone(20, 0)
		return b.any(v)
	}},
	{"20 listeners, looked at after each", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		b.groups = make([]string, 20)
		for i := range 20 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
			if b.any(v) {
				return true
			}
		}
		return false
	}},
	{"20 listeners, one planned, looked at after each", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		for i := range 20 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
			if b.any(v) {
				return true
			}
		}
		return false
	}},
	{"the demonstration's design", func(b *bench, v link.Verdict) bool {
		for i, n := range []int{40, 80, 24, 40} {
			b.plan(fmt.Sprint(i), []string{fmt.Sprint(i)}, n, 8, nil)
		}
		b.plan("4", []string{"0"}, 48, 8, func(p *trials.Plan) { p.Design = trials.SameDifferent })
		b.everyone(4, 2)
		return b.any(v)
	}},
	{"a plan of 42 repeated up to ten times", func(b *bench, v link.Verdict) bool {
		return b.repeat(b.plan("1", []string{"0"}, 42, 0, nil), 10, nil, v)
	}},
	{"sessions that look bad given up, up to ten", func(b *bench, v link.Verdict) bool {
		return b.repeat(b.plan("1", []string{"0"}, 42, 0, nil), 10, func(n, k int) bool { return n == 10 && k < 6 || n == 20 && k < 12 }, v)
	}},
	{"pairs, bad-looking sessions given up", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 48, 0, func(p *trials.Plan) { p.Design = trials.SameDifferent })
		return b.repeat(p, 6, func(n, k int) bool { return n == 10 && k < 6 }, v)
	}},
	{"balanced order repeated", func(b *bench, v link.Verdict) bool {
		return b.repeat(b.plan("1", []string{"0"}, 42, 0, func(p *trials.Plan) { p.Order = trials.Balanced }), 6, nil, v)
	}},
	{"the fresh plan that is proposed", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		for i := range 3 {
			b.sit(p, "l0", "", nil)
			rows := b.look()
			if rows[0].Verdict == v {
				return true
			}
			if n := rows[0].TrialsToSettle; n > 0 && n < 3000 {
				p = b.plan(fmt.Sprint("fresh", i), []string{"0"}, n, 0, nil)
			}
		}
		return false
	}},
	{"ten listeners, one leaks", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 8, nil)
		b.groups = make([]string, 10)
		known := b.known["l9"]
		b.known["l9"], b.known["l9 leaks"] = 1, 1
		for i := range 10 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
		}
		b.known["l9"] = known
		return b.any(v)
	}},
	{"three excerpts, sequential", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0", "0", "0"}, 40, 0, func(p *trials.Plan) {
			for i := range p.Comparisons {
				p.Comparisons[i].Name, p.Comparisons[i].Excerpt = fmt.Sprint("0 ", i), fmt.Sprint(i)
			}
			looks, err := stats.EvidenceLooks(upTo(120), 0.3, 0.0495, 0.0495)
			if err != nil {
				panic(err)
			}
			p.Looks = &looks
		})
		return b.repeat(p, 2, nil, v)
	}},
	{"three excerpts, fixed", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0", "0", "0"}, 40, 0, func(p *trials.Plan) {
			for i := range p.Comparisons {
				p.Comparisons[i].Name, p.Comparisons[i].Excerpt = fmt.Sprint("0 ", i), fmt.Sprint(i)
			}
		})
		return b.repeat(p, 2, nil, v)
	}},
	{"a sequential panel of six, looked at after each", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 60, 0, func(p *trials.Plan) {
			g, err := stats.Groups{Trials: []int{15, 30, 45, 60}, Alpha: 0.0495, RuleOut: 0.3}.Plan()
			if err != nil {
				panic(err)
			}
			p.Looks = &g.Looks
		})
		b.groups = make([]string, 6)
		for i := range 6 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
			if b.any(v) {
				return true
			}
		}
		return false
	}},
	{"comparisons added one after the other, eight", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		for i := range 8 {
			b.sit(p, "l0", "", nil)
			if b.any(v) {
				return true
			}
			made := b.plans
			p = b.plan(fmt.Sprint("later", i), []string{fmt.Sprint("later", i)}, 42, 0, nil)
			b.plans = made // made after the study had begun
		}
		return false
	}},
}

func upTo(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

func rateOf(t *testing.T, studies int, one func(seed uint64) bool) (rate, se float64) {
	t.Helper()
	n := 0
	for i := range studies {
		if one(uint64(i) + 1) {
			n++
		}
	}
	rate = float64(n) / float64(studies)
	return rate, math.Sqrt(0.05 * 0.95 / float64(studies))
}

func howMany() int {
	if *full {
		return 4000
	}
	return 120
}

// The guarantee, simulated through Build: where nobody hears anything, a study says 'heard' anywhere, ever, with
// probability at most alpha.
func TestNobodyHearsAndNoStudySaysSo(t *testing.T) {
	for _, s := range studies {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			builder := link.NewBuilder()
			rate, se := rateOf(t, howMany(), func(seed uint64) bool { return s.run(newBench(seed, builder), link.HeardIt) })
			t.Logf("'heard' in %.4f ± %.4f of studies", rate, se)
			if rate > 0.05+3*se {
				t.Errorf("'heard' in %.4f of studies, 0.05 accepted", rate)
			}
		})
	}
}
