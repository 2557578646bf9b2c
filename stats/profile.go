package stats

import "math"

// lnPairs returns the log-likelihood of the answers at hit rate h and false-alarm rate f, without constants.
func (c Pairs) lnPairs(h, f float64) float64 {
	return xlogy(c.Hits, h) + xlogy(c.Misses, 1-h) + xlogy(c.FalseAlarms, f) + xlogy(c.CorrectRejections, 1-f)
}

// lnDifferencing is lnPairs at the rates that the differencing model gives at d′ and criterion τ.
func (c Pairs) lnDifferencing(d, tau float64) float64 {
	return c.lnPairs(clampRate(differencingHit(d, tau)), clampRate(2*normalCDF(-tau/math.Sqrt2)))
}

func xlogy(n int, y float64) float64 {
	if n == 0 {
		return 0
	}
	return float64(n) * math.Log(y)
}

// differencingInterval returns the profile-likelihood interval of d′ in the differencing model: no normal
// approximation of d′ enters, which near zero would be nonsense.
func (s *PairScore) differencingInterval() [2]float64 {
	profile := func(d float64) float64 {
		_, l := peak(func(tau float64) float64 { return s.lnDifferencing(d, tau) }, 0, d+12)
		return l
	}
	return profileInterval(profile, s.Confidence, 40)
}

// independentInterval is the profile-likelihood interval of zH − zF, mapped to d′ of the independent model.
func (s *PairScore) independentInterval() [2]float64 {
	profile := func(z float64) float64 {
		_, l := peak(func(c float64) float64 {
			return s.lnPairs(clampRate(normalCDF(c+z/2)), clampRate(normalCDF(c-z/2)))
		}, -12, 12)
		return l
	}
	iv := profileInterval(profile, s.Confidence, 30)
	return [2]float64{pairIndependent(iv[0]), pairIndependent(iv[1])}
}

func clampRate(p float64) float64 { return math.Min(math.Max(p, 1e-300), 1-1e-16) }

// profileInterval returns where a profile log-likelihood over [0, top] stays within half the χ²₁ quantile of its
// largest; an end that does not exist is NaN above and 0 below.
func profileInterval(profile func(float64) float64, confidence, top float64) [2]float64 {
	best, most := peak(profile, 0, top)
	if at0 := profile(0); at0 >= most {
		best, most = 0, at0
	}
	z := normalUpperPoint(math.Log((1 - confidence) / 2))
	excess := func(x float64) float64 { return profile(x) - most + z*z/2 }
	iv := [2]float64{0, math.NaN()}
	if best > 0 && excess(0) < 0 {
		iv[0] = rootBetween(excess, 0, best)
	}
	if excess(top) < 0 {
		iv[1] = rootBetween(excess, best, top)
	}
	return iv
}
