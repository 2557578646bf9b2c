// Package audible holds the band in which captures are compared, kernels that are exact in it, and its transforms.
package audible

import (
	"math"
	"sync"

	"heardiff/measure/interpolate"
	"heardiff/playback/pcm"
)

// LowHz and HighHz bound the audible band, in which captures are compared.
const LowHz, HighHz = 20.0, 20000.0

// Kernels interpolate up to 20 kHz, or 0.92 of Nyquist where that is less: Exact leaves −145 dB, for the residual of two
// captures; Quick −100 dB, which is less than a millionth of a frame, for finding their place. What lies
// within their reach of the ends of a capture is not compared.
type Kernels struct{ Exact, Quick *interpolate.Kernel }

// NewKernels returns the kernels for a rate.
func NewKernels(rate pcm.Rate) (k Kernels, err error) {
	pass := Edge(rate) / (rate.Hz() / 2)
	if k.Exact, err = interpolate.New(interpolate.Config{Pass: pass, ErrorDB: -145}); err != nil {
		return k, err
	}
	k.Quick, err = interpolate.New(interpolate.Config{Pass: pass, ErrorDB: -100})
	return k, err
}

// Edge returns the upper end of the band in Hz: HighHz, or 0.92 of Nyquist where that is less.
func Edge(rate pcm.Rate) float64 { return math.Min(HighHz, 0.92*rate.Hz()/2) }

// PerIndependentBin is how many bins are worth one, since the window w correlates neighbours and overlapping blocks. Over a
// Hann window and its neighbours half a window away, Σ(Σw²)²/(Σw²)² per bin is (35 + 3)/128 to (3/8)²; 35/18 where blocks do not overlap.
const PerIndependentBin = 19. / 9

// Workers is how many goroutines share out blocks: fixed, so that sums are added in the same order on every machine.
const Workers = 4

// Share calls each for every block from 0 to n − 1, shared out in turn between the workers, who are numbered from 0.
func Share(n int, each func(worker, block int)) {
	var wait sync.WaitGroup
	for w := range Workers {
		wait.Go(func() {
			for i := w; i < n; i += Workers {
				each(w, i)
			}
		})
	}
	wait.Wait()
}
