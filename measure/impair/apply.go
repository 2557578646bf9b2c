package impair

import (
	"fmt"
	"math"

	"heardiff/measure/interpolate"
	"heardiff/playback/pcm"
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

const blockSize = 1 << 14

// Apply reads in block by block and hands the impaired copy, equally long, to write, whose block is reused.
// The same dose and input always give the same output. Random components have exactly the RMS value asked for
// over the length of the input. Errors are those of Validate, of in and of write.
func Apply(in pcm.Reader, dose Dose, write func(block [][]float64) error) (Done, error) {
	f := in.Format()
	if err := dose.Validate(f.Rate); err != nil {
		return Done{}, err
	}
	dose.Jitter = append([]Jitter(nil), dose.Jitter...)
	for i, j := range dose.Jitter {
		dose.Jitter[i] = j.filled(f.Rate)
	}
	kernel, err := interpolate.New(interpolate.Config{})
	if err != nil {
		return Done{}, err
	}
	a := newApplication(in, dose)
	stream := interpolate.NewStream(kernel, in)
	buf := pcm.Planes(f.Channels, blockSize)
	for from := 0; from < in.Frames(); from += blockSize {
		n := min(blockSize, in.Frames()-from)
		block := make([][]float64, len(buf))
		for c := range buf {
			block[c] = buf[c][:n]
		}
		if err := stream.Read(block, from, a.shift(from, n)); err != nil {
			return Done{}, fmt.Errorf("impair: %w", err)
		}
		a.add(block, from)
		if err := write(block); err != nil {
			return Done{}, err
		}
	}
	return a.done(), nil
}

// application is the state of one Apply.
type application struct {
	dose        Dose
	format      pcm.Format
	frames      int
	random      []*gaussian   // one for each random jitter, in seconds
	noise       [][]*gaussian // [component][channel]
	gain        float64
	sum2, most  float64 // of the jitter, s² and s
	peak        float64
	shifts, tau []float64
}

func newApplication(in pcm.Reader, dose Dose) *application {
	f := in.Format()
	a := &application{
		dose: dose, format: f, frames: in.Frames(), gain: pcm.Ratio(dose.GainDB),
		shifts: make([]float64, blockSize), tau: make([]float64, blockSize),
	}
	stream := uint64(1) // every component draws from its own stream of the seed
	for _, j := range dose.Jitter {
		stream++
		if j.Kind != Random || j.RMSPS == 0 {
			continue
		}
		s := stream
		a.random = append(a.random, calibrate(a.frames, j.RMSPS*1e-12, func() *gaussian {
			return newGaussian(f.Rate, dose.Seed, s, func(hz float64) float64 {
				if hz >= j.LowHz && hz <= j.HighHz {
					return 1
				}
				return 0
			})
		}))
	}
	for _, n := range dose.Noise {
		var channels []*gaussian
		for range f.Channels {
			stream++
			s := stream
			channels = append(channels, calibrate(a.frames, pcm.RMSOf(n.DBFS), func() *gaussian {
				if n.Colour == White {
					return newWhite(dose.Seed, s)
				}
				return newGaussian(f.Rate, dose.Seed, s, pink)
			}))
		}
		a.noise = append(a.noise, channels)
	}
	return a
}

// pink returns the amplitude of pink noise at hz: power as 1/f, from 10 Hz on.
func pink(hz float64) float64 {
	if hz < 10 {
		return 0
	}
	return 1 / math.Sqrt(hz)
}

// shift returns by how many frames the input is displaced at frames from to from+n−1.
func (a *application) shift(from, n int) []float64 {
	rate, drift := a.format.Rate.Hz(), 1e-6*a.dose.DriftPPM
	tau := a.tau[:n]
	clear(tau)
	for _, g := range a.random {
		g.next(tau)
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
	out := a.shifts[:n]
	for i, t := range tau {
		a.sum2 += t * t
		a.most = max(a.most, math.Abs(t))
		// (i − D)/(1 + p) − i, without the difference of two large numbers.
		out[i] = (-a.dose.DelaySamples-drift*float64(from+i))/(1+drift) + t*rate
	}
	return out
}

// add applies gain, noise and hum to a block.
func (a *application) add(block [][]float64, from int) {
	hum := a.hum(from, len(block[0]))
	for c, ch := range block {
		if a.gain != 1 {
			for i := range ch {
				ch[i] *= a.gain
			}
		}
		for _, n := range a.noise {
			n[c].next(ch)
		}
		for i := range hum {
			ch[i] += hum[i]
		}
		for _, v := range ch {
			a.peak = max(a.peak, math.Abs(v))
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
