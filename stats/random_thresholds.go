package stats

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/optimize"

	"heardiff/stats/warning"
)

// RandomThresholds is a psychometric function of several listeners with different thresholds and a common slope: each
// listener's threshold is drawn from a normal distribution in the unit of the scale, log10 of the dose or the dose itself.
// What the data do not determine is NaN.
type RandomThresholds struct {
	Listeners         int        `json:"listeners"`
	Threshold         float64    `json:"threshold"`          // dose at the mean of the listeners' thresholds: half of them need less
	ThresholdInterval [2]float64 `json:"threshold_interval"` // widened for few listeners
	// BetweenSD is the standard deviation of thresholds over listeners, in log10 of the dose or in the dose itself; 0
	// where chance explains the differences between listeners.
	BetweenSD         float64    `json:"between_sd"`
	BetweenSDInterval [2]float64 `json:"between_sd_interval"`
	Slope             float64    `json:"slope"` // of one listener: steeper than that of a curve through all of them
	SlopeInterval     [2]float64 `json:"slope_interval"`
	LogLikelihood     float64    `json:"log_likelihood"`   // marginal, without binomial coefficients
	LR                float64    `json:"likelihood_ratio"` // against one threshold for all
	P                 float64    `json:"p_listeners_differ"`
	Log10P            float64    `json:"log10_p_listeners_differ"`
	Scale             string     `json:"scale"`
	Confidence        float64    `json:"confidence"`
	warning.Warnings
	curve Curve // of a listener at the mean
}

// randomFitter holds the listeners' data. Listeners with the same answers at the same doses share one entry.
type randomFitter struct {
	shape        Shape
	guess, lapse float64
	doses        []float64 // in the scale's unit, each once
	people       []person
	longest      float64 // most trials at one dose
	span         float64
	slopeLo      float64 // ln s
	slopeHi      float64
	scale        params // a step of each parameter large enough to matter
}

// person is one pattern of answers, by index of dose, and how many listeners gave it.
type person struct {
	dose []int
	k, n []float64
	many float64
}

// FitRandomThresholds fits by maximum marginal likelihood. It fails where FitCurve does, with fewer than two listeners, or
// with a free lapse rate.
//
//	L = Π_l ∫ φ((u − μ)/σ)/σ · Π_i p(x_i; u, s)^k·(1 − p(x_i; u, s))^(n−k) du
//
// Intervals come from the profile of L, p from the likelihood ratio against one common threshold, halved because σ = 0
// lies on the boundary.
//
// ref: Moscatelli, Mezzetti & Lacquaniti (2012), psychometric functions with random effects.
func FitRandomThresholds(points []DosePoint, cfg FitConfig) (RandomThresholds, error) {
	if cfg.FreeLapse {
		return RandomThresholds{}, fmt.Errorf("stats: with random thresholds the lapse rate must be given: lapses and differing listeners look alike")
	}
	f, err := newFitter(points, cfg)
	if err != nil {
		return RandomThresholds{}, err
	}
	r, listeners, err := newRandomFitter(f, points)
	if err != nil {
		return RandomThresholds{}, err
	}
	return r.fit(f, listeners), nil
}

func newRandomFitter(f *fitter, points []DosePoint) (*randomFitter, int, error) {
	r := &randomFitter{shape: f.cfg.Shape, guess: f.cfg.Guess, lapse: f.cfg.Lapse, span: f.span, slopeLo: f.slopeLo, slopeHi: f.slopeHi,
		scale: params{f.span, 1, 1}}
	merged, err := mergeDoses(points)
	if err != nil {
		return nil, 0, err
	}
	var names []string
	people, index := map[string]person{}, map[float64]int{}
	for i, m := range merged {
		p, known := people[m.Listener]
		if !known {
			names = append(names, m.Listener)
		}
		if _, known := index[f.u[i]]; !known {
			index[f.u[i]] = len(r.doses)
			r.doses = append(r.doses, f.u[i])
		}
		p.dose, p.k, p.n, p.many = append(p.dose, index[f.u[i]]), append(p.k, f.k[i]), append(p.n, f.n[i]), 1
		people[m.Listener] = p
		r.longest = math.Max(r.longest, f.n[i])
	}
	if len(names) < 2 {
		return nil, 0, fmt.Errorf("stats: %d listeners: random thresholds need two or more", len(names))
	}
	alike := map[string]int{}
	for _, name := range names {
		pattern := fmt.Sprint(people[name].dose, people[name].k, people[name].n)
		if at, known := alike[pattern]; known {
			r.people[at].many++
			continue
		}
		alike[pattern] = len(r.people)
		r.people = append(r.people, people[name])
	}
	return r, len(names), nil
}

// params are the parameters: mean threshold in the scale's unit, ln of the standard deviation between listeners, ln of the
// slope.
type params [3]float64

// Indices of params.
const (
	atMean = iota
	atSD
	atSlope
)

// The integral over thresholds uses the trapezoidal rule, which converges geometrically for analytic functions that vanish
// at both ends. All listeners share its nodes, so that the curve is computed once for each node and dose. Gauss–Hermite
// quadrature at each listener's peak was tried and is worse: it misses the shoulders of a guessing listener.
//
// ref: Trefethen & Weideman (2014), The exponentially convergent trapezoidal rule.
const (
	farthest     = 8.0  // standard deviations to either side; 1e-15 of the distribution lies beyond
	sdSteps      = 2.5  // steps per standard deviation
	slopeSteps   = 6.0  // steps per unit of s·u at ten trials per dose; more trials make the likelihood narrower
	weibullSteps = 20.0 // the Weibull's likelihood falls more steeply on one side
	maxNodes     = 8000 // where a steep slope meets a wide spread
	flat         = 40.0 // beyond so many units of s·u the curve is flat: e⁻⁴⁰ is nothing against the rounding
)

// stepsAcross returns the number of nodes that the curve needs across one unit of s·u.
func (r *randomFitter) stepsAcross() float64 {
	steps := slopeSteps
	if r.shape == Weibull {
		steps = weibullSteps
	}
	return steps * math.Sqrt(math.Max(1, r.longest/10))
}

// lattice holds, at each node and dose, ln p, ln(1 − p) and the derivatives of both with respect to ln s.
type lattice struct {
	z                        []float64 // thresholds, in standard deviations from the mean
	step                     float64
	right, wrong, upR, downW [][]float64
}

func (r *randomFitter) lattice(at params) *lattice {
	sd, s := math.Exp(at[atSD]), math.Exp(at[atSlope])
	// Bounded before it becomes an int: the search may try standard deviations for which an int would overflow.
	nodes := int(math.Min(maxNodes, math.Ceil(2*farthest*math.Max(sdSteps, r.stepsAcross()*s*sd))))
	l := &lattice{z: make([]float64, nodes+1), step: 2 * farthest / float64(nodes)}
	for j := range l.z {
		l.z[j] = -farthest + l.step*float64(j)
	}
	room := 1 - r.guess - r.lapse
	lowest, highest := clampRate(r.guess), clampRate(1-r.lapse)
	low, high := [2]float64{math.Log(lowest), math.Log1p(-lowest)}, [2]float64{math.Log(highest), math.Log1p(-highest)}
	for _, u := range r.doses {
		row := [4][]float64{}
		for i := range row {
			row[i] = make([]float64, len(l.z))
		}
		for j, z := range l.z {
			v := s * (u - at[atMean] - sd*z)
			if v < -flat {
				row[0][j], row[1][j] = low[0], low[1]
				continue
			}
			if v > flat {
				row[0][j], row[1][j] = high[0], high[1]
				continue
			}
			p, d := clampRate(r.guess+room*r.shape.rise(v)), room*r.shape.steep(v)*v
			row[0][j], row[1][j], row[2][j], row[3][j] = math.Log(p), math.Log1p(-p), d/p, -d/(1-p)
		}
		l.right, l.wrong, l.upR, l.downW = append(l.right, row[0]), append(l.wrong, row[1]), append(l.upR, row[2]), append(l.downW, row[3])
	}
	return l
}

// ln returns the marginal log-likelihood and its gradient.
func (r *randomFitter) ln(at params) (float64, params) {
	const workers = 8
	l, sd := r.lattice(at), math.Exp(at[atSD])
	values, slopes := make([]float64, workers), make([]params, workers)
	var wait sync.WaitGroup
	each := (len(r.people) + workers - 1) / workers
	for w := range workers {
		share := r.people[min(w*each, len(r.people)):min((w+1)*each, len(r.people))]
		if len(share) == 0 {
			continue
		}
		wait.Go(func() {
			room := make([]float64, 2*len(l.z))
			for i := range share {
				v, g := l.one(&share[i], sd, room)
				values[w] += v
				for j := range g {
					slopes[w][j] += g[j]
				}
			}
		})
	}
	wait.Wait()
	sum, slope := 0.0, params{}
	for w := range workers { // in order, so that the sum does not depend on who finished first
		sum += values[w]
		for j := range slope {
			slope[j] += slopes[w][j]
		}
	}
	return sum, slope
}

// addsNothing is the logarithm of the ratio to the largest term, e⁻⁴⁵ = 3·10⁻²⁰, at which a term adds nothing to a double.
const addsNothing = 45

// one integrates over one listener's threshold; room has two numbers for each node.
func (l *lattice) one(p *person, sd float64, room []float64) (float64, params) {
	ln, slope := room[:len(l.z)], room[len(l.z):]
	for j, z := range l.z {
		ln[j], slope[j] = -z*z/2, 0
	}
	for i, d := range p.dose {
		k, m := p.k[i], p.n[i]-p.k[i]
		right, wrong, up, down := l.right[d], l.wrong[d], l.upR[d], l.downW[d]
		for j := range ln {
			ln[j] += k*right[j] + m*wrong[j]
			slope[j] += k*up[j] + m*down[j]
		}
	}
	most := math.Inf(-1)
	for _, v := range ln {
		most = math.Max(most, v)
	}
	sum, g := 0.0, params{}
	for j, z := range l.z {
		if ln[j] < most-addsNothing {
			continue
		}
		w := math.Exp(ln[j] - most)
		sum += w
		g[atMean] += w * z / sd
		g[atSD] += w * (z*z - 1)
		g[atSlope] += w * slope[j]
	}
	for j := range g {
		g[j] *= p.many / sum
	}
	return p.many * (most + math.Log(sum*l.step) - 0.5*math.Log(2*math.Pi)), g
}

// climb maximises from a start with the parameters in held fixed. A slope beyond its bounds is penalised.
func (r *randomFitter) climb(start params, held map[int]bool) (params, float64) {
	var free []int
	for j := range start {
		if !held[j] {
			free = append(free, j)
		}
	}
	scale := r.scale
	at := func(x []float64) params {
		p := start
		for i, j := range free {
			p[j] = start[j] + x[i]*scale[j]
		}
		return p
	}
	var last []float64
	var value float64
	slope := make([]float64, len(free))
	loss := func(x []float64) float64 { // computes value and gradient together, because the optimiser asks for them in turn
		if last == nil || !slices.Equal(x, last) {
			last = append(last[:0], x...)
			value = r.loss(at(x), free, scale, slope)
		}
		return value
	}
	problem := optimize.Problem{Func: loss, Grad: func(g, x []float64) { loss(x); copy(g, slope) }}
	got, err := optimize.Minimize(problem, make([]float64, len(free)), &optimize.Settings{GradientThreshold: 1e-5, MajorIterations: 200}, &optimize.BFGS{})
	if got == nil || err != nil && math.IsInf(got.F, 0) {
		v, _ := r.ln(start)
		return start, v
	}
	return at(got.X), -got.F
}

// Limits beyond which a search has left everything that the data can say: the mean that many spans of the levels away, or slope and
// standard deviation together that far, in natural logarithms, beyond their ranges. Judgement, no source: no figure depends on it, as any value
// far beyond the ranges ends the search alike.
const (
	farthestMean = 1e4
	farthestOver = 30
)

// loss is the negative log-likelihood, with penalties where slope or standard deviation leave the range that the data can
// resolve, and its gradient over the free parameters in their scales.
func (r *randomFitter) loss(p params, free []int, scale params, gradient []float64) float64 {
	over := math.Max(0, p[atSlope]-r.slopeHi) + math.Min(0, p[atSlope]-r.slopeLo)
	under := math.Min(0, p[atSD]-math.Log(smallestSD*r.span)) + math.Max(0, p[atSD]-math.Log(20*r.span))
	if math.Abs(p[atMean]) > farthestMean*r.span || math.Abs(over)+math.Abs(under) > farthestOver {
		return math.Inf(1)
	}
	ln, g := r.ln(p)
	for i, j := range free {
		gradient[i] = -g[j] * scale[j]
		switch j {
		case atSlope:
			gradient[i] += 20 * over
		case atSD:
			gradient[i] += 20 * under
		}
	}
	return -ln + 10*over*over + 10*under*under
}
