package match

import (
	"fmt"
	"math"
	"sync"

	"heardiff/measure/interpolate"
	"heardiff/measure/match/align"
	"heardiff/measure/match/audible"
	"heardiff/measure/match/fault"
	"heardiff/playback/pcm"
)

// moved says how captures were brought to a common time base, all of them alike: by whole frames, or interpolated.
func moved(byFrames bool, rate pcm.Rate) string {
	if byFrames {
		return "moved by whole samples: not interpolated, not filtered"
	}
	nyquist := rate.Hz() / 2000
	return fmt.Sprintf("interpolated on a common time base and low-passed, all alike: passed up to %.2f kHz, nothing from %.2f kHz on (%.3f and %.2f of half the sample rate)",
		passedTo*nyquist, exactTo*nyquist, passedTo, exactTo)
}

type preparation struct {
	captures        []pcm.Reader
	cfg             Excerpt
	rate            pcm.Rate
	lines           []align.Line    // of every capture against the first
	strays          []bool          // whether its clock wanders against the first's
	passing         []fault.Passing // of all but the first
	gains           []float64
	base            align.Line // the common time base: frame t of the first is at base.shift(t) + t
	first, n        int        // frames of the common base
	audible.Kernels            // for the check
	out             Prepared
}

// time returns the frame of the first capture at frame u of the common base.
func (p *preparation) time(u float64) float64 { return (u - p.base.Offset) / (1 + p.base.Drift) }

// Edges of the interpolator and of the filter after it, in fractions of Nyquist.
const (
	exactTo  = 0.95
	passedTo = 0.907
)

var (
	interpolator = sync.OnceValue(func() *interpolate.Kernel { return interpolate.Must(interpolate.Config{Pass: exactTo}) })
	filterAfter  = sync.OnceValue(func() *interpolate.Kernel { return interpolate.Must(interpolate.Config{Pass: passedTo, Stop: exactTo}) })
)

// wholeFrames is how far from whole frames a displacement may be to be rounded to them: it leaves −98 dB of a tone of 1 kHz at 48 kHz.
const wholeFrames = 1e-4

// byFrames reports whether all captures differ by whole frames, to a ten-thousandth, from end to end of the excerpt.
func (p *preparation) byFrames() bool {
	for i := range p.lines {
		for _, u := range []int{p.first, p.first + p.n} {
			s := p.lines[i].Shift(p.time(float64(u)))
			if math.Abs(s-math.Round(s)) > wholeFrames {
				return false
			}
		}
	}
	return true
}

func (p *preparation) evaluate(i int, byFrames bool) (pcm.Clip, error) {
	channels := p.captures[i].Format().Channels
	clip := pcm.NewClip(p.rate, channels, p.n)
	if byFrames {
		t := p.time(float64(p.first))
		from := int(math.Round(t)) + int(math.Round(p.lines[i].Shift(t)))
		if err := pcm.ReadAround(p.captures[i], clip.Channels, from); err != nil {
			return clip, fmt.Errorf("match: %w", err)
		}
	} else {
		filter := filterAfter()
		wide := pcm.NewClip(p.rate, channels, p.n+2*filter.Half())
		if err := p.interpolate(wide, p.first-filter.Half(), i); err != nil {
			return clip, fmt.Errorf("match: %w", err)
		}
		filter.Shift(clip.Channels, wide.Channels, filter.Half(), make([]float64, p.n))
	}
	if p.lines[i].Swapped {
		clip.Channels[0], clip.Channels[1] = clip.Channels[1], clip.Channels[0]
	}
	return clip, nil
}

// interpolate fills clip with capture i from frame first of the common base on.
func (p *preparation) interpolate(clip pcm.Clip, first, i int) error {
	const size = 1 << 14
	stream := interpolate.NewStream(interpolator(), p.captures[i])
	// The differences from the base, so that two captures get exactly opposite shifts.
	offset, drift := p.lines[i].Offset-p.base.Offset, p.lines[i].Drift-p.base.Drift
	for from := 0; from < clip.Len(); from += size {
		part := clip.Slice(from, min(from+size, clip.Len()))
		shift := make([]float64, part.Len())
		for k := range shift {
			shift[k] = offset + drift*p.time(float64(first+from+k))
		}
		if err := stream.Read(part.Channels, first+from, shift); err != nil {
			return err
		}
	}
	return nil
}
