package report_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/report"
	"heardiff/stats"
	"heardiff/stats/wire"
	"heardiff/trials"
	"heardiff/trials/link"
)

var full = flag.Bool("full", false, "run the full grids")

// asked returns an invented plan of one comparison or two.
func asked(id string, random *rand.Rand) trials.Plan {
	p := trials.Plan{ID: id, Design: trials.Designs()[random.IntN(4)], Alpha: 0.05, SmallestEffect: 0.3, Order: trials.Independent}
	n := 12 + random.IntN(40)
	for _, b := range []string{"b", "c"}[:1+random.IntN(2)] {
		p.Comparisons = append(p.Comparisons, trials.Comparison{Name: "a – " + b, A: "a", B: b, Excerpt: "strings", AudioA: "0", AudioB: b, Trials: n, Kind: trials.Scored})
	}
	if len(p.Comparisons) == 1 && random.IntN(3) == 0 {
		p.Looks = &stats.Looks{Trials: []int{8, 16, n + 10}, Heard: []int{8, 14, n}, RuledOut: []int{1, 6, n / 2}}
		p.Comparisons[0].Trials = n + 10
	} else if random.IntN(3) == 0 {
		p.Order = trials.Balanced
	}
	if random.IntN(2) == 0 {
		p.Comparisons = append(p.Comparisons,
			trials.Comparison{Name: "plain", A: "a", B: "b", Excerpt: "strings", AudioA: "0", AudioB: "plain", Trials: 8, Kind: trials.PositiveControl},
			trials.Comparison{Name: "nothing", A: "a", B: "b", Excerpt: "strings", AudioA: "0", AudioB: "0", Trials: 10, Kind: trials.NegativeControl})
	}
	return p
}

// answered returns what an invented listener, who knows the share pd of the answers, made of a plan; one in six gives up.
func answered(p trials.Plan, pd float64, random *rand.Rand) trials.Summary {
	var s trials.Summary
	answers, dealt := len(p.Design.Answers()), p.Design.Dealt()
	position := map[trials.Answer]int{}
	for i, a := range p.Design.Answers() {
		position[a] = i
	}
	s.GivenUp = random.IntN(6) == 0
	for _, c := range p.Comparisons {
		knows, n, m := pd, c.Trials, p.Design.NoAnswers()
		switch {
		case c.Kind == trials.PositiveControl:
			knows = math.Max(pd, float64(random.IntN(8))/4)
		case c.Kind == trials.NegativeControl:
			knows = math.Floor(random.Float64() * 1.1)
		case p.Looks != nil:
			n = p.Looks.Trials[random.IntN(3)]
		case s.GivenUp:
			n = random.IntN(n)
		}
		for range n {
			right := position[dealt[random.IntN(len(dealt))]]
			said := right
			if random.Float64() >= knows {
				said = random.IntN(answers)
			}
			m[right][said]++
		}
		s.Answers = append(s.Answers, m)
	}
	return s
}

// invent returns an invented study as link gets it and as a page carries it, with what its sessions came to.
func invent(t testing.TB, random *rand.Rand) (report.Input, []trials.Summary) {
	t.Helper()
	page := report.Input{Evidence: report.Evidence{Plans: map[string]trials.Plan{}}}
	var plans []trials.Plan
	for i := range 1 + random.IntN(3) {
		p := asked(fmt.Sprint(i), random)
		plans, page.Evidence.Plans[p.ID] = append(plans, p), p
	}
	in := link.Input{Chains: benchOf(random)}
	for _, b := range []string{"b", "c"} {
		p := link.Pairing{A: "a", B: b, Excerpt: "strings", NullDB: -60, Dose: math.NaN()}
		if random.IntN(6) == 0 {
			p.LevelErrorDB = -0.2
		}
		if random.IntN(6) == 0 {
			p.ResponseMaxDB = []float64{0.49, 0.5, -0.7}[random.IntN(3)]
		}
		in.Pairings = append(in.Pairings, p)
	}
	page.Chains = in.Chains
	var summaries []trials.Summary
	var groups []string
	people := 1 + random.IntN(5)
	for i := range people {
		if groups = append(groups, ""); people > 2 && i > 0 {
			groups[i] = []string{"players", "engineers"}[random.IntN(2)]
		}
	}
	in.Family = link.NewFamily(plans[:1+random.IntN(len(plans))], groups[:1+random.IntN(people)])
	for i := range people {
		pd := math.Max(0, random.Float64()*1.4-0.6)
		for k := range 1 + random.IntN(4) {
			p, who := plans[random.IntN(len(plans))], fmt.Sprintf("listener %d", i)
			s := answered(p, pd, random)
			id := fmt.Sprintf("%d-%d", i, k)
			r, err := s.Result(id, p)
			if err != nil {
				t.Fatal(err)
			}
			if p.Looks != nil {
				n, right := s.Answers[0].Totals()
				r.Stopped = p.Stop(n, right)
			}
			seat := report.Seat{Listener: who, Group: groups[i], Arrived: random.IntN(50)}
			if random.IntN(15) == 0 {
				seat.Marks = []link.Mark{{Says: "something is known against it", Voids: random.IntN(2) == 0}}
			}
			in.Results = append(in.Results, link.Heard{Listener: who, Group: seat.Group, Arrived: seat.Arrived, Marks: seat.Marks, Result: r})
			page.Evidence.Sessions = append(page.Evidence.Sessions, report.Proof{ID: id, Plan: p.ID, Seat: seat})
			summaries = append(summaries, s)
		}
	}
	var err error
	if page.Link, err = link.Build(in); err != nil {
		t.Fatal(err)
	}
	return page, summaries
}

// benchOf returns three invented chains and what they are heard through, which hides their jitter and noise, some of them, or nothing.
func benchOf(random *rand.Rand) []link.Chain {
	one := func(name, role string, worse float64) link.Chain {
		return link.Chain{Name: name, Role: role, Figures: map[link.Metric][]link.Figure{
			link.RandomJitter: {{Value: 30 * worse}}, link.DeterministicJitter: {{Value: 5 * worse}}, link.Noise: {{Value: -115 + worse}}}}
	}
	replay := one("headphones", "replay", []float64{0.1, 1, 9}[random.IntN(3)])
	if random.IntN(3) == 0 {
		delete(replay.Figures, []link.Metric{link.RandomJitter, link.Noise}[random.IntN(2)])
	}
	all := []link.Chain{one("a", "source", 1), one("b", "source", 2), one("c", "source", 3), replay}
	if random.IntN(3) == 0 { // no line anywhere
		for _, c := range all {
			c.Figures[link.DeterministicJitter] = []link.Figure{{Value: 0}}
		}
	}
	return all
}

// What the page's script judges of invented studies of every design, order and kind of plan, with repeats, sessions given up,
// controls passed and missed, is what link says.
func TestThePageJudgesAsLinkDoes(t *testing.T) {
	ctx, complaints := browser(t, write(t, study(t)))
	random, verdicts, rows := rand.New(rand.NewPCG(7, 8)), map[link.Verdict]int{}, 0
	studies := 40
	if *full {
		studies = 200
	}
	for i := range studies {
		in, summaries := invent(t, random)
		for k, got := range judgedByPage(t, ctx, in, summaries) {
			want := in.Link.Rows[k]
			verdicts[want.Verdict]++
			rows++
			name := fmt.Sprintf("study %d, %s, %s", i, want.Comparison, want.Listener)
			if math.Abs(got.LnStudy-want.Log10PStudy*math.Ln10) > 1e-8*math.Max(1, -got.LnStudy) {
				t.Errorf("%s: ln p over the study %.12g, link says %.12g", name, got.LnStudy, want.Log10PStudy*math.Ln10)
			}
			if math.Abs(got.Upper-want.UpperPD) > 1e-9 {
				t.Errorf("%s: ruled out above %.12g, link says %.12g", name, got.Upper, want.UpperPD)
			}
			if got.Verdict != want.Verdict {
				t.Errorf("%s: %q, link says %q: %s", name, got.Verdict, want.Verdict, want.Reason)
			}
		}
	}
	if c := complaints(); len(c) > 0 || verdicts[link.HeardIt] < rows/50 || verdicts[link.RuledOut] < rows/50 || verdicts[link.Void] < rows/50 {
		t.Errorf("scripts complained: %q; verdicts %v of %d rows", c, verdicts, rows)
	}
}

type judgedRow struct {
	LnStudy float64      `json:"lnStudy"`
	Upper   float64      `json:"upper"`
	Verdict link.Verdict `json:"verdict"`
}

func judgedByPage(t *testing.T, ctx context.Context, in report.Input, summaries []trials.Summary) []judgedRow {
	t.Helper()
	counted, study, err := report.Judged(in, in.Link.Rows)
	if err != nil {
		t.Fatal(err)
	}
	type session struct {
		Plan     trials.Plan      `json:"plan"`
		Counts   []trials.Answers `json:"counts"`
		GaveUp   bool             `json:"gaveUp"`
		Listener string           `json:"listener"`
		Marks    []link.Mark      `json:"marks"`
	}
	var sessions []session
	for i, s := range in.Evidence.Sessions {
		sessions = append(sessions, session{in.Evidence.Plans[s.Plan], summaries[i].Answers, summaries[i].GivenUp, s.Seat.Listener, s.Seat.Marks})
	}
	carried, err := json.Marshal(sessions)
	if err != nil {
		t.Fatal(err)
	}
	numbers, err := wire.Marshal(in.Link.Rows)
	if err != nil {
		t.Fatal(err)
	}
	return evaluate[[]judgedRow](t, ctx, fmt.Sprintf(`(() => {
		const rows = [%s], sessions = %s, study = %s, numbers = %s;
		return judge(rows, sessions, study).map((r, i) => {
			const sum = noCounts(designs[rows[i].design]);
			for (const [s, which] of rows[i].parts || []) for (const c of which) addCounts(sum, sessions[s].counts[c]);
			return {lnStudy: r.lnStudy, upper: r.upper, verdict: verdictOf(r, rows[i], sum, numbers[i], study)};
		});
	})()`, strings.ReplaceAll(strings.TrimSpace(counted), "\n", ","), carried, study, numbers))
}

// Ten thousand listeners are checked in the time that a reader waits.
func BenchmarkCheckOfALargePage(b *testing.B) {
	page := []byte(write(b, tenThousand(b)))
	b.SetBytes(int64(len(page)))
	for b.Loop() {
		if _, err := report.Check(page); err != nil {
			b.Fatal(err)
		}
	}
}
