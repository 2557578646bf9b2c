package tone

import (
	"math"
	"math/cmplx"

	"heardiff/measure/spectrum"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// product is a component at Σ order[i]·f_i of the tones.
type product struct {
	order []int
	sum   complex128 // of phasors turned back by the phases of the tones
	power float64    // Σ of their squared magnitudes, for the standard error
}

// tracker fits tones in one channel, stretch after stretch, and gathers their products and the residual.
type tracker struct {
	rate     float64
	omegas   []float64 // where the tones are, roughly; radians per sample
	products []product

	n         int         // stretches so far
	phases    [][]float64 // of each tone in successive twentieths of a second, in turns off its course
	ahead     []float64   // what has been read of the next
	squares   []float64   // Σ amplitude² of each tone
	frequency []float64   // Σ ω·amplitude² of each tone

	residual *spectrum.Averager // without the tones
	clean    *spectrum.Averager // without tones and products
	work     []float64
	bursts   bursts
}

// The block of a spectrum is of about two seconds, halved until blocksInPart of them fit into the recording, or down to leastBlock frames:
// fine enough to separate 50 Hz from 60 Hz harmonics, and with enough blocks to average. A judgement, no source;
// TestASpectrumHasBlocksToAverage holds it.
const blocksInPart, leastBlock = 4, 256

func spectrumSize(rate pcm.Rate, frames int) int {
	return spectrum.Halved(spectrum.PowerOfTwo(int(1.5*rate.Hz())), leastBlock, frames/blocksInPart)
}

// newAverager returns the averager for so many frames, which fill a block.
func newAverager(rate pcm.Rate, frames int) *spectrum.Averager {
	a, err := spectrum.NewAverager(spectrum.Config{
		RateHz: rate.Hz(), Size: spectrumSize(rate, frames), Window: spectrum.BlackmanHarris4(), Overlap: 0.5, // blocks are nearly independent, as Lines assumes for its odds
	})
	if err != nil {
		panic(err.Error())
	}
	return a
}

func newTracker(rate pcm.Rate, frames int, hz []float64, orders [][]int) *tracker {
	t := &tracker{
		rate: rate.Hz(), squares: make([]float64, len(hz)), frequency: make([]float64, len(hz)), phases: make([][]float64, len(hz)),
		residual: newAverager(rate, frames), clean: newAverager(rate, frames),
		bursts: bursts{size: max(1, int(math.Round(pieceSeconds*rate.Hz())))},
	}
	for _, f := range hz {
		t.omegas = append(t.omegas, 2*math.Pi*f/t.rate)
	}
	for _, o := range orders {
		t.products = append(t.products, product{order: o})
	}
	return t
}

// write analyses one stretch. x is changed: the tones and products are taken out.
func (t *tracker) write(x []float64) {
	t.follow(x)
	tones, parts, constant := t.fit(x)
	for k, s := range tones {
		p := s.amplitude() * s.amplitude()
		t.squares[k] += p
		t.frequency[k] += p * s.omega
		s.subtract(x)
	}
	floats.AddConst(-constant, x)
	t.residual.Write(x)
	for i, s := range parts {
		t.products[i].take(s, tones)
		s.subtract(x)
	}
	t.clean.Write(x)
	t.bursts.write(x)
	t.n++
}

const (
	mostRounds = 30
	// leastLeak is how much one component may leak into another, relative to the strongest tone: −180 dB.
	leastLeak = 1e-9
)

// fit fits the tones, a constant, and the products: each in turn with all the others taken out, until what moves leaves no
// trace in the others. A least-squares fit of the tone alone takes a part of each strong harmonic for the tone, the more the
// fewer periods they are apart; the noise then holds it.
func (t *tracker) fit(x []float64) (tones, parts []sine, constant float64) {
	tones, parts = make([]sine, len(t.omegas)), make([]sine, len(t.products))
	for k, w := range t.omegas {
		tones[k].omega = w
	}
	t.work = append(t.work[:0], x...)
	for round := range mostRounds {
		more, moved := t.fitTones(tones, round)
		constant += more
		leak := 0.0
		if round > 0 { // in the first round they begin at nothing
			leak = moved
		}
		for i, old := range parts {
			old.restore(t.work)
			parts[i] = t.products[i].of(t.work, tones)
			parts[i].subtract(t.work)
			leak = max(leak, cmplx.Abs(parts[i].phasor-old.phasor)*reach(len(x), tones, parts[i].omega))
		}
		if leak <= leastLeak*strongestOf(tones) && (round > 0 || len(tones) == 1) {
			break
		}
	}
	return tones, parts, constant
}

// fitTones fits each tone anew to the residual and itself. It returns the constant that it also subtracted, and by how much any
// sample of a tone has moved at the most.
func (t *tracker) fitTones(tones []sine, round int) (constant, moved float64) {
	for k, old := range tones {
		steps := 3
		if len(tones) > 1 { // the others are not known well enough at first for the frequency to be sought long
			steps = min(3, 1+round)
		}
		old.restore(t.work)
		s, c := fitSine(t.work, old.omega, steps)
		s.subtract(t.work)
		floats.AddConst(-c, t.work)
		constant += c
		moved = max(moved, cmplx.Abs(s.phasor-old.phasor)+s.amplitude()*math.Abs(s.omega-old.omega)*middle(t.work))
		tones[k] = s
	}
	return constant, moved
}

func strongestOf(tones []sine) float64 {
	most := 0.0
	for _, s := range tones {
		most = max(most, s.amplitude())
	}
	return most
}

// reach returns how much of what is at omega a least-squares fit takes for a tone, at the most, over n samples.
func reach(n int, tones []sine, omega float64) float64 {
	most := 0.0
	for _, s := range tones {
		if apart := math.Abs(omega-s.omega) * float64(n) / 2; apart > 0 {
			most = max(most, 1/apart)
		}
	}
	return min(1, most)
}

// omega returns the frequency of the product of tones, in radians per sample, and whether it is the mirror image of a negative frequency.
func (p *product) omega(tones []sine) (omega float64, conjugate bool) {
	for i, n := range p.order {
		omega += float64(n) * tones[i].omega
	}
	return math.Abs(omega), omega < 0
}

// of returns what x holds at the product's frequency.
func (p *product) of(x []float64, tones []sine) sine {
	omega, _ := p.omega(tones)
	return sine{phasor: project(x, omega), omega: omega}
}

// take adds what one stretch holds of the product.
func (p *product) take(s sine, tones []sine) {
	z, turn := s.phasor, complex(1, 0)
	for i, n := range p.order {
		turn *= cmplx.Rect(1, -float64(n)*cmplx.Phase(tones[i].phasor))
	}
	if _, conjugate := p.omega(tones); conjugate {
		z = cmplx.Conj(z)
	}
	z *= turn
	p.sum += z
	p.power += real(z)*real(z) + imag(z)*imag(z)
}

// amplitude returns the product's amplitude and the standard error of each of its two parts.
func (p product) amplitude(n int) (amplitude, se float64) {
	mean := p.sum / complex(float64(n), 0)
	amplitude = cmplx.Abs(mean)
	if n < 2 {
		return amplitude, math.NaN()
	}
	spread := p.power/float64(n) - amplitude*amplitude
	return amplitude, math.Sqrt(max(0, spread) / 2 / float64(n-1))
}

// tone returns amplitude (peak) and frequency in Hz of tone k, averaged over the stretches.
func (t *tracker) tone(k int) (amplitude, hz float64) {
	return math.Sqrt(t.squares[k] / float64(t.n)), t.frequency[k] / t.squares[k] * t.rate / (2 * math.Pi)
}

// weightedPower returns the mean square of the measurement band through a weighting in dB; nil means none.
func weightedPower(s spectrum.Spectrum, weight func(float64) float64) float64 {
	if weight == nil {
		return s.BandPower(bandLow, bandHigh)
	}
	sum, d := 0.0, s.BinHz()
	for k := s.Bin(bandLow); k <= s.Bin(min(bandHigh, s.RateHz/2)); k++ {
		from, to := max((float64(k)-.5)*d, bandLow), min((float64(k)+.5)*d, bandHigh)
		sum += s.Density[k] * max(0, to-from) * pcm.Ratio(2*weight(s.FreqHz(k)))
	}
	return sum
}

// The band of every figure, in Hz. ref: AES17, 20 Hz high-pass and 20 kHz low-pass.
const bandLow, bandHigh = 20.0, 20_000.0
