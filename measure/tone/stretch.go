package tone

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"heardiff/playback/pcm"
)

// ErrNoSignal is wrapped by errors about a recording that does not hold the signal the measurement needs.
var ErrNoSignal = errors.New("not the signal for this measurement")

// active is the part of a recording in which the signal stands, and how steady it is there.
type active struct {
	from, to int // frames
	// swingDB is the largest less the smallest level within it, in dB, of tenths of a second.
	swingDB []float64 // for each channel
	// holes counts tenths of a second in which the level fell by more than 20 dB, over all channels.
	holes int
	// clipped counts samples at full scale in each channel.
	clipped []int
	// same is true where all channels are equal in every sample.
	same bool
	// loudest is the largest RMS value of a tenth of a second in each channel.
	loudest []float64
}

// findActive reads all of r and returns where it is within 12 dB of its loudest tenth of a second in any
// channel, less a tenth at either end, where a signal fades or a filter rings.
func findActive(r pcm.Reader) (active, error) {
	f := r.Format()
	size := max(1, int(f.Rate)/10)
	levels := make([][]float64, f.Channels)
	a := active{clipped: make([]int, f.Channels), same: f.Channels > 1}
	full := 1.0
	if !f.Float {
		full -= math.Ldexp(1, 1-f.Bits)
	}
	err := pcm.Blocks(r, size, func(block [][]float64, _ int) error {
		for c, x := range block {
			sum := 0.0
			for i, v := range x {
				sum += v * v
				if math.Abs(v) >= full {
					a.clipped[c]++
				}
				a.same = a.same && v == block[0][i]
			}
			levels[c] = append(levels[c], math.Sqrt(sum/float64(len(x))))
		}
		return nil
	})
	if err != nil {
		return active{}, err
	}
	a.locate(levels, size, r.Frames())
	return a, nil
}

func (a *active) locate(levels [][]float64, size, frames int) {
	first, last := len(levels[0]), -1
	for _, l := range levels {
		top := slices.Max(l)
		a.loudest = append(a.loudest, top)
		for i, v := range l {
			if v > top/4 && top > 0 {
				first, last = min(first, i), max(last, i)
			}
		}
	}
	if last < 0 {
		return
	}
	// The tenth in which the signal begins may be silent for most of it, and after that a filter rings: it is left
	// out, and the last one likewise. A short recording keeps the ends that are its own.
	long := last-first >= 10
	if first > 0 || long {
		first++
	}
	a.from, a.to = first*size, min((last+1)*size, frames)
	if last < len(levels[0])-1 || long {
		a.to = last * size
		last--
	}
	for _, l := range levels {
		a.swingDB = append(a.swingDB, a.swing(l, first, last))
	}
}

func (a *active) swing(levels []float64, first, last int) float64 {
	low, high := math.Inf(1), 0.0
	top := slices.Max(levels)
	for i := first; i <= last; i++ {
		v := levels[i]
		if v < top/10 && i < len(levels)-1 {
			a.holes++
			continue
		}
		if i < len(levels)-1 { // the last tenth may be a short one
			low, high = min(low, v), max(high, v)
		}
	}
	if high == 0 {
		return math.NaN()
	}
	return pcm.DB(high / low)
}

// warnings returns what is wrong with a recording of a steady signal.
func (a active) warnings(rate pcm.Rate, steadyDB float64) []string {
	var list []string
	for c, n := range a.clipped {
		if n > 0 {
			list = append(list, fmt.Sprintf("channel %d: %d samples at full scale: clipped, the distortion may be the recorder's", c+1, n))
		}
	}
	for c, db := range a.swingDB {
		if db > steadyDB {
			list = append(list, fmt.Sprintf("channel %d: the level moves by %.2f dB: automatic gain, a limiter, or somebody at the knob", c+1, db))
		}
	}
	if a.holes > 0 {
		list = append(list, fmt.Sprintf("%d tenths of a second lie 20 dB or more below the rest: dropouts", a.holes))
	}
	if a.same && a.to > a.from {
		list = append(list, "all channels are equal in every sample: one channel recorded twice, or a mono source")
	}
	return list
}

// stretches calls visit with successive stretches of the active part, of equal length, size frames or a little more.
func (a active) stretches(r pcm.Reader, size int, visit func(block [][]float64) error) error {
	count := max(1, (a.to-a.from)/size)
	length := (a.to - a.from) / count
	buf := pcm.Planes(r.Format().Channels, length)
	for i := range count {
		from := a.from + i*length
		if n, err := r.ReadFrames(buf, from); n < length {
			return fmt.Errorf("read at frame %d: %w", from, err)
		}
		if err := visit(buf); err != nil {
			return err
		}
	}
	return nil
}
