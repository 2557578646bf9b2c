package match

import (
	"fmt"
	"math"
	"math/cmplx"

	"heardiff/playback/pcm"
)

// bands sums the remainder over bins lo to hi−1 of all channels, for the final gain.
type bandSums struct {
	aa, rr, bb float64 // R and corrected B of the final gain
	ab         complex128
	bins       int
}

// final returns the factor that brings the provisional corrected B (A − R) to the final one: least squares.
func (r *remainder) final() float64 {
	s := r.sums(lowHz, bandEdge(r.rate), 1, -1)
	return real(s.ab) / s.aa
}

// sums adds bins between two frequencies. k is the gain still in A − R, see final. channel −1 stands for all.
//
//	corrected B = (A − R)/k, remainder = A − corrected B = (1 − 1/k)·A + R/k
func (r *remainder) sums(low, high, k float64, channel int) bandSums {
	var s bandSums
	lo := max(1, int(math.Ceil(low*float64(r.n)/r.rate.Hz())))
	hi := min(r.n/2, int(math.Ceil(high*float64(r.n)/r.rate.Hz())))
	s.bins = hi - lo
	u, v := 1-1/k, 1/k
	for c := range r.aa {
		if channel >= 0 && c != channel {
			continue
		}
		for i := lo; i < hi; i++ {
			aa, rr, ar := r.aa[c][i], r.rr[c][i], r.ar[c][i]
			s.aa += aa
			s.rr += u*u*aa + 2*u*v*real(ar) + v*v*rr
			s.bb += v * v * (aa - 2*real(ar) + rr)
			s.ab += complex(v, 0) * (complex(aa, 0) - ar)
		}
	}
	return s
}

func report(f pcm.Format, found aligned, left *remainder) Result {
	k := left.final()
	all := left.sums(lowHz, bandEdge(f.Rate), k, -1)
	gain := found.gain * k
	r := Result{
		Schema: Schema, OffsetSamples: found.offset, OffsetS: found.offset / f.Rate.Hz(), DriftPPM: 1e6 * found.drift,
		GainDB: pcm.DB(gain), Polarity: Same, ChannelsSwapped: found.swapped,
		NullDB: pcm.PowerDB(all.rr / all.aa), Identical: all.rr == 0,
		Correlation: real(all.ab) / math.Sqrt(all.aa*all.bb),
		OverlapS:    f.Rate.Seconds(found.overlap[1] - found.overlap[0]), Confidence: found.confidence,
		LoudnessDifferenceLU: left.loudness(k) + pcm.DB(gain), line: found.line,
	}
	if found.sign < 0 {
		r.Polarity = Inverted
	}
	r.StandardErrors = StandardErrors{found.seOffset, 1e6 * found.seDrift, left.gainError(all)}
	r.NullBands = left.octaves(k)
	r.ResponseBands = left.response(k)
	r.ResponseMaxDB = largest(r.ResponseBands)
	r.Channels = left.channels(k, gain, found.offset)
	r.Wander = found.report(f.Rate)
	r.Residual = left.kind(k, found, all)
	r.Warnings = warnings(f, found, left, r)
	return r
}

// gainError is the standard error of the gain in dB: the scatter of least squares, and that it is unknown how
// much of the remainder is A's own noise, which lowers the estimate by up to remainder/signal.
func (r *remainder) gainError(s bandSums) float64 {
	q := s.rr / s.aa
	n := float64(r.blocks*s.bins*len(r.aa)) / 1.5 // the window makes neighbours alike
	return 20 / math.Ln10 * math.Sqrt(q/(2*n)+q*q/3)
}

func (r *remainder) octaves(k float64) []Band {
	var out []Band
	for centre := 31.25; centre < bandEdge(r.rate); centre *= 2 {
		lo, hi := math.Max(lowHz, centre/math.Sqrt2), math.Min(centre*math.Sqrt2, bandEdge(r.rate))
		if s := r.sums(lo, hi, k, -1); s.bins > 0 {
			out = append(out, Band{lo, hi, pcm.PowerDB(s.rr / s.aa)})
		}
	}
	return out
}

// response compares the captures in third octaves by the transfer function, which noise does not bias.
// The standard error follows from the coherence γ² over n averages:
//
//	8.686·√((1 − γ²)/(2·n·γ²)) dB
//
// ref: J. S. Bendat, A. G. Piersol, Random Data, the random error of a gain factor estimate (from memory).
func (r *remainder) response(k float64) []ResponseBand {
	var out []ResponseBand
	for i := -17; i <= 13; i++ {
		centre := 1000 * math.Pow(10, float64(i)/10)
		lo, hi := centre*math.Pow(10, -0.05), centre*math.Pow(10, 0.05)
		if lo >= bandEdge(r.rate) {
			break
		}
		s := r.sums(lo, math.Min(hi, bandEdge(r.rate)), k, -1)
		if s.bins < 1 {
			continue
		}
		b := ResponseBand{Band: Band{lo, hi, math.NaN()}, StandardErrorDB: math.NaN()}
		joint := cmplx.Abs(s.ab)
		b.Coherence = min(1, joint*joint/(s.aa*s.bb))
		n := math.Max(1, float64(r.blocks*s.bins*len(r.aa))/1.5)
		b.StandardErrorDB = 20 / math.Ln10 * math.Sqrt((1-b.Coherence)/(2*n*b.Coherence))
		if b.Coherence > 0.3 && b.StandardErrorDB < 1 {
			b.DB = pcm.DB(joint / s.aa)
		} else {
			b.StandardErrorDB = math.NaN()
		}
		out = append(out, b)
	}
	return out
}

// largest returns the largest difference that stands clear of its own uncertainty; 0 if none does, NaN if
// nothing was measurable.
func largest(bands []ResponseBand) float64 {
	best := math.NaN()
	for _, b := range bands {
		if math.IsNaN(b.DB) {
			continue
		}
		if math.IsNaN(best) {
			best = 0
		}
		if math.Abs(b.DB) > math.Abs(best) && math.Abs(b.DB) > 2*b.StandardErrorDB {
			best = b.DB
		}
	}
	return best
}

func (r *remainder) channels(k, gain, offset float64) []Channel {
	var out []Channel
	for c := range r.aa {
		s := r.sums(lowHz, bandEdge(r.rate), k, c)
		ch := Channel{Channel: c + 1, GainDB: math.NaN(), OffsetSamples: math.NaN()}
		if s.aa > 0 && cmplx.Abs(s.ab) > 0.3*math.Sqrt(s.aa*s.bb) {
			ch.GainDB = pcm.DB(gain * math.Abs(real(s.ab)) / s.aa)
			ch.OffsetSamples = offset + r.delay(k, c)
		}
		out = append(out, ch)
	}
	return out
}

// delay returns by how many frames channel c of corrected B is late, from the slope of the phase; bins count
// by what they hold in common against what is left.
func (r *remainder) delay(k float64, c int) float64 {
	var num, den float64
	lo, hi := max(1, int(lowHz*float64(r.n)/r.rate.Hz())), int(bandEdge(r.rate)*float64(r.n)/r.rate.Hz())
	for i := lo; i < hi; i++ {
		ab := complex(r.aa[c][i], 0) - r.ar[c][i]
		if real(ab) < 0 {
			ab = -ab // a channel inverted by itself
		}
		w := r.aa[c][i] / (r.rr[c][i] + 1e-15*r.aa[c][i] + 1e-300)
		omega := 2 * math.Pi * float64(i) / float64(r.n)
		num -= w * omega * cmplx.Phase(ab)
		den += w * omega * omega
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// loudness returns the K-weighted level of corrected B against A, in LU.
func (r *remainder) loudness(k float64) float64 {
	var a, b float64
	for c := range r.aa {
		for i := 1; i < r.n/2; i++ {
			w := kWeight(float64(i) * r.rate.Hz() / float64(r.n))
			a += w * r.aa[c][i]
			b += w * (r.aa[c][i] - 2*real(r.ar[c][i]) + r.rr[c][i]) / (k * k)
		}
	}
	return pcm.PowerDB(b / a)
}

// kWeight returns the power gain of the K-weighting at f Hz, from the coefficients for 48 kHz.
// ref: ITU-R BS.1770, annex 1, tables 1 and 2.
func kWeight(f float64) float64 {
	if f > 23000 {
		f = 23000 // the prototype filter ends at 24 kHz; music there weighs nothing
	}
	z := cmplx.Rect(1, -2*math.Pi*f/48000)
	shelf := (1.53512485958697 - 2.69169618940638*z + 1.19839281085285*z*z) / (1 - 1.69065929318241*z + 0.73248077421585*z*z)
	high := (1 - 2*z + z*z) / (1 - 1.99004745483398*z + 0.99007225036621*z*z)
	g := cmplx.Abs(shelf * high)
	return g * g
}

func (f aligned) report(rate pcm.Rate) Wander {
	w := Wander{RMSSamples: f.wanderRMS, PeakSamples: f.wanderMax, Significant: f.wandering}
	n := len(f.track)
	if n < 8 {
		w.RMSSamples, w.PeakSamples = math.NaN(), math.NaN()
		return w
	}
	pieces := min(8, n/4)
	for i := range pieces {
		part := f.track[i*n/pieces : (i+1)*n/pieces]
		line := newFit()
		for _, p := range part {
			line.add(p.t, p.delay, p.weight)
		}
		_, drift := line.solve()
		w.Pieces = append(w.Pieces, Piece{part[0].t / rate.Hz(), part[len(part)-1].t / rate.Hz(), 1e6 * (f.drift + drift)})
	}
	return w
}

// kind tells what the remainder is made of, see Residual.
func (r *remainder) kind(k float64, found aligned, all bandSums) Residual {
	out := Residual{Kind: "none"}
	if all.rr == 0 {
		return out
	}
	var linear, timing float64
	for c := range r.aa {
		for i := max(1, int(lowHz*float64(r.n)/r.rate.Hz())); i < int(bandEdge(r.rate)*float64(r.n)/r.rate.Hz()); i++ {
			aa := r.aa[c][i]
			if aa == 0 {
				continue
			}
			rest := complex((1-1/k)*aa, 0) + r.ar[c][i]/complex(k, 0)
			coherent := real(rest)*real(rest) + imag(rest)*imag(rest)
			linear += max(0, (coherent/aa-r.rr[c][i]/float64(max(1, r.blocks)))/(1-1/float64(max(2, r.blocks))))
			omega := 2 * math.Pi * float64(i) / float64(r.n)
			timing += omega * omega * aa
		}
	}
	out.Response = min(1, linear/all.rr)
	if found.wandering {
		out.Timing = min(1, timing*found.wanderRMS*found.wanderRMS/all.rr)
	}
	out.LevelSlope = r.levelSlope()
	rest := 1 - out.Response - out.Timing
	switch {
	case out.Timing >= out.Response && out.Timing >= rest:
		out.Kind = "timing"
	case out.Response >= rest:
		out.Kind = "response"
	case out.LevelSlope > 0.7:
		out.Kind = "distortion"
	default:
		out.Kind = "noise"
	}
	return out
}

// levelSlope returns the slope of the remainder's level over the music's, both in dB, over 5 ms stretches.
func (r *remainder) levelSlope() float64 {
	line := newFit()
	for _, f := range r.frames {
		if f.a > 0 && f.rem > 0 {
			line.add(math.Log10(f.a), math.Log10(f.rem), 1)
		}
	}
	if line.w < 10 {
		return 0
	}
	_, slope := line.solve()
	return slope
}

func warnings(f pcm.Format, found aligned, left *remainder, r Result) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if found.confidence < 0.1 {
		say("another alignment explains %.0f %% as much as this one: the music repeats, or too little of it is common", 100*(1-found.confidence))
	}
	if r.OverlapS < 5 {
		say("the captures overlap by only %.1f s", r.OverlapS)
	}
	if found.jump != "" {
		out = append(out, found.jump)
	}
	if r.ChannelsSwapped {
		say("channels 1 and 2 are exchanged in B")
	}
	for c := range left.aa {
		if s := left.sums(lowHz, bandEdge(f.Rate), 1, c); real(s.ab) < -0.3*math.Sqrt(s.aa*s.bb) {
			say("channel %d of B is inverted against the others", c+1)
		}
	}
	if math.Abs(r.ResponseMaxDB) > 0.1 {
		say("the response differs by %+.2f dB in a third octave: more than 0.1 dB can be heard as a difference by itself", r.ResponseMaxDB)
	}
	if r.Wander.Significant {
		say("the clocks stray from a straight line by %.3f samples RMS, %.3f at most", r.Wander.RMSSamples, r.Wander.PeakSamples)
	}
	clipped("A", found.a, "B", found.b, say)
	clipped("B", found.b, "A", found.a, say)
	left.dropouts(say)
	bandLimit(found, say)
	return out
}

func clipped(name string, p profile, other string, q profile, say func(string, ...any)) {
	if p.clipped > 10 && p.clipped > 10*q.clipped {
		say("%s is clipped: %d samples stand in runs of one value near its peak of %.2f dBFS (%d in %s)", name, p.clipped, pcm.DB(p.peak), q.clipped, other)
	}
}

// dropouts looks for stretches where one capture is silent and the other is not.
func (r *remainder) dropouts(say func(string, ...any)) {
	var sum float64
	for _, f := range r.frames {
		sum += f.a / float64(len(r.frames))
	}
	lost := map[string]int{}
	first := map[string]int{}
	note := func(name string, at int) {
		if lost[name] == 0 || at < first[name] {
			first[name] = at
		}
		lost[name]++
	}
	for _, f := range r.frames {
		switch {
		case f.a > 1e-3*sum && f.b < 1e-5*f.a:
			note("B", f.at)
		case f.b > 1e-3*sum && f.a < 1e-5*f.b:
			note("A", f.at)
		}
	}
	for _, name := range []string{"A", "B"} {
		if lost[name] > 0 {
			say("%s is silent for %d ms where the other plays, first %.3f s into A: a dropout", name, 5*lost[name], r.rate.Seconds(first[name]))
		}
	}
}

// bandLimit tells where one capture ends well below the other: the trace of a sample-rate conversion.
func bandLimit(found aligned, say func(string, ...any)) {
	a, b := found.a, found.b
	// The edge is where p falls by 20 dB within 1 kHz and q by less than 6: noise alone never does that.
	top := func(p, q profile) float64 {
		w := max(1, int(500/p.binHz))
		mean := func(x []float64, k int) float64 {
			sum := 1e-300
			for _, v := range x[k : k+w] {
				sum += v
			}
			return sum
		}
		for k := int(4000/p.binHz) + w; k+2*w < len(p.power); k++ {
			if mean(p.power, k+w) < 0.01*mean(p.power, k-w) && mean(q.power, k+w) > 0.25*mean(q.power, k-w) {
				return float64(k) * p.binHz
			}
		}
		return math.NaN()
	}
	if f := top(b, a); !math.IsNaN(f) {
		say("B ends at %.0f Hz where A goes on: a sample-rate conversion or band limit in B, or noise in A", f)
	}
	if f := top(a, b); !math.IsNaN(f) {
		say("A ends at %.0f Hz where B goes on: a sample-rate conversion or band limit in A, or noise in B", f)
	}
}
