package tone

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// sine is A·cos(ω·t + φ), t in samples from the middle of the stretch it was fitted to.
type sine struct {
	phasor complex128 // A·exp(jφ)
	omega  float64    // radians per sample
}

func (s sine) amplitude() float64 { return cmplx.Abs(s.phasor) }

// oscillator turns a phasor by one step a sample; every exactEvery samples it is computed anew, which keeps its error
// below 1e-13.
type oscillator struct {
	omega, start float64
	now, step    complex128
	count        int
}

const exactEvery = 512

func newOscillator(omega, start float64) *oscillator {
	return &oscillator{omega: omega, start: start, now: cmplx.Rect(1, omega*start), step: cmplx.Rect(1, omega)}
}

// next returns exp(jωt) and goes on to the next sample.
func (o *oscillator) next() complex128 {
	v := o.now
	o.count++
	if o.count%exactEvery == 0 {
		o.now = cmplx.Rect(1, o.omega*(o.start+float64(o.count)))
	} else {
		o.now *= o.step
	}
	return v
}

func middle(x []float64) float64 { return float64(len(x)-1) / 2 }

// hann returns an oscillator whose real part, with 1 added, is twice a Hann window over n samples, with a mean of 1.
func hann(n int) *oscillator { return newOscillator(2*math.Pi/float64(n), -float64(n-1)/2) }

// fitSine returns the sine near frequency omega that fits x best, together with a constant (four parameters,
// least squares by Gauss and Newton; omega must be within a quarter period over the length of x). Samples count by a Hann window: with
// equal weights, a fit over T seconds takes a part of 1/(πdT) of whatever is d Hz away for the tone, whether hum or noise beyond the band.
//
// ref: IEEE Std 1057, sine-wave fit with unknown frequency (four parameters), there with equal weights.
func fitSine(x []float64, omega float64, rounds int) (s sine, constant float64) {
	s.omega = omega
	for round := range rounds + 1 {
		columns := 4
		if round == 0 {
			columns = 3 // the derivative by frequency needs a first amplitude
		}
		p := solveSine(x, s, columns)
		s.phasor = complex(p[0], -p[1])
		constant = p[2]
		if columns == 4 && round < rounds {
			s.omega += p[3]
		}
	}
	return s, constant
}

// solveSine returns a, b, c and the step of frequency of x ≈ a·cos ωt + b·sin ωt + c + dω·∂/∂ω.
func solveSine(x []float64, s sine, columns int) (p [4]float64) {
	var m [4][5]float64 // the upper half of the equations, the right side in column 4
	osc, taper := newOscillator(s.omega, -middle(x)), hann(len(x))
	t := -middle(x)
	var row [4]float64
	a, b := real(s.phasor), -imag(s.phasor)
	for _, v := range x {
		z, w := osc.next(), 1+real(taper.next())
		row[0], row[1], row[2] = real(z), imag(z), 1
		row[3] = t * (b*real(z) - a*imag(z))
		for i := range columns {
			for k := i; k < columns; k++ {
				m[i][k] += w * row[i] * row[k]
			}
			m[i][4] += w * row[i] * v
		}
		t++
	}
	equations, right := mat.NewSymDense(columns, nil), mat.NewVecDense(columns, nil)
	for i := range columns {
		right.SetVec(i, m[i][4])
		for k := i; k < columns; k++ {
			equations.SetSym(i, k, m[i][k])
		}
	}
	var factors mat.Cholesky
	if !factors.Factorize(equations) || factors.SolveVecTo(mat.NewVecDense(columns, p[:columns]), right) != nil {
		p = [4]float64{} // a silent stretch
	}
	return p
}

// subtract takes the sine out of x, in place.
func (s sine) subtract(x []float64) {
	osc := newOscillator(s.omega, -middle(x))
	for i := range x {
		x[i] -= real(s.phasor * osc.next())
	}
}

// restore puts a sine that was taken out of x back, in place.
func (s sine) restore(x []float64) {
	s.phasor = -s.phasor
	s.subtract(x)
}

// project returns the phasor of the component of x at frequency omega, seen through a Hann window: a component
// more than a few periods of the stretch away from it leaks nothing.
func project(x []float64, omega float64) complex128 {
	osc, taper := newOscillator(omega, -middle(x)), hann(len(x))
	var sum complex128
	for _, v := range x {
		w := v * (1 + real(taper.next()))
		z := osc.next()
		sum += complex(w*real(z), -w*imag(z))
	}
	return sum * complex(2/float64(len(x)), 0)
}
