package stats

import (
	"math"
)

// Shape is the form of a psychometric function.
type Shape uint8

// Shapes; u is log10 of the dose, or the dose itself on a linear scale, and u_t the threshold in the same unit.
const (
	Weibull  Shape = iota // 1 − 2^−(x/t)^s
	Logistic              // 1/(1 + exp(−s·(u − u_t)))
	Normal                // Φ(s·(u − u_t))
)

var shapeNames = []string{"weibull", "logistic", "normal"}

// String returns the shape's name: weibull, logistic or normal.
func (s Shape) String() string { return nameOf("shape", shapeNames, s) }

// MarshalText writes the shape's name.
func (s Shape) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// ParseShape reads a shape's name.
func ParseShape(name string) (Shape, error) {
	return named[Shape]("shape", shapeNames, name)
}

// rise returns F, 0 to 1 and 1/2 at the threshold, at distance v = s·(u − u_t) from it.
func (s Shape) rise(v float64) float64 {
	switch s {
	case Weibull:
		return -math.Expm1(-math.Ln2 * math.Pow(10, v))
	case Logistic:
		return 1 / (1 + math.Exp(-v))
	}
	return normalCDF(v)
}

// certain returns the distances below and above the threshold, in the unit of rise's argument, beyond which rise is 0 and
// 1 to the last digit.
func (s Shape) certain() (below, above float64) {
	switch s {
	case Weibull:
		return 17, 2
	case Logistic:
		return 40, 40
	}
	return 9, 9
}

// telling returns the distances from the threshold at which rise is about 0.01 and 0.99.
func (s Shape) telling() (low, high float64) {
	switch s {
	case Weibull:
		return -2, 1
	case Logistic:
		return -5, 5
	}
	return -2.5, 2.5
}

// steep returns the derivative of rise.
func (s Shape) steep(v float64) float64 {
	switch s {
	case Weibull:
		x := math.Ln2 * math.Pow(10, v)
		return math.Ln10 * x * math.Exp(-x)
	case Logistic:
		return 1 / (2 + math.Exp(-v) + math.Exp(v))
	}
	return math.Exp(-v*v/2) / math.Sqrt(2*math.Pi)
}

// Curve is a psychometric function: the chance of a correct answer as it grows with the dose.
//
//	p(x) = guess + (1 − guess − lapse)·F(x)
//
// The threshold is the dose where F is 1/2.
type Curve struct {
	Shape     Shape   `json:"shape"`
	Guess     float64 `json:"guess"`
	Lapse     float64 `json:"lapse"`
	Threshold float64 `json:"threshold"`
	Slope     float64 `json:"slope"`
	Linear    bool    `json:"-"` // logistic and normal: in the dose itself, not in its log10
}

// At returns the chance of a correct answer at the dose.
func (c Curve) At(dose float64) float64 {
	v := c.Slope * (c.unit(dose) - c.unit(c.Threshold))
	if math.IsInf(c.unit(dose), -1) {
		return c.Guess
	}
	return c.Guess + (1-c.Guess-c.Lapse)*c.Shape.rise(v)
}

func (c Curve) unit(dose float64) float64 {
	if c.Linear && c.Shape != Weibull {
		return dose
	}
	return math.Log10(dose)
}

func (c Curve) dose(unit float64) float64 {
	if c.Linear && c.Shape != Weibull {
		return unit
	}
	return math.Pow(10, unit)
}
