package stats

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Boundary is how a group-sequential plan spends its risk over the looks. The rules are for one-sided tests of k of n_i
// correct after the i-th of looks n_1 < … < n_K = N, with one constant C for all of them:
//
//	O'Brien–Fleming-like: P(X ≥ k | n_i) ≤ 1 − Φ(C·√(N/n_i)): little is spent early, nearly a fixed test at the end
//	Pocock-like:          P(X ≥ k | n_i) ≤ 1 − Φ(C):          the same exact p at every look
//
// X is binomial at chance, so a boundary is a list of integer counts.
//
// ref: Pocock (1977), Biometrika 64; O'Brien & Fleming (1979), Biometrics 35; Jennison & Turnbull (2000), Group
// Sequential Methods, chapters 2 and 12. 'Like', because C is found here on the exact binomial.
type Boundary uint8

// Boundaries.
const (
	OBrienFleming Boundary = iota
	Pocock
)

var boundaryNames = []string{"obrien-fleming", "pocock"}

// String returns obrien-fleming or pocock.
func (b Boundary) String() string { return nameOf("boundary", boundaryNames, b) }

// MarshalText writes the boundary's name.
func (b Boundary) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

// ParseBoundary reads a boundary's name.
func ParseBoundary(name string) (Boundary, error) {
	return named[Boundary]("boundary", boundaryNames, name)
}

// weight is the factor of z at a look, before it is compared with C.
func (b Boundary) weight(n, last int) float64 {
	if b == OBrienFleming {
		return math.Sqrt(float64(n) / float64(last))
	}
	return 1
}

// Counts returns the smallest count that stops at each look for a constant C > 0 at chance p₀; n + 1 where none does.
// With a constant of the normal theory, as printed tables give it, the exact size may lie above or below α: Groups.Plan
// finds the constant that keeps α.
func (b Boundary) Counts(at []int, p0, constant float64) []int {
	counts := make([]int, len(at))
	for i, n := range at {
		nominal := math.Exp(lnNormalUpper(constant / b.weight(n, at[len(at)-1])))
		counts[i] = criticalOrNever(n, p0, nominal)
	}
	return counts
}

// EqualLooks returns the numbers of trials after which to look so that looks of them split n as evenly as whole trials
// allow; the last is n.
func EqualLooks(n, looks int) ([]int, error) {
	if n < 1 || n > MaxLookTrials {
		return nil, fmt.Errorf("stats: %d trials: a sequential plan has 1 to %d", n, MaxLookTrials)
	}
	if looks < 1 || looks > n {
		return nil, fmt.Errorf("stats: %d looks at %d trials: 1 to %d are possible", looks, n, n)
	}
	at := make([]int, looks)
	for i := range at {
		at[i] = (2*n*(i+1) + looks) / (2 * looks)
	}
	return at, nil
}

// maxRisk is the largest risk that a boundary is made for: with more, a coin would decide as well.
const maxRisk = 0.5

// Groups is a group-sequential design: a few looks, at numbers of trials fixed beforehand. Zero fields are the
// O'Brien–Fleming-like boundary, chance 1/2, α 0.05, 'ruled out' never declared.
type Groups struct {
	Boundary Boundary
	Trials   []int   // after how many trials in all, rising
	Chance   float64 // p₀, inside (0, 1)
	Alpha    float64 // accepted risk of 'heard' where nothing is heard, inside (0, 0.5]
	RuleOut  float64 // the p_d to be ruled out, inside (0, 1); 0: never
	Risk     float64 // accepted risk of 'ruled out' where the truth is RuleOut, inside (0, 0.5]; 0: Alpha
}

func (g Groups) complete() (Groups, error) {
	if g.Chance == 0 {
		g.Chance = 0.5
	}
	if g.Alpha == 0 {
		g.Alpha = 0.05
	}
	if g.Risk == 0 {
		g.Risk = g.Alpha
	}
	switch {
	case g.Boundary > Pocock:
		return g, fmt.Errorf("stats: boundary %d is unknown", g.Boundary)
	case !(g.Chance > 0 && g.Chance < 1):
		return g, checkFraction("chance", g.Chance)
	case !(g.Alpha > 0 && g.Alpha <= maxRisk) || !(g.Risk > 0 && g.Risk <= maxRisk):
		return g, fmt.Errorf("stats: alpha %v, risk of 'ruled out' %v: above 0 and at most %v", g.Alpha, g.Risk, maxRisk)
	case !(g.RuleOut >= 0 && g.RuleOut < 1):
		return g, fmt.Errorf("stats: proportion of discriminators %v to rule out is not inside (0, 1)", g.RuleOut)
	}
	return g, nil
}

// GroupPlan is a group-sequential plan: its counts, and what they cost exactly.
type GroupPlan struct {
	Looks Looks `json:"looks"`
	// Constant is C of the 'heard' boundary, at which the exact binomial keeps α and one count more would break it;
	// NormalConstant is C by the normal theory, NaN for more than 20 looks.
	Constant       float64 `json:"constant"`
	NormalConstant float64 `json:"normal_constant"`
	// Size is the exact risk of 'heard' where nothing is heard, even if the session goes on after 'ruled out'.
	Size float64 `json:"achieved_alpha"`
	// RuleOutConstant and Risk are the same for 'ruled out' at the p_d that is to be ruled out, even if the session goes
	// on after 'heard'; NaN where nothing is to be ruled out.
	RuleOutConstant float64 `json:"ruled_out_constant"`
	Risk            float64 `json:"achieved_risk"`
}

// Plan returns the plan, over all constants, whose exact type-I error comes nearest to α without exceeding it.
//
// 'Ruled out' is declared at a look where the one-sided upper limit of p_d, at that look's confidence
// 1 − P(Z ≥ C'·√(N/n_i)) (C' alone in the Pocock-like form), lies below RuleOut: the same boundary with wrong answers
// counted as right ones and p = p₀ + (1 − p₀)·RuleOut as chance. So each risk holds whether or not the other boundary is
// obeyed. Where a count meets both boundaries, the verdict is 'heard'.
//
// It is an error if a field is out of range or no count reaches α.
func (g Groups) Plan() (GroupPlan, error) {
	g, err := g.complete()
	if err != nil {
		return GroupPlan{}, err
	}
	if err := checkLookTrials(g.Trials); err != nil {
		return GroupPlan{}, err
	}
	heard, err := g.Boundary.spend(g.Trials, g.Chance, g.Alpha)
	if err != nil {
		return GroupPlan{}, err
	}
	p := GroupPlan{Looks: never(g.Trials), Constant: heard.constant, Size: heard.size,
		NormalConstant: g.Boundary.NormalConstant(g.Trials, g.Alpha), RuleOutConstant: math.NaN(), Risk: math.NaN()}
	p.Looks.Boundary, p.Looks.Heard = g.Boundary.String(), heard.counts
	if g.RuleOut == 0 {
		return p, nil
	}
	wrong, err := g.Boundary.spend(g.Trials, (1-g.Chance)*(1-g.RuleOut), g.Risk)
	if err != nil {
		return GroupPlan{}, err
	}
	p.RuleOutConstant, p.Risk = wrong.constant, wrong.size
	for i, n := range g.Trials {
		p.Looks.RuledOut[i] = min(n-wrong.counts[i], p.Looks.Heard[i]-1)
	}
	return p, nil
}

// spent is a one-sided boundary and its exact size.
type spent struct {
	constant, size float64
	counts         []int
}

// spend finds the smallest constant whose exact size keeps α. The size falls in steps as the constant grows, one step
// wherever it passes the z of a count. So the answer is the z of one count, found by bisecting the list of them.
func (b Boundary) spend(at []int, p0, alpha float64) (spent, error) {
	steps := b.steps(at, p0, alpha)
	sized := func(i int) spent {
		s := spent{constant: steps[i].constant, counts: make([]int, len(at))}
		for j, n := range at {
			s.counts[j] = n + 1
		}
		// Counts whose z is at the constant or above stop; the list is in rising order of z.
		for j := len(steps) - 1; j >= i; j-- {
			s.counts[steps[j].look] = min(s.counts[steps[j].look], steps[j].count)
		}
		l := never(at)
		l.Heard = s.counts
		s.size = l.Course(p0).Heard
		return s
	}
	i := firstCount(0, len(steps)-1, func(i int) bool { return sized(i).size <= alpha*(1+reachSlack) })
	if i == len(steps) {
		last := at[len(at)-1]
		return spent{}, fmt.Errorf("%w: even %d of %d is likelier by chance than %v", ErrOutOfReach, last, last, alpha)
	}
	return sized(i), nil
}

// constantStep is a count of one look and the largest constant at which it still stops.
type constantStep struct {
	constant    float64
	look, count int
}

// steps lists the counts that can matter, in rising order of their constants: from the constant at which the last look
// alone spends more than α, to the one at which all looks together cannot (Bonferroni).
func (b Boundary) steps(at []int, p0, alpha float64) []constantStep {
	last, enough := at[len(at)-1], normalUpperPoint(math.Log(alpha/float64(len(at))))
	constant := func(k, n int) float64 { return normalUpperPoint(lnBinomialUpper(k, n, p0)) * b.weight(n, last) }
	lo := constant(criticalOrNever(last, p0, alpha)-1, last) // this count and all below it spend too much
	var all []constantStep
	for i, n := range at {
		for k := firstCount(0, n, func(k int) bool { return constant(k, n) > lo }); k <= n; k++ {
			c := constant(k, n)
			all = append(all, constantStep{c, i, k})
			if c >= enough {
				break
			}
		}
	}
	slices.SortFunc(all, func(x, y constantStep) int {
		return cmp.Or(cmp.Compare(x.constant, y.constant), cmp.Compare(x.look, y.look), cmp.Compare(x.count, y.count))
	})
	return all
}
