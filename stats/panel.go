package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Panel is a plan with several listeners who differ: each has their own probability of a right answer, drawn from a beta
// distribution of mean PTrue and intraclass correlation Rho, as in BetaBinomial. Zero fields are α 0.05, 20 000
// simulated panels and ABX.
type Panel struct {
	Listeners int
	Trials    int     // each
	PTrue     float64 // mean proportion correct, inside (0, 1)
	Rho       float64 // inside [0, 1); 0: all alike
	Alpha     float64
	Runs      int
	Seed      uint64
	Procedure Procedure // sets the chance level
}

// PanelPower is how often a panel shows that somebody hears something. Error is the standard error of either power from
// the finite number of simulated panels, at most 0.5/√runs.
type PanelPower struct {
	Listeners int     `json:"listeners"`
	Trials    int     `json:"trials_each"`
	PTrue     float64 `json:"p_true"`
	Rho       float64 `json:"rho"`
	Alpha     float64 `json:"alpha"`
	Runs      int     `json:"simulated_panels"`
	// Total is the power of the exact binomial test of all answers together. The test is exact even where listeners differ,
	// because its null hypothesis is that nobody hears anything. It says nothing about how many do.
	Total      float64 `json:"power_total"`
	TotalError float64 `json:"power_total_error"`
	TotalAt    *int    `json:"critical_total"` // nil where no count decides
	// Any is the power of 'at least one of these listeners hears it' by Holm's (for one, Bonferroni's) correction.
	Any      float64 `json:"power_any"`
	AnyError float64 `json:"power_any_error"`
	AnyAt    *int    `json:"critical_any"`
	// Found is the mean number of listeners who pass at α/listeners.
	Found float64 `json:"listeners_found"`
}

// MaxPanelRuns and minPanelRuns bound the simulated panels: fewer place a power within ± 0.05 at best. MaxPanel bounds the answers of one.
const (
	minPanelRuns = 100
	MaxPanelRuns = 1_000_000
	MaxPanel     = 1_000_000
)

func (p Panel) complete() (Panel, error) {
	if p.Alpha == 0 {
		p.Alpha = 0.05
	}
	if p.Runs == 0 {
		p.Runs = 20_000
	}
	switch {
	case p.Listeners < 1 || p.Trials < 1 || p.Listeners > MaxPanel/p.Trials:
		return p, fmt.Errorf("stats: %d listeners of %d trials: one or more of each, and at most %d answers", p.Listeners, p.Trials, MaxPanel)
	case !(p.PTrue > 0 && p.PTrue < 1):
		return p, fmt.Errorf("stats: mean proportion %v is not inside (0, 1)", p.PTrue)
	case !(p.Rho >= 0 && p.Rho < 1):
		return p, fmt.Errorf("stats: intraclass correlation %v is not within [0, 1)", p.Rho)
	case p.Runs < minPanelRuns || p.Runs > MaxPanelRuns:
		return p, fmt.Errorf("stats: %d simulated panels: %d to %d", p.Runs, minPanelRuns, MaxPanelRuns)
	}
	return p, checkFraction("alpha", p.Alpha)
}

// Power simulates the panel. The same Panel always gives the same answer, on any number of processors.
func (p Panel) Power() (PanelPower, error) {
	p, err := p.complete()
	if err != nil {
		return PanelPower{}, err
	}
	out := PanelPower{Listeners: p.Listeners, Trials: p.Trials, PTrue: p.PTrue, Rho: p.Rho, Alpha: p.Alpha, Runs: p.Runs}
	total, anyAt := p.Listeners*p.Trials+1, p.Trials+1
	if k, _, ok := CriticalCount(p.Listeners*p.Trials, p.Procedure.Chance(), p.Alpha); ok {
		total, out.TotalAt = k, &k
	}
	if k, _, ok := CriticalCount(p.Trials, p.Procedure.Chance(), p.Alpha/float64(p.Listeners)); ok {
		anyAt, out.AnyAt = k, &k
	}
	c := p.simulate(total, anyAt)
	n := float64(p.Runs)
	out.Total, out.Any, out.Found = float64(c.total)/n, float64(c.any)/n, float64(c.found)/n
	out.TotalError, out.AnyError = math.Sqrt(out.Total*(1-out.Total)/n), math.Sqrt(out.Any*(1-out.Any)/n)
	return out, nil
}

// panelCounts sums up a batch of simulated panels.
type panelCounts struct{ total, any, found int }

// panelBatch is the number of panels simulated from one stream of random numbers: fixed, so that the result does not
// depend on the number of processors.
const panelBatch = 500

func (p Panel) simulate(total, anyAt int) panelCounts {
	batches := (p.Runs + panelBatch - 1) / panelBatch
	results := make([]panelCounts, batches)
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for b := range next {
				results[b] = p.batch(b, min(panelBatch, p.Runs-b*panelBatch), total, anyAt)
			}
		})
	}
	for b := range batches {
		next <- b
	}
	close(next)
	wg.Wait()
	var sum panelCounts
	for _, r := range results {
		sum.total, sum.any, sum.found = sum.total+r.total, sum.any+r.any, sum.found+r.found
	}
	return sum
}

func (p Panel) batch(number, runs, total, anyAt int) panelCounts {
	source := rand.NewPCG(p.Seed, uint64(number))
	beta := distuv.Beta{Alpha: p.PTrue * (1 - p.Rho) / p.Rho, Beta: (1 - p.PTrue) * (1 - p.Rho) / p.Rho, Src: source}
	binomial := distuv.Binomial{N: float64(p.Trials), P: p.PTrue, Src: source}
	var c panelCounts
	for range runs {
		sum, found := 0, 0
		for range p.Listeners {
			if p.Rho > 0 {
				binomial.P = math.Min(1, math.Max(0, beta.Rand()))
			}
			k := int(binomial.Rand())
			sum += k
			if k >= anyAt {
				found++
			}
		}
		c.found += found
		if sum >= total {
			c.total++
		}
		if found > 0 {
			c.any++
		}
	}
	return c
}

// TrialsEach returns the panel's power at the smallest number of trials for each listener at which the simulated power of
// the total reaches power. The field Trials is ignored. It returns ErrOutOfReach where MaxPanel answers do not suffice:
// where listeners differ strongly, more trials by the same people approach a power below 1.
func (p Panel) TrialsEach(power float64) (PanelPower, error) {
	if !(power > 0 && power < 1) {
		return PanelPower{}, checkFraction("power", power)
	}
	p.Trials = 1
	if _, err := p.complete(); err != nil {
		return PanelPower{}, err
	}
	reached := func(n int) (PanelPower, bool, error) {
		q := p
		q.Trials = n
		r, err := q.Power()
		return r, r.Total >= power, err
	}
	most := min(MaxPanel/p.Listeners, 4096)
	lo, hi := 0, 1
	for {
		_, ok, err := reached(hi)
		if err != nil {
			return PanelPower{}, err
		}
		if ok {
			break
		}
		if hi == most {
			return PanelPower{}, fmt.Errorf("%w: %d trials of each of %d listeners do not give a power of %v", ErrOutOfReach, most, p.Listeners, power)
		}
		lo, hi = hi, min(2*hi, most)
	}
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		_, ok, err := reached(mid)
		if err != nil {
			return PanelPower{}, err
		}
		if ok {
			hi = mid
		} else {
			lo = mid
		}
	}
	r, _, err := reached(hi)
	return r, err
}
