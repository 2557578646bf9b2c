package stats

import "math"

// DiscriminatorSpread describes listeners whose true proportions of discriminators differ: each is right with probability
// c + (1 − c)·θ, θ drawn from a beta distribution. Unlike BetaBinomial it never puts a listener below chance. Fields that
// the data do not determine are NaN.
type DiscriminatorSpread struct {
	Mean       float64    `json:"mean"`     // of θ, over listeners
	Rho        float64    `json:"rho"`      // intraclass correlation of θ, 1/(a + b + 1)
	Interval   [2]float64 `json:"interval"` // of Mean, profile likelihood widened for few listeners; an end that does not exist is NaN
	Likelihood float64    `json:"log_likelihood"`
}

// chanceCorrected is the likelihood of the counts; times says how many listeners share each distinct count.
type chanceCorrected struct {
	lnGuess, lnRest float64 // ln c, ln(1 − c)
	distinct        []Count
	times           []float64
}

// maxTerms bounds the terms of one likelihood, which is computed some thousands of times.
const maxTerms = 20_000

// FitDiscriminators fits by maximum likelihood at chance c, inside (0, 1).
//
//	P(k) = C(n,k)·Σ_j C(k,j)·c^(k−j)·(1 − c)^(n−k+j)·B(a + j, b + n − k)/B(a, b)
//
// all of whose terms are positive. The fields are NaN with fewer than two listeners, with all answers right, or where the
// distinct counts of right answers add up to more than 20 000, whose sums would take too long.
//
// ref: Brockhoff (2003), Food Quality and Preference 14, 405: the chance-corrected beta-binomial model.
func FitDiscriminators(counts []Count, chance, confidence float64) DiscriminatorSpread {
	nan := math.NaN()
	total := sumCounts(counts)
	if len(counts) < 2 || total.Correct == total.Trials || !(chance > 0 && chance < 1) {
		return DiscriminatorSpread{nan, nan, [2]float64{nan, nan}, nan}
	}
	m, terms := chanceCorrected{lnGuess: math.Log(chance), lnRest: math.Log1p(-chance)}, 0
	index := map[Count]int{}
	for _, c := range counts {
		if _, ok := index[c]; !ok {
			index[c] = len(m.distinct)
			m.distinct, m.times, terms = append(m.distinct, c), append(m.times, 0), terms+c.Correct
		}
		m.times[index[c]]++
	}
	if terms > maxTerms {
		return DiscriminatorSpread{nan, nan, [2]float64{nan, nan}, nan}
	}
	profile := func(mean float64) float64 {
		ln, _ := m.atMean(mean)
		return ln
	}
	const edge = 1e-7
	mean, most := peak(profile, edge, 1-edge)
	_, rho := m.atMean(mean)
	fall := meanFall(len(counts), confidence)
	excess := func(mean float64) float64 { return profile(mean) - most + fall }
	return DiscriminatorSpread{Mean: mean, Rho: rho, Likelihood: most,
		Interval: [2]float64{endOrNaN(excess, edge, mean), endOrNaN(excess, 1-edge, mean)}}
}

// atMean returns the largest log-likelihood at a mean, and the rho that reaches it.
func (m chanceCorrected) atMean(mean float64) (ln, rho float64) {
	rho, ln = peak(func(r float64) float64 { return m.ln(mean, r) }, 1e-6, 1-1e-6)
	return ln, rho
}

func (m chanceCorrected) ln(mean, rho float64) float64 {
	spread := (1 - rho) / rho // a + b
	a, b := mean*spread, (1-mean)*spread
	prior := lnBetaFunction(a, b)
	sum := 0.0
	for i, c := range m.distinct {
		wrong := float64(c.Trials - c.Correct)
		first := float64(c.Correct)*m.lnGuess + wrong*m.lnRest + lnBetaFunction(a, b+wrong) - prior
		sum += m.times[i] * (lnChoose(c.Trials, c.Correct) + first + m.lnSeries(c.Correct, a, a+b+wrong))
	}
	return sum
}

// rescaleAt is where a sum is scaled down, far below the largest double of 1.8·10³⁰⁸.
const rescaleAt = 1e250

// lnSeries returns the logarithm of the sum over j, relative to its first term, by the recurrence
//
//	t_(j+1)/t_j = (k − j)/(j + 1)·(1 − c)/c·(a + j)/(a + b + n − k + j)
func (m chanceCorrected) lnSeries(k int, a, rest float64) float64 {
	odds := math.Exp(m.lnRest - m.lnGuess)
	sum, term, scaled := 1.0, 1.0, 0.0
	for j := range k {
		x := float64(j)
		term *= float64(k-j) / (x + 1) * odds * (a + x) / (rest + x)
		sum += term
		if sum > rescaleAt {
			sum, term, scaled = sum/rescaleAt, term/rescaleAt, scaled+math.Log(rescaleAt)
		}
	}
	return math.Log(sum) + scaled
}

// lnBetaFunction returns ln B(a, b).
func lnBetaFunction(a, b float64) float64 {
	x, _ := math.Lgamma(a)
	y, _ := math.Lgamma(b)
	z, _ := math.Lgamma(a + b)
	return x + y - z
}
