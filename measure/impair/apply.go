package impair

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	"heardiff/measure/interpolate"
	"heardiff/playback/pcm"

	"gonum.org/v1/gonum/floats"
)

// Done says exactly what Apply did; it is the sidecar of an impaired file.
type Done struct {
	Schema   string   `json:"schema"`
	RateHz   pcm.Rate `json:"rate_hz"`
	Channels int      `json:"channels"`
	Frames   int      `json:"frames"`
	Dose     Dose     `json:"dose"`
	// JitterRMSPS is the RMS value of all jitter together, as it was applied, in ps; JitterPeakPS its largest.
	JitterRMSPS  float64 `json:"jitter_rms_ps"`
	JitterPeakPS float64 `json:"jitter_peak_ps"`
	// PeakDBFS is the highest sample of the output, in dB of full scale.
	PeakDBFS float64 `json:"peak_dbfs"`
}

// ErrNothingLeft is wrapped where a delay moves all of the audio out of the copy.
var ErrNothingLeft = errors.New("nothing of the audio is left")

const blockSize = 1 << 14

// Apply reads in block by block and hands the impaired copy, equally long, to write, whose block is reused. The same dose and input always
// give the same output. Random components have exactly the RMS value asked for over the length of the input, for which they are generated
// once beforehand. Errors are those of Validate, in and write, the error of ctx once it is done, and ErrNothingLeft.
func Apply(ctx context.Context, in pcm.Reader, dose Dose, write func(block [][]float64) error) (Done, error) {
	f := in.Format()
	if err := dose.Validate(f.Rate); err != nil {
		return Done{}, err
	}
	if d := math.Abs(dose.DelaySamples); d > 0 && d >= float64(in.Frames()) {
		return Done{}, fmt.Errorf("impair: %w: a delay of %g samples, and it is %d long", ErrNothingLeft, dose.DelaySamples, in.Frames())
	}
	dose.Jitter = append([]Jitter(nil), dose.Jitter...)
	for i, j := range dose.Jitter {
		dose.Jitter[i] = j.filled(f.Rate)
	}
	a, err := newApplication(ctx, in, dose)
	if err != nil {
		return Done{}, err
	}
	stream := interpolate.NewStream(interpolate.Must(interpolate.Config{}), in)
	// The next parts are made while a block is evaluated.
	parts, used, stop := make(chan part, 1), make(chan part, 2), make(chan struct{})
	defer close(stop)
	for range cap(used) {
		used <- part{shift: make([]float64, blockSize), add: pcm.Planes(f.Channels, blockSize)}
	}
	go a.produce(parts, used, stop)
	buf := pcm.Planes(f.Channels, blockSize)
	for from := 0; from < in.Frames(); from += blockSize {
		if err := ctx.Err(); err != nil {
			return Done{}, err
		}
		n := min(blockSize, in.Frames()-from)
		block := pcm.Part(buf, 0, n)
		p := <-parts
		if err := stream.Read(block, from, p.shift[:n]); err != nil {
			return Done{}, fmt.Errorf("impair: %w", err)
		}
		a.finish(block, p)
		used <- p
		if err := write(block); err != nil {
			return Done{}, err
		}
	}
	return a.done(), nil
}

// part is what a block gets: by how many frames it is displaced, and what is added to each channel.
type part struct {
	shift []float64
	add   [][]float64
}

// produce makes the parts of all blocks in order until all are made or stop is closed.
func (a *application) produce(parts chan<- part, used <-chan part, stop <-chan struct{}) {
	for from := 0; from < a.frames; from += blockSize {
		var p part
		select {
		case p = <-used:
		case <-stop:
			return
		}
		n := min(blockSize, a.frames-from)
		a.displace(p.shift[:n], from)
		hum := a.hum(from, n)
		for c := range p.add {
			add := p.add[c][:n]
			clear(add)
			for _, noise := range a.noise {
				noise[c].next(add)
			}
			for i := range hum {
				add[i] += hum[i]
			}
		}
		parts <- p // never blocks: no more parts are in use than the channel and the evaluator hold
	}
}

// application is the state of one Apply.
type application struct {
	dose       Dose
	format     pcm.Format
	frames     int
	random     []*gaussian   // one for each random jitter, in seconds
	noise      [][]*gaussian // [component][channel]
	gain       float64
	sum2, most float64 // of the jitter, s² and s
	peak       float64
	tau        []float64
}

func newApplication(ctx context.Context, in pcm.Reader, dose Dose) (*application, error) {
	f := in.Format()
	a := &application{dose: dose, format: f, frames: in.Frames(), gain: pcm.Ratio(dose.GainDB), tau: make([]float64, blockSize)}
	var making sync.WaitGroup
	stream := uint64(1) // every component draws from its own stream of the seed
	calibrated := func(to **gaussian, rms float64, fresh func(stream uint64) *gaussian) {
		s := stream
		making.Go(func() { *to = calibrate(ctx, a.frames, rms, func() *gaussian { return fresh(s) }) })
	}
	a.random = make([]*gaussian, len(dose.Jitter))
	for i, j := range dose.Jitter {
		stream++
		if j.Kind != Random || j.RMSPS == 0 {
			continue
		}
		calibrated(&a.random[i], j.RMSPS*1e-12, func(stream uint64) *gaussian {
			return newGaussian(f.Rate, dose.Seed, stream, func(hz float64) float64 {
				if hz >= j.LowHz && hz <= j.HighHz {
					return 1
				}
				return 0
			})
		})
	}
	for _, n := range dose.Noise {
		channels := make([]*gaussian, f.Channels)
		for c := range channels {
			stream++
			calibrated(&channels[c], pcm.RMSOf(n.DBFS), func(stream uint64) *gaussian {
				if n.Colour == White {
					return newWhite(dose.Seed, stream)
				}
				return newGaussian(f.Rate, dose.Seed, stream, pink)
			})
		}
		a.noise = append(a.noise, channels)
	}
	making.Wait()
	return a, ctx.Err()
}

// pink returns the amplitude of pink noise at hz: power as 1/f, from an octave below the audible band on.
func pink(hz float64) float64 {
	const lowestHz = 10
	if hz < lowestHz {
		return 0
	}
	return 1 / math.Sqrt(hz)
}

// displace fills out with the displacement of the input, in frames, at the frames from from on.
func (a *application) displace(out []float64, from int) {
	rate, drift := a.format.Rate.Hz(), 1e-6*a.dose.DriftPPM
	tau := a.tau[:len(out)]
	clear(tau)
	for _, g := range a.random {
		if g != nil {
			g.next(tau)
		}
	}
	for _, j := range a.dose.Jitter {
		if j.Kind != Periodic {
			continue
		}
		peak := math.Sqrt2 * j.RMSPS * 1e-12
		for i := range tau {
			tau[i] += peak * math.Sin(2*math.Pi*math.Mod(j.FreqHz*float64(from+i)/rate, 1))
		}
	}
	for i, t := range tau {
		a.sum2 += t * t
		if m := math.Abs(t); m > a.most {
			a.most = m
		}
		// (i − D)/(1 + p) − i, without the difference of two large numbers.
		out[i] = (-a.dose.DelaySamples-drift*float64(from+i))/(1+drift) + t*rate
	}
}

// finish applies gain, noise and hum to a block.
func (a *application) finish(block [][]float64, p part) {
	adds := len(a.noise) > 0 || len(a.dose.Hum) > 0
	for c, ch := range block {
		if a.gain != 1 {
			floats.Scale(a.gain, ch)
		}
		if adds {
			floats.Add(ch, p.add[c][:len(ch)])
		}
		for _, v := range ch {
			if m := math.Abs(v); m > a.peak { // quicker than max, which checks for NaN
				a.peak = m
			}
		}
	}
}

func (a *application) hum(from, n int) []float64 {
	if len(a.dose.Hum) == 0 {
		return nil
	}
	out := make([]float64, n)
	for _, h := range a.dose.Hum {
		for k := 1; k <= max(1, h.Harmonics); k++ {
			amp := pcm.Ratio(h.DBFS) * math.Exp2(-float64(k-1))
			for i := range out {
				out[i] += amp * math.Sin(2*math.Pi*math.Mod(float64(k)*h.FreqHz*float64(from+i)/a.format.Rate.Hz(), 1))
			}
		}
	}
	return out
}

func (a *application) done() Done {
	return Done{
		Schema: "heardiff.impair/1", RateHz: a.format.Rate, Channels: a.format.Channels, Frames: a.frames, Dose: a.dose,
		JitterRMSPS: 1e12 * math.Sqrt(a.sum2/float64(max(1, a.frames))), JitterPeakPS: 1e12 * a.most, PeakDBFS: pcm.DB(a.peak),
	}
}
