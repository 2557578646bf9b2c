package stats

import "math"

// Count is k correct of n.
type Count struct {
	Correct int `json:"correct"`
	Trials  int `json:"trials"`
}

// BetaBinomial describes listeners whose true proportions differ: each p is drawn from a beta distribution.
type BetaBinomial struct {
	Mean       float64    `json:"mean"` // of the listeners' p
	Rho        float64    `json:"rho"`  // intraclass correlation: 0 all alike, 1 each all right or all wrong
	P          float64    `json:"p_overdispersion"`
	Log10P     float64    `json:"log10_p_overdispersion"`
	Interval   [2]float64 `json:"interval"` // of Mean, profile likelihood widened for few listeners; an end that does not exist is NaN
	Likelihood float64    `json:"log_likelihood"`
	LR         float64    `json:"likelihood_ratio"` // against the binomial
}

// betaBinomial holds how many listeners have more than j right, more than j wrong and more than j trials: the
// sufficient statistics of the likelihood.
type betaBinomial struct {
	right, wrong, trials steps
	constant             float64 // Σ ln C(n, k)
}

func newBetaBinomial(counts []Count) betaBinomial {
	var b betaBinomial
	right, wrong, trials := make([]int, len(counts)), make([]int, len(counts)), make([]int, len(counts))
	for i, c := range counts {
		right[i], wrong[i], trials[i] = c.Correct, c.Trials-c.Correct, c.Trials
		b.constant += lnChoose(c.Trials, c.Correct)
	}
	b.right, b.wrong, b.trials = exceeding(right), exceeding(wrong), exceeding(trials)
	return b
}

func lnChoose(n, k int) float64 {
	return lnBinomialPoint(k, n, 0.5) + float64(n)*math.Ln2
}

// ln returns the log-likelihood at mean mu and θ = rho/(1 − rho); at θ = 0 it is the binomial's.
//
//	Σ_j [#(k>j)·ln(μ + jθ) + #(n−k>j)·ln(1 − μ + jθ) − #(n>j)·ln(1 + jθ)]
func (b betaBinomial) ln(mu, theta float64) float64 {
	return b.constant + b.right.rising(mu, theta) + b.wrong.rising(1-mu, theta) - b.trials.rising(1, theta)
}

// atMean returns the largest log-likelihood at mean mu, and the rho that reaches it.
func (b betaBinomial) atMean(mu float64) (ln, rho float64) {
	rho, ln = peak(func(r float64) float64 { return b.ln(mu, r/(1-r)) }, 0, 1-1e-9)
	if flat := b.ln(mu, 0); flat >= ln {
		return flat, 0
	}
	return ln, rho
}

// FitBetaBinomial fits by maximum likelihood. With fewer than two listeners, or where all answers are right or all
// wrong, the spread is not identifiable and the fields are NaN.
//
// ref: Ennis & Bi (1998); the likelihood ratio's χ²₁ tail is halved because rho = 0 lies on the boundary.
func FitBetaBinomial(counts []Count, confidence float64) BetaBinomial {
	total := sumCounts(counts)
	if len(counts) < 2 || total.Correct == 0 || total.Correct == total.Trials {
		nan := math.NaN()
		return BetaBinomial{nan, nan, nan, nan, [2]float64{nan, nan}, nan, nan}
	}
	b := newBetaBinomial(counts)
	profile := func(mu float64) float64 {
		ln, _ := b.atMean(mu)
		return ln
	}
	mean, most := peak(profile, 1e-9, 1-1e-9)
	_, rho := b.atMean(mean)
	pooled := float64(total.Correct) / float64(total.Trials)
	flat := b.ln(pooled, 0)
	if flat >= most || rho == 0 {
		mean, most, rho = pooled, flat, 0
	}
	lr := math.Max(0, 2*(most-flat))
	ln := lnChiSquareUpper(lr, 1) - math.Ln2
	if lr == 0 {
		ln = -math.Ln2
	}
	fall := meanFall(len(counts), confidence)
	excess := func(mu float64) float64 { return profile(mu) - most + fall }
	return BetaBinomial{Mean: mean, Rho: rho, P: math.Exp(ln), Log10P: log10Of(ln), Likelihood: most, LR: lr,
		Interval: [2]float64{endOrNaN(excess, 1e-9, mean), endOrNaN(excess, 1-1e-9, mean)}}
}

// endOrNaN returns where excess changes sign between far and near, NaN where it does not.
func endOrNaN(excess func(float64) float64, far, near float64) float64 {
	if excess(far) >= 0 {
		return math.NaN()
	}
	return rootBetween(excess, math.Min(far, near), math.Max(far, near))
}

func sumCounts(counts []Count) Count {
	var t Count
	for _, c := range counts {
		t.Correct += c.Correct
		t.Trials += c.Trials
	}
	return t
}

// Heterogeneity tests whether listeners differ by more than chance.
type Heterogeneity struct {
	Chi2     float64 `json:"chi2"` // Pearson's, against the pooled proportion
	DF       int     `json:"df"`
	P        float64 `json:"p_value"`
	Log10P   float64 `json:"log10_p_value"`
	Tarone   float64 `json:"tarone_z"`
	TaroneP  float64 `json:"tarone_p"` // one-sided: more spread than binomial
	TaroneLP float64 `json:"log10_tarone_p"`
}

// TestHeterogeneity returns Pearson's χ² and Tarone's Z. NaN where all answers are right or all wrong, or with fewer
// than two listeners.
//
// ref: Tarone (1979), Z = (S − Σn)/√(2·Σn(n−1)), S = Σ(k − n·p)²/(p·q).
func TestHeterogeneity(counts []Count) Heterogeneity {
	t := sumCounts(counts)
	p := float64(t.Correct) / float64(t.Trials)
	nan := math.NaN()
	if len(counts) < 2 || p == 0 || p == 1 {
		return Heterogeneity{nan, max(0, len(counts)-1), nan, nan, nan, nan, nan}
	}
	var chi2, s, pairs float64
	for _, c := range counts {
		n := float64(c.Trials)
		square := math.Pow(float64(c.Correct)-n*p, 2) / (p * (1 - p))
		chi2 += square / n
		s += square
		pairs += n * (n - 1)
	}
	df := len(counts) - 1
	z := (s - float64(t.Trials)) / math.Sqrt(2*pairs)
	ln, lnT := lnChiSquareUpper(chi2, df), lnNormalUpper(z)
	return Heterogeneity{chi2, df, math.Exp(ln), log10Of(ln), z, math.Exp(lnT), log10Of(lnT)}
}
