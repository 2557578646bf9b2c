package link_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/link"
)

var (
	full        = flag.Bool("full", false, "4000 simulated studies a case: half an hour")
	studiesEach = flag.Int("studies", 120, "simulated studies a case")
)

// bench is a simulated study: a listener's proportion of discriminators is known[listener] in every comparison, 0 by default.
type bench struct {
	r       *rand.Rand
	plans   []trials.Plan
	groups  []string
	known   map[string]float64
	results []link.Heard
	builder *link.Builder
	rows    int             // the largest number of rows at any look
	said    map[string]bool // which kinds of row were ever ruled out, see note; "any" of any row at all
}

func newBench(seed uint64, b *link.Builder) *bench {
	return &bench{builder: b, r: rand.New(rand.NewPCG(seed, 17)), known: map[string]float64{}}
}

// plan adds a plan of scored comparisons "0", "1", … of n trials each, and negative controls.
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

// sit runs a plan for a listener. stop, where set, decides after every trial whether to give up, and is given the score, which
// a listener cannot know: so the guarantee is tested even for those who do.
func (b *bench) sit(p trials.Plan, listener, group string, stop func(n, k int) bool) {
	h := link.Heard{Listener: listener, Group: group, Result: trials.Result{Session: fmt.Sprint(len(b.results)), Plan: p,
		Begun: time.Unix(int64(2*len(b.results)), 0), Ended: time.Unix(int64(2*len(b.results)+1), 0)}}
	scored, right := 0, 0
	for _, c := range p.Comparisons {
		t := trials.Tally{Comparison: c, Answers: p.Design.NoAnswers()}
		truth := b.deal(p, c.Trials)
		for i := 0; i < c.Trials && h.Stopped == "" && !h.GivenUp; i++ {
			correct := b.correct(p.Design, c, listener)
			b.tally(&t, p.Design, truth[i], correct)
			if c.Kind != trials.Scored {
				continue
			}
			if scored++; correct {
				right++
			}
			h.Stopped = p.Stop(scored, right)
			h.GivenUp = stop != nil && stop(scored, right)
		}
		h.Tallies = append(h.Tallies, t)
	}
	b.results = append(b.results, h)
}

func (b *bench) deal(p trials.Plan, n int) []int {
	truth := make([]int, n)
	for i := range truth {
		truth[i] = b.r.IntN(len(p.Design.Answers()))
		if p.Order == trials.Balanced {
			truth[i] = i % 2
		}
	}
	return truth
}

func (b *bench) correct(d trials.Design, c trials.Comparison, listener string) bool {
	p := d.Chance()
	switch c.Kind {
	case trials.Scored:
		p += (1 - p) * b.known[listener]
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
		said = (truth + 1) % len(t.Answers)
		if others := len(t.Answers) - 1; others > 1 {
			said = (truth + 1 + b.r.IntN(others)) % len(t.Answers)
		}
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

// look returns the rows as they are now.
func (b *bench) look() []link.Row {
	got, err := b.builder.Build(link.Input{Results: b.results, Family: link.NewFamily(b.plans, b.groups)})
	if err != nil {
		panic(err)
	}
	b.rows = max(b.rows, len(got.Rows))
	b.note(got.Rows)
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

// everyone runs all plans for n listeners, assigned to groups in turn; looks reports whether the verdict was reached after any
// of them.
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

// inTurn lets a listener of each of the groups sit down to the plan, one after the other, until the verdict is reached.
func (b *bench) inTurn(p trials.Plan, groups []string, v link.Verdict) bool {
	for i, g := range groups {
		b.sit(p, fmt.Sprint("l", i), g, nil)
		if b.any(v) {
			return true
		}
	}
	return false
}

// repeat lets one listener repeat the plan until the verdict is reached, at most a number of times.
func (b *bench) repeat(p trials.Plan, times int, stop func(n, k int) bool, v link.Verdict) bool {
	for range times {
		b.sit(p, "l0", "", stop)
		if b.any(v) {
			return true
		}
	}
	return false
}

// demonstrate makes the plans of the demonstration.
func demonstrate(b *bench) {
	for i, n := range []int{40, 80, 24, 40} {
		b.plan(fmt.Sprint(i), []string{fmt.Sprint(i)}, n, 8, nil)
	}
	b.plan("4", []string{"0"}, 48, 8, func(p *trials.Plan) { p.Design = trials.SameDifferent })
}

// studies are ways of running a study in which uncorrected verdicts say 'heard' too often in some row where nothing is heard.
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
		return b.inTurn(p, b.groups, v)
	}},
	{"20 listeners, one planned, looked at after each", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		return b.inTurn(p, make([]string, 20), v)
	}},
	{"the demonstration's design", func(b *bench, v link.Verdict) bool {
		demonstrate(b)
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
	{"triangles, bad-looking sessions given up", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, func(p *trials.Plan) { p.Design = trials.Triangle })
		return b.repeat(p, 10, func(n, k int) bool { return n == 10 && k < 4 || n == 20 && k < 8 }, v)
	}},
	{"triangles, six listeners in two groups, looked at after each", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 8, func(p *trials.Plan) { p.Design = trials.Triangle })
		b.groups = []string{"x", "y", "x", "y", "x", "y"}
		return b.inTurn(p, b.groups, v)
	}},
	{"triangles, sequential", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 120, 0, func(p *trials.Plan) {
			p.Design = trials.Triangle
			looks, err := stats.EvidenceLooks(upTo(120), p.Design.Chance(), 0.3, 0.0495, 0.0495)
			if err != nil {
				panic(err)
			}
			p.Looks = &looks
		})
		return b.repeat(p, 2, nil, v)
	}},
	{"two intervals in balanced order, repeated", func(b *bench, v link.Verdict) bool {
		return b.repeat(b.plan("1", []string{"0"}, 42, 0, func(p *trials.Plan) { p.Design, p.Order = trials.TwoInterval, trials.Balanced }), 6, nil, v)
	}},
	{"all four designs by one listener, with negative controls", func(b *bench, v link.Verdict) bool {
		for i, d := range trials.Designs() {
			b.plan(fmt.Sprint(i), []string{"0"}, 42, 8, func(p *trials.Plan) { p.Design = d })
		}
		b.everyone(1, 0)
		return b.any(v)
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
			p.Looks = afterEach()
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
			p.Looks = afterFifteen()
		})
		b.groups = make([]string, 6)
		return b.inTurn(p, b.groups, v)
	}},
	{"three bundles of sessions run before, imported after a look", func(b *bench, v link.Verdict) bool {
		p := b.plan("1", []string{"0"}, 42, 0, nil)
		b.groups = make([]string, 4)
		for i := range 16 {
			b.sit(p, fmt.Sprint("l", i), "", nil)
			last := &b.results[i]
			last.Arrived, last.Ended = i+1, time.Unix(int64(-i), 0)
			if i%4 == 3 && b.any(v) {
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

// Boundaries, computed once for all studies: by evidence after each of 120 trials, and after each 15 of 60.
var (
	afterEach = sync.OnceValue(func() *stats.Looks {
		looks, err := stats.EvidenceLooks(upTo(120), 0.5, 0.3, 0.0495, 0.0495)
		if err != nil {
			panic(err)
		}
		return &looks
	})
	afterFifteen = sync.OnceValue(func() *stats.Looks {
		g, err := stats.Groups{Trials: []int{15, 30, 45, 60}, Alpha: 0.0495, RuleOut: 0.3}.Plan()
		if err != nil {
			panic(err)
		}
		return &g.Looks
	})
)

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
	return *studiesEach
}

// The guarantee, simulated through Build: where nobody hears anything, the probability that a study ever says 'heard'
// anywhere is at most alpha.
func TestNobodyHearsAndNoStudySaysSo(t *testing.T) {
	for _, s := range studies {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			builder := link.NewBuilder()
			rate, se := rateOf(t, howMany(), func(seed uint64) bool { return s.run(newBench(seed, builder), link.HeardIt) })
			t.Logf("%s: 'heard' in %.4f ± %.4f of studies", s.name, rate, se)
			if rate > 0.05+3*se {
				t.Errorf("'heard' in %.4f of studies, 0.05 accepted", rate)
			}
		})
	}
}

// wrong reports whether any row has the verdict wrongly.
func (b *bench) wrong(v link.Verdict, untrue func(link.Row) bool) bool {
	for _, r := range b.look() {
		if r.Verdict == v && untrue(r) {
			return true
		}
	}
	return false
}

// Where one listener hears it, the probability that another listener, or another comparison, is called 'heard' is at most
// alpha too.
func TestOneWhoHearsLendsNobodyElse(t *testing.T) {
	builder := link.NewBuilder()
	rate, se := rateOf(t, howMany(), func(seed uint64) bool {
		b := newBench(seed, builder)
		b.known["l0"] = 0.6
		b.plan("1", []string{"0"}, 42, 0, nil)
		b.everyone(6, 2)
		return b.wrong(link.HeardIt, func(r link.Row) bool {
			return r.Kind == "listener" && r.Listener != "l0" || r.Kind == "group" && r.Group == "g1"
		})
	})
	t.Logf("'heard' for those who do not, with one who does: %.4f ± %.4f", rate, se)
	if rate > 0.05+3*se {
		t.Errorf("'heard' wrongly in %.4f of studies", rate)
	}
}

// For a row whose p_d is exactly the smallest effect, the probability of a wrong 'ruled out' is at most alpha over all repeats and looks:
// here for the first listener, the first group, and all, in the first comparison. It is likelier that at least one of several rows is
// wrong; that is logged.
func TestRuledOutIsWrongAtMostAtAlpha(t *testing.T) {
	for _, s := range studies {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			builder := link.NewBuilder()
			var wrong [3]int
			some, rows := 0, 0
			n := howMany()
			for seed := range n {
				b := newBench(uint64(seed)+1, builder)
				for i := range 20 {
					b.known[fmt.Sprint("l", i)] = 0.3
				}
				b.whole(s.run)
				rows = max(rows, b.rows)
				if b.said["any"] {
					some++
				}
				for i, kind := range []string{"listener", "group", "all"} {
					if b.said[kind] {
						wrong[i]++
					}
				}
			}
			se := math.Sqrt(0.05 * 0.95 / float64(n))
			// It is likelier that at least one of many rows is wrong, up to the probability that the study states: see AnyRuledOutWrong.
			bound := 1 - math.Pow(1-0.05, float64(rows))
			t.Logf("%s: some row 'ruled out' wrongly in %.4f, at most %.4f of %d rows", s.name, float64(some)/float64(n), bound, rows)
			if over := 3 * math.Sqrt(bound*(1-bound)/float64(n)); float64(some)/float64(n) > bound+over {
				t.Errorf("%s: some row 'ruled out' wrongly in %.4f of studies, %.4f accepted", s.name, float64(some)/float64(n), bound+over)
			}
			for i, kind := range []string{"listener l0", "group g0", "all"} {
				rate := float64(wrong[i]) / float64(n)
				t.Logf("%s: %s 'ruled out' wrongly in %.4f ± %.4f", s.name, kind, rate, se)
				if rate > 0.05+3*se {
					t.Errorf("%s: 'ruled out' wrongly in %.4f of studies", kind, rate)
				}
			}
		})
	}
}

// whole runs a study to its end, and records at each look whether the first listener, the first group, or all were ruled out.
func (b *bench) whole(run func(*bench, link.Verdict) bool) {
	b.said = map[string]bool{}
	run(b, "never said")
	b.look()
}

// note records what was ruled out at a look, in the first comparison.
func (b *bench) note(rows []link.Row) {
	if b.said == nil {
		return
	}
	who := map[string]string{"listener": "l0", "group": "g0", "all": link.Everybody}
	for _, r := range rows {
		if r.Verdict != link.RuledOut {
			continue
		}
		b.said["any"] = true
		name := r.Listener
		if r.Kind == "group" {
			name = r.Group
		}
		if r.B == "0" && r.Design == b.plans[0].Design.String() && (r.Excerpt == "strings" || strings.HasPrefix(r.Excerpt, "0")) && name == who[r.Kind] {
			b.said[r.Kind] = true
		}
	}
}

// The cost of the correction: the power of the study, next to that of the uncorrected exact test of the same row.
func TestPowerThatTheStudyKeeps(t *testing.T) {
	for _, c := range []struct {
		name   string
		effect float64
		of     int // how many hear it
		run    func(b *bench)
		kind   string
		power  float64 // as measured with 4000 studies
	}{
		{"one listener, 42 trials, p_d 0.4", 0.4, 1, func(b *bench) { b.plan("1", []string{"0"}, 42, 0, nil); b.everyone(1, 0) }, "listener", 0.837},
		{"four listeners in two groups, all p_d 0.4: all", 0.4, 4, func(b *bench) { b.plan("1", []string{"0"}, 42, 0, nil); b.everyone(4, 2) }, "all", 0.999},
		{"four listeners in two groups, all p_d 0.4: one", 0.4, 4, func(b *bench) { b.plan("1", []string{"0"}, 42, 0, nil); b.everyone(4, 2) }, "listener", 0.725},
		{"20 listeners, all p_d 0.1: all", 0.1, 20, func(b *bench) { b.plan("1", []string{"0"}, 42, 0, nil); b.everyone(20, 0) }, "all", 0.818},
		{"20 listeners, one p_d 0.6: that one", 0.6, 1, func(b *bench) { b.plan("1", []string{"0"}, 42, 0, nil); b.everyone(20, 0) }, "listener", 0.804},
		{"the demonstration's design, one p_d 0.6", 0.6, 1, func(b *bench) { demonstrate(b); b.everyone(4, 2) }, "listener", 0.741},
		{"42 trials twice, p_d 0.3", 0.3, 1, func(b *bench) {
			p := b.plan("1", []string{"0"}, 42, 0, nil)
			b.repeat(p, 2, nil, link.HeardIt)
		}, "listener", 0.667},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			builder := link.NewBuilder()
			n, found, alone := howMany(), 0, 0
			for seed := range n {
				b := newBench(uint64(seed)+1, builder)
				for i := range c.of {
					b.known[fmt.Sprint("l", i)] = c.effect
				}
				c.run(b)
				for _, r := range b.look() {
					if r.Kind != c.kind || r.B != "0" || r.Design != "abx" || r.Kind == "listener" && r.Listener != "l0" {
						continue
					}
					if r.Verdict == link.HeardIt {
						found++
					}
					if r.P <= 0.05 {
						alone++
					}
				}
			}
			t.Logf("%s: found in %.3f, uncorrected %.3f", c.name, float64(found)/float64(n), float64(alone)/float64(n))
			// Three standard errors below, of this run and of the reference run.
			least := c.power - 3*math.Sqrt(c.power*(1-c.power)*(1/float64(n)+1.0/4000))
			if got := float64(found) / float64(n); got < least {
				t.Errorf("found in %.3f of studies, %.3f before, %.3f with three errors taken off", got, c.power, least)
			}
		})
	}
}
