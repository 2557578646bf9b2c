package match

import (
	"fmt"
	"math"

	"heardiff/playback/pcm"
)

// level brings all presentations to the level of the first, then to the common loudness, with headroom.
func (p *preparation) level() {
	peak, gains := 0.0, make([]float64, len(p.out.Presentations))
	for i, v := range p.out.Presentations {
		if i > 0 && v.LevelBy == "least squares" {
			// The excerpt itself counts, not the whole capture.
			p.gains[i] = math.Abs(leastSquares(p.out.Presentations[0].Clip, v.Clip))
		}
		gains[i] = 1 / p.gains[i]
		for _, ch := range v.Clip.Channels {
			for _, s := range ch {
				peak = max(peak, math.Abs(s)*gains[i])
			}
		}
	}
	common := pcm.Ratio(p.cfg.LoudnessLUFS - ungatedLUFS(p.out.Presentations[0].Clip))
	if most := pcm.Ratio(p.cfg.PeakDBFS) / peak; common > most {
		common = most
		p.out.Warnings = append(p.out.Warnings, fmt.Sprintf("the common loudness was lowered so that no peak passes %.1f dBFS", p.cfg.PeakDBFS))
	}
	for i := range p.out.Presentations {
		gains[i] *= common
		p.out.Presentations[i].GainDB = pcm.DB(gains[i])
		for _, ch := range p.out.Presentations[i].Clip.Channels {
			for k := range ch {
				ch[k] *= gains[i] * p.lines[i].sign
			}
		}
	}
}

// leastSquares returns the factor from a to b.
func leastSquares(a, b pcm.Clip) float64 {
	var ab, aa float64
	for c := range a.Channels {
		for i, v := range a.Channels[c] {
			ab += v * b.Channels[c][i]
			aa += v * v
		}
	}
	if aa == 0 {
		return 1
	}
	return ab / aa
}

// ungatedLUFS returns the K-weighted level of a clip in LUFS, without gates.
// ref: ITU-R BS.1770, annex 1: −0.691 + 10·log10 of the summed mean squares of the weighted channels.
func ungatedLUFS(c pcm.Clip) float64 {
	r := newRemainder(c.Rate, len(c.Channels), 4096, 1)
	t := newTransformer(r, source{})
	x := make([]float64, r.n)
	count := 0
	for from := 0; from+r.n <= c.Len(); from += r.n {
		for k, ch := range c.Channels {
			copy(x, ch[from:])
			t.spectrum(t.fa, x)
			for i, z := range t.fa {
				r.aa[k][i] += real(z)*real(z) + imag(z)*imag(z)
			}
		}
		count++
	}
	sum := 0.0
	for k := range r.aa {
		for i := 1; i < r.n/2; i++ {
			sum += r.aa[k][i] * kWeight(float64(i)*c.Rate.Hz()/float64(r.n))
		}
	}
	// Parseval for one side of the spectrum, and the Hann window's mean square of 3/8.
	return -0.691 + pcm.PowerDB(2*sum/(0.375*float64(r.n)*float64(r.n)*float64(max(1, count))))
}

// finish fades the ends, rounds to the precision that will be played, and finds loop points.
func (p *preparation) finish() {
	fade := int(p.cfg.FadeS * p.rate.Hz())
	for _, v := range p.out.Presentations {
		for _, ch := range v.Clip.Channels {
			for i := range fade {
				// Raised cosine: its slope is continuous, so that the ends stay inaudible.
				w := 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(fade))
				ch[i] *= w
				ch[len(ch)-1-i] *= w
			}
			for i, s := range ch {
				ch[i] = float64(float32(s))
			}
		}
	}
	p.out.LoopFrames = [2]int{p.crossing(fade, 1), p.crossing(p.n-fade-2, -1)}
}

// crossing returns the frame nearest to from, going by step, at which the first channel of every presentation
// crosses zero upwards within one frame; from itself where none does within a quarter of a second.
func (p *preparation) crossing(from, step int) int {
	for k := range int(p.rate) / 4 {
		i, all := from+k*step, true
		if i < 2 || i+2 >= p.n {
			break
		}
		for _, v := range p.out.Presentations {
			x := v.Clip.Channels[0]
			all = all && x[i-1] <= 0 && x[i+1] > 0
		}
		if all {
			return i
		}
	}
	return from
}

// check measures the final samples against the first presentation's and refuses what differs too much.
func (p *preparation) check() error {
	p.out.NullDB = math.Inf(-1)
	fade := int(p.cfg.FadeS*p.rate.Hz()) + 1
	first := p.out.Presentations[0].Clip.Slice(fade, p.n-fade)
	for i := range p.out.Presentations[1:] {
		v := &p.out.Presentations[i+1]
		if err := p.measure(v, first, v.Clip.Slice(fade, p.n-fade)); err != nil {
			return fmt.Errorf("capture %d: %w", i+2, err)
		}
		p.out.NullDB = max(p.out.NullDB, v.NullDB)
		if e := math.Abs(v.LevelErrorDB); !(e <= p.cfg.MaxLevelErrorDB) {
			return fmt.Errorf("match: %w: capture %d differs by %.3f dB in level after matching, %.2f dB allowed", ErrUnfit, i+2, e, p.cfg.MaxLevelErrorDB)
		}
		if e := math.Abs(v.OffsetErrorUS); !(e <= p.cfg.MaxOffsetErrorUS) {
			return fmt.Errorf("match: %w: capture %d is off by %.2f µs after aligning, %.0f µs allowed", ErrUnfit, i+2, e, p.cfg.MaxOffsetErrorUS)
		}
	}
	return nil
}

// measure fills in what is left between two clips that should be aligned.
func (p *preparation) measure(v *Presentation, a, b pcm.Clip) error {
	l, f, err := refine(a, b, line{sign: 1})
	if err != nil {
		return err
	}
	left, err := residual(a, b, line{sign: 1}, 1)
	if err != nil {
		return err
	}
	all := left.sums(lowHz, bandEdge(p.rate), 1, -1)
	v.NullDB = pcm.PowerDB(all.rr / all.aa)
	if v.LevelErrorDB = pcm.DB(f.gain); v.LevelBy == "loudness" {
		v.LevelErrorDB = left.loudness(1)
	}
	// The worst over the excerpt: either end of the line that is left, and what strays from it.
	ends := [2]float64{l.offset, l.shift(float64(a.Len()))}
	v.OffsetErrorUS = ends[0]
	if math.Abs(ends[1]) > math.Abs(ends[0]) {
		v.OffsetErrorUS = ends[1]
	}
	if f.wandering {
		v.OffsetErrorUS += math.Copysign(f.wanderMax, v.OffsetErrorUS)
	}
	v.OffsetErrorUS *= 1e6 / p.rate.Hz()
	return nil
}
