package spectrum

import (
	"fmt"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
)

// PowerOfTwo returns the smallest power of two that is n or more.
func PowerOfTwo(n int) int {
	if n <= 1 {
		return 1
	}
	return 1 << bits.Len(uint(n-1))
}

// Halved returns size, halved until it is no more than most, or no more than least: the length of blocks of which so many are to fit into what there
// is.
func Halved(size, least, most int) int {
	for size > least && size > most {
		size /= 2
	}
	return size
}

// Plan transforms real sequences of one length. It owns its work space: not safe for concurrent use.
type Plan struct {
	n      int
	fft    *fourier.FFT
	padded []float64
}

// NewPlan returns a plan for n samples. It panics unless n is a power of two, 2 or more: other lengths are
// several times slower, and prime ones both hopeless and inaccurate.
func NewPlan(n int) *Plan {
	mustBePower(n)
	return &Plan{n: n, fft: fourier.NewFFT(n)}
}

func mustBePower(n int) {
	if n < 2 || n&(n-1) != 0 {
		panic(fmt.Sprintf("spectrum: transform of %d samples, want a power of two", n))
	}
}

// Len returns the number of samples.
func (p *Plan) Len() int { return p.n }

// Forward writes X[k] = Σ src[i]·exp(−j2πki/n), k = 0 to n/2, into dst and returns it; a nil dst is made.
// A src shorter than n is padded with zeros. It panics if src is longer, or dst is not n/2 + 1 long.
func (p *Plan) Forward(dst []complex128, src []float64) []complex128 {
	if len(src) > p.n {
		panic(fmt.Sprintf("spectrum: %d samples given to a transform of %d", len(src), p.n))
	}
	if len(src) < p.n {
		if p.padded == nil {
			p.padded = make([]float64, p.n)
		}
		clear(p.padded[copy(p.padded, src):])
		src = p.padded
	}
	return p.fft.Coefficients(dst, src)
}

// Inverse writes the n samples whose transform is src into dst and returns it; a nil dst is made.
// Inverse of Forward is the identity. It panics if a length does not fit.
func (p *Plan) Inverse(dst []float64, src []complex128) []float64 {
	dst = p.fft.Sequence(dst, src)
	floats.Scale(1/float64(p.n), dst)
	return dst
}

// ComplexPlan transforms complex sequences of one length. It owns its work space: not safe for concurrent use.
type ComplexPlan struct {
	n    int
	fft  *fourier.CmplxFFT
	long *long // instead of fft, from longFrom samples
}

// NewComplexPlan returns a plan for n samples. It panics unless n is a power of two, 2 or more.
func NewComplexPlan(n int) *ComplexPlan {
	mustBePower(n)
	if n >= longFrom {
		return &ComplexPlan{n: n, long: newLong(n)}
	}
	return &ComplexPlan{n: n, fft: fourier.NewCmplxFFT(n)}
}

// Len returns the number of samples.
func (p *ComplexPlan) Len() int { return p.n }

// Forward writes X[k] = Σ src[i]·exp(−j2πki/n), k = 0 to n−1, into dst and returns it; a nil dst is made.
// dst may be src. It panics if a length is not n.
func (p *ComplexPlan) Forward(dst, src []complex128) []complex128 {
	if p.long == nil {
		return p.fft.Coefficients(dst, src)
	}
	dst = p.check(dst, src)
	p.long.forward(dst, src)
	return dst
}

func (p *ComplexPlan) check(dst, src []complex128) []complex128 {
	if dst == nil {
		dst = make([]complex128, p.n)
	}
	if len(src) != p.n || len(dst) != p.n {
		panic("spectrum: length differs from the plan's")
	}
	return dst
}

// Inverse writes the samples whose transform is src into dst and returns it; a nil dst is made.
// Inverse of Forward is the identity. It panics if a length is not n.
func (p *ComplexPlan) Inverse(dst, src []complex128) []complex128 {
	scale := complex(1/float64(p.n), 0)
	if p.long == nil {
		dst = p.fft.Sequence(dst, src)
	} else {
		// Forward runs through the bins the other way round: k and n−k change places.
		dst = p.check(dst, src)
		p.long.forward(dst, src)
		slices.Reverse(dst[1:])
	}
	for i := range dst {
		dst[i] *= scale
	}
	return dst
}
