// Package interpolate evaluates sampled audio between its samples.
//
// The interpolator is a Kaiser-windowed sinc. A long one is applied in two steps: its values at whole and half frames double the
// rate, which takes fixed weights, the same on both sides; between the samples of the doubled rate, half of whose band is empty, a
// short one suffices. The weights of a short one are in a table of finely spaced phases and are interpolated linearly between them.
// Frequencies are fractions of the Nyquist frequency, positions and shifts are frames, and may be any real number. Before the
// first and after the last frame there is silence.
//
// Two designs matter:
//   - the transparent one (the zero Config) is exact to −140 dB up to 0.9 of Nyquist, and whole shifts return
//     the samples themselves, bit for bit. Above 0.9 its response depends on the fraction of the shift;
//   - one that has stopped at Nyquist (Stop 1) has the same response for every shift, at every frequency:
//     whatever it does to one capture it does to any other, however they are shifted.
package interpolate

import (
	"fmt"
	"math"
	"sync"

	"heardiff/playback/pcm"
)

// Config says what a Kernel must do. The zero value is the transparent design.
type Config struct {
	// Pass is the end of the passband as a fraction of Nyquist, inside (0, 1). 0 means 0.9.
	Pass float64
	// Stop is where the response has fallen to the error, as a fraction of Nyquist, inside (Pass, 2 − Pass].
	// 0 means 2 − Pass, where the first image of the passband begins.
	Stop float64
	// ErrorDB is the largest error in the passband and the largest image of it, in dB, between −145 and −40.
	// 0 means −140.
	ErrorDB float64
}

func (c Config) filled() Config {
	if c.Pass == 0 {
		c.Pass = 0.9
	}
	if c.Stop == 0 {
		c.Stop = 2 - c.Pass
	}
	if c.ErrorDB == 0 {
		c.ErrorDB = -140
	}
	return c
}

// Validate returns an error that names the field that is out of its range.
func (c Config) Validate() error {
	f := c.filled()
	switch {
	case !(f.Pass > 0 && f.Pass < 1):
		return fmt.Errorf("interpolate: Pass %v: want a fraction of Nyquist between 0 and 1", c.Pass)
	case !(f.Stop > f.Pass && f.Stop <= 2-f.Pass):
		return fmt.Errorf("interpolate: Stop %v: want more than Pass %v and at most %v", c.Stop, f.Pass, 2-f.Pass)
	case !(f.ErrorDB >= leastErrorDB && f.ErrorDB <= mostErrorDB):
		return fmt.Errorf("interpolate: an error of %v dB: want −%v to −%v", c.ErrorDB, -leastErrorDB, -mostErrorDB)
	}
	return nil
}

// leastErrorDB is a little more than the −150 dB that the table reaches; above mostErrorDB Kaiser's rule does not hold.
const leastErrorDB, mostErrorDB = -145, -40

// Kernel is an interpolator of one design. It does not change after New and may be shared.
type Kernel struct {
	half     int // frames that it reaches to either side
	exact    bool
	doubling *doubling // nil where the table is applied to the frames themselves
	table    table
}

// shortTaps is the length up to which a kernel is applied in one step, the quicker way (measured).
const shortTaps = 32

// Between the samples of a doubled rate, of which the lower half of the band is filled, this table errs by −150 dB.
const (
	fineHalf          = 11
	fineReach         = (fineHalf + 1) / 2 // in frames
	fineAttenuationDB = 160
	finePhases        = 4096
)

// New designs a kernel. It returns the error of cfg.Validate.
//
// Length and shape are Kaiser's: for a transition of Δω rad and an attenuation of A dB,
//
//	taps = (A − 7.95)/(2.285·Δω), β = 0.1102·(A − 8.7)
//
// with 10 dB more attenuation than asked for, because images add up.
// ref: J. F. Kaiser's design formulas as given in any textbook of digital filters.
func New(cfg Config) (*Kernel, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	cfg = cfg.filled()
	attenuation := 10 - cfg.ErrorDB
	taps := (attenuation - 7.95) / (2.285 * math.Pi * (cfg.Stop - cfg.Pass))
	shape := newShape((cfg.Pass+cfg.Stop)/2, int(math.Ceil(taps/2))+1, attenuation)
	k := &Kernel{exact: shape.cutoff == 1}
	if 2*shape.half <= shortTaps {
		k.half, k.table = shape.half, shape.table(phases)
		return k, nil
	}
	k.half = shape.half + fineReach
	k.doubling = shape.doubling()
	k.table = fine()
	return k, nil
}

// Must is New for a design that is known to be valid. It panics where it is not.
func Must(cfg Config) *Kernel {
	k, err := New(cfg)
	if err != nil {
		panic(err.Error())
	}
	return k
}

// fine returns the table for doubled rates, the same for every kernel.
var fine = sync.OnceValue(func() table { return newShape(1, fineHalf, fineAttenuationDB).table(finePhases) })

// Half returns how many frames the kernel reaches to either side of a position.
func (k *Kernel) Half() int { return k.half }

// instant is a place in the sequence that the table is applied to.
type instant struct {
	at, row int     // the sample before it, and the row of the table below its fraction
	weight  float64 // of the next row
}

// run is a stretch of frames that are evaluated together.
type run struct {
	instants  []instant
	lo, hi    int  // the lowest and highest whole frame of the source
	fractions bool // whether any lies between frames
}

// runFrames is how many frames a run has, and runSpan the most frames of the source that it covers: their doubled samples stay in the
// processor's nearest cache.
const (
	runFrames = 400
	runSpan   = 2 * runFrames
)

// Shift fills dst[c][i] with channel c of src at the position first + i + shift[i], in frames of src.
// Channels and lengths of dst and shift must agree. It panics where src does not reach half frames (see Half)
// to either side of a position; Stream supplies the silence around a recording.
func (k *Kernel) Shift(dst, src [][]float64, first int, shift []float64) {
	r := run{instants: make([]instant, 0, min(runFrames, len(shift)))}
	out, in := make([][]float64, len(dst)), make([][]float64, len(dst))
	var doubled [][]float64
	for from := 0; from < len(shift); from += len(r.instants) {
		k.place(&r, first+from, shift[from:])
		for c := range dst {
			out[c], in[c] = dst[c][from:from+len(r.instants)], src[c][r.lo-k.half+1:r.hi+k.half+1]
		}
		switch {
		case k.doubling == nil:
			k.table.evaluate(out, in, r.instants, k.exact)
		case !r.fractions:
			k.doubling.evaluate(out, in, r.instants)
		default:
			if doubled == nil {
				doubled = pcm.Planes(len(dst), 2*(runSpan+2*fineReach+1))
			}
			for c, x := range in {
				in[c] = doubled[c][:2*(r.hi-r.lo+2*fineReach+1)]
				k.doubling.apply(in[c], x)
			}
			k.table.evaluate(out, in, r.instants, true)
		}
	}
}

// place finds the run at the beginning of the frames at first + i + shift[i], of at least one. Its instants count from the first sample
// that the kernel needs.
func (k *Kernel) place(r *run, first int, shift []float64) {
	*r = run{instants: r.instants[:0], lo: math.MaxInt, hi: math.MinInt}
	for i, s := range shift[:min(cap(r.instants), len(shift))] {
		whole, f := split(s)
		at := first + i + whole
		if lo, hi := min(r.lo, at), max(r.hi, at); i == 0 || hi-lo < runSpan {
			r.lo, r.hi = lo, hi
		} else {
			break
		}
		r.fractions = r.fractions || f != 0
		r.instants = append(r.instants, instant{at: at, weight: f})
	}
	begin, twice := r.lo-k.half+1, 1
	if k.doubling != nil && r.fractions {
		begin, twice = 2*(r.lo-fineReach), 2
	}
	for i, s := range r.instants {
		at, f := twice*s.at, float64(twice)*s.weight
		if f >= 1 {
			at, f = at+1, f-1
		}
		p := f * float64(k.table.phases)
		r.instants[i] = instant{at: at - begin, row: int(p), weight: p - float64(int(p))}
	}
}

// split returns the whole frames below s and the fraction, 0 ≤ fraction < 1.
func split(s float64) (whole int, fraction float64) {
	floor := math.Floor(s)
	fraction = s - floor
	if fraction >= 1 { // s is a hair below a whole number and the difference was rounded
		return int(floor) + 1, 0
	}
	return int(floor), fraction
}
