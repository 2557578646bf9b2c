package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Procedure is a discrimination procedure and its model of the decision. Through it, results of different procedures are
// put on the same scale: d′ is a property of listener and stimuli, percent correct a property of the procedure.
type Procedure uint8

// Procedures. The zero value is ABX judged as independent observations.
const (
	ABXObservations Procedure = iota // ABX, the three presentations judged as independent observations
	DuoTrio                          // duo-trio, and ABX judged by the distance of X to A and to B
	TwoChoices                       // which of two has more of it (2-AFC)
	ThreeChoices                     // which of three has more of it (3-AFC)
	Triangle                         // which of three is the odd one
	Tetrad                           // sort four into two pairs
)

var procedureNames = []string{"abx", "duo-trio", "2-afc", "3-afc", "triangle", "tetrad"}

// String returns the procedure's name: abx, duo-trio, 2-afc, 3-afc, triangle or tetrad.
func (p Procedure) String() string { return nameOf("procedure", procedureNames, p) }

// MarshalText writes the name.
func (p Procedure) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// ParseProcedure reads a name that String writes.
func ParseProcedure(name string) (Procedure, error) {
	return named[Procedure]("procedure", procedureNames, name)
}

func (p Procedure) check() error {
	if int(p) >= len(procedureNames) {
		return fmt.Errorf("stats: %s is unknown", p)
	}
	return nil
}

// models returns the functions from proportion correct to d′ by independent observations and by differences; they return
// NaN where the procedure has no such model here. For two alternatives both models are the same: the choice depends on the
// difference alone.
func (p Procedure) models() (independent, differencing func(pc float64) float64) {
	none := func(float64) float64 { return math.NaN() }
	switch p {
	case ABXObservations:
		return p.DPrime, DuoTrio.DPrime
	case TwoChoices:
		return p.DPrime, p.DPrime
	case ThreeChoices:
		return p.DPrime, none
	}
	return none, p.DPrime
}

// TwoModels reports whether the procedure is scored by two models of d′, independent observations and differences, that
// give different figures.
func (p Procedure) TwoModels() bool { return p == ABXObservations }

// Chance returns the chance of a correct answer by guessing, 1/2 or 1/3.
func (p Procedure) Chance() float64 {
	switch p {
	case ThreeChoices, Triangle, Tetrad:
		return 1.0 / 3
	}
	return 0.5
}

// Correct returns the chance of a correct answer at d′ ≥ 0.
//
//	abx       Φ(d′/√2)·Φ(d′/2) + Φ(−d′/√2)·Φ(−d′/2)
//	duo-trio  Φ(d′/√2)·Φ(d′/√6) + Φ(−d′/√2)·Φ(−d′/√6)
//	2-afc     Φ(d′/√2)
//	3-afc     ∫ φ(z − d′)·Φ(z)² dz
//	triangle  2·∫₀^∞ [Φ(−z√3 + d′√(2/3)) + Φ(−z√3 − d′√(2/3))]·φ(z) dz
//	tetrad    1 − 2·∫ φ(z)·[2·Φ(z)·Φ(z − d′) − Φ(z − d′)²] dz
//
// ref: Ennis (1993); Ennis, Rousseau & Ennis (2014); Macmillan & Creelman (2005), chapters 7 and 9.
func (p Procedure) Correct(d float64) float64 {
	switch p {
	case ABXObservations:
		return ABXIndependent(d)
	case DuoTrio:
		return ABXDifferencing(d)
	case TwoChoices:
		return normalCDF(d / math.Sqrt2)
	case ThreeChoices:
		return integral(d-reach, d+reach, func(z float64) float64 { return normalDensity(z-d) * math.Pow(normalCDF(z), 2) })
	case Triangle:
		shift := d * math.Sqrt(2.0/3)
		return 2 * integral(0, reach, func(z float64) float64 {
			return (normalCDF(shift-z*math.Sqrt(3)) + normalCDF(-shift-z*math.Sqrt(3))) * normalDensity(z)
		})
	}
	return 1 - 2*integral(-reach, reach, func(z float64) float64 {
		other := normalCDF(z - d)
		return normalDensity(z) * other * (2*normalCDF(z) - other)
	})
}

// reach is the distance from its centre to which a normal density is integrated; 2e-23 lies beyond.
const reach = 10

// integral is Gauss–Legendre quadrature over [lo, hi] in 20 panels of 20 nodes: 16 digits for the smooth integrands
// here, at any d′ up to 30.
func integral(lo, hi float64, f func(float64) float64) float64 {
	const panels = 20
	sum, width := 0.0, (hi-lo)/panels
	for i := range panels {
		from := lo + float64(i)*width
		sum += quad.Fixed(f, from, from+width, 20, quad.Legendre{}, 0)
	}
	return sum
}

func normalDensity(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// DPrime returns the d′ at which Correct is pc: 0 at or below chance, NaN at 1 and above.
func (p Procedure) DPrime(pc float64) float64 {
	switch {
	case math.IsNaN(pc) || pc >= 1:
		return math.NaN()
	case pc <= p.Chance():
		return 0
	case p == ABXObservations:
		return ABXIndependentInverse(pc)
	case p == DuoTrio:
		return ABXDifferencingInverse(pc)
	case p == TwoChoices:
		return math.Sqrt2 * normalQuantile(pc)
	}
	// Beyond d′ = 30 all of them are 1 to double precision.
	return rootBetween(func(d float64) float64 { return p.Correct(d) - pc }, 0, 30)
}

// Slope returns the derivative of Correct at d′. It is 0 at d′ = 0 except for 2-afc and 3-afc: near zero the proportion
// correct hardly depends on d′, so that no interval may be built on a standard error there.
func (p Procedure) Slope(d float64) float64 {
	switch p {
	case ABXObservations:
		return erfProductSlope(d, 2*math.Sqrt2)
	case DuoTrio:
		return erfProductSlope(d, math.Sqrt(12))
	case TwoChoices:
		return normalDensity(d/math.Sqrt2) / math.Sqrt2
	case ThreeChoices: // of Φ(z + d)², the same integral about z
		return integral(-reach, reach, func(z float64) float64 {
			return 2 * normalDensity(z) * normalCDF(z+d) * normalDensity(z+d)
		})
	case Triangle:
		root := math.Sqrt(2.0 / 3)
		return 2 * root * integral(0, reach, func(z float64) float64 {
			w := z * math.Sqrt(3)
			return (normalDensity(d*root-w) - normalDensity(d*root+w)) * normalDensity(z)
		})
	}
	return 4 * integral(-reach, reach, func(z float64) float64 {
		return normalDensity(z) * normalDensity(z-d) * (normalCDF(z) - normalCDF(z-d))
	})
}

// erfProductSlope is the derivative of [1 + erf(d/2)·erf(d/c)]/2.
func erfProductSlope(d, c float64) float64 {
	return (math.Exp(-d*d/4)*math.Erf(d/c)/2 + math.Erf(d/2)*math.Exp(-d*d/(c*c))/c) / math.Sqrt(math.Pi)
}

// DPrimeError returns the large-sample standard error of d′ after k of n, √[p(1 − p)/n] over the slope. It is NaN at or
// below chance and at a perfect score, and of no use near them: derive intervals from the limits of the proportion.
//
// ref: Bi, Ennis & O'Mahony (1997).
func (p Procedure) DPrimeError(k, n int) float64 {
	if checkCounts(k, n) != nil || k == n || float64(k) <= p.Chance()*float64(n) {
		return math.NaN()
	}
	pc := float64(k) / float64(n)
	return math.Sqrt(pc*(1-pc)/float64(n)) / p.Slope(p.DPrime(pc))
}
