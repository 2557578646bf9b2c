package align

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"heardiff/measure/match/audible"
	"heardiff/playback/pcm"
)

// One anchor that matches is enough only where there are no more than two, and a quarter of all must match.
func TestOneAnchorOfManyMayBeChance(t *testing.T) {
	for _, c := range []struct {
		matched, anchors int
		agreed           float64
		agrees           bool
	}{{1, 2, 0.5, true}, {1, 3, 0.5, false}, {2, 3, 0.7, true}, {2, 8, 0.26, true}, {2, 8, 0.24, false}, {0, 2, 1, false}} {
		s := &Search{Places: []Place{{matched: c.matched, anchors: make([]anchor, c.anchors), agreed: c.agreed}}}
		if s.agrees() != c.agrees {
			t.Errorf("%d of %d anchors, %v of what sounds: agree %v", c.matched, c.anchors, c.agreed, s.agrees())
		}
	}
}

// noisy returns a capture of so many frames, and its course.
func noisy(frames int) (pcm.Clip, Course) {
	clip, hops := pcm.NewClip(48000, 1, frames), audible.NewHops(48000)
	for i := range clip.Channels[0] {
		clip.Channels[0][i] = math.Sin(float64(i) * float64(i%97))
	}
	course := NewCourse(hops.Frames)
	for from := 0; from+hops.Frames <= frames; from += hops.Frames {
		power, _ := hops.Of(clip.Channels, from)
		course.Add(power, hops.BinHz)
	}
	course.Close()
	return clip, course
}

// Three anchors fit into a short overlap, and six blocks.
func TestAnchorsAndBlocksFitIntoTheOverlap(t *testing.T) {
	kernels, err := audible.NewKernels(48000)
	if err != nil {
		t.Fatal(err)
	}
	for frames, want := range map[int][2]int{3 * 48000: {16384, 8192}, 48000: {8192, 4096}, 12000: {2048, 1024}, 4000: {1024, 512}, 2000: {1024, 512}} {
		clip, course := noisy(frames)
		s := &Search{a: clip, b: clip, rate: 48000, courseA: course, Kernels: kernels}
		p, err := s.tryCandidate(candidate{}, assumption{second: 1})
		if err != nil || p.search.n != want[0] {
			t.Errorf("%d frames: anchors of %d, want %d; error %v", frames, p.search.n, want[0], err)
		}
		g, err := gather(clip, clip, Line{Sign: 1}, kernels.Quick)
		if err != nil || g.n != want[1] {
			t.Errorf("%d frames: blocks of %d, want %d; error %v", frames, g.n, want[1], err)
		}
	}
}

// steadyCourse returns a course of so many hops of each of two powers.
func steadyCourse(hops int, powers ...float64) Course {
	course := NewCourse(480)
	for _, p := range powers {
		bins := make([]float64, 257)
		for k := range bins {
			bins[k] = p
		}
		for range hops {
			course.Add(bins, 48000./512)
		}
	}
	course.Close()
	return course
}

// Stretches 40 dB below the loudest are no places to look for music in, and hops below −70 dB are all silence to the course.
func TestQuietStretchesAreNoPlaces(t *testing.T) {
	for quiet, want := range map[float64]float64{1e-5: 0.5, 1e-3: 1} {
		if _, share := steadyCourse(200, 1, quiet).sounding(0, 400*480, 4800); math.Abs(share-want) > 0.05 {
			t.Errorf("half of it at %v of the power: %v sounds, want %v", quiet, share, want)
		}
	}
	energy := make([]float64, 1000)
	for i := range energy {
		energy[i] = 1
	}
	clear(energy[499:502])
	if dip := flatten(energy)[500]; dip > -6.5 || dip < -7 {
		t.Errorf("a silent hop is %v below the rest, want 7 less their mean over a second", dip)
	}
}

// A stretch is correlated where it is four times as long as the reach.
func TestAShortStretchIsNotCorrelated(t *testing.T) {
	clip, _ := noisy(10000)
	s := &Search{a: clip, b: clip}
	for length, correlated := range map[int]bool{399: false, 400: true} {
		lag, _, ratio, err := s.BestRival(Line{Sign: 1}, [2]int{5000, 5000 + length}, 100)
		if err != nil || lag != 0 || (ratio > 0) != correlated {
			t.Errorf("%d frames within 100: lag %d, ratio %v, error %v", length, lag, ratio, err)
		}
	}
}

// Channels are exchanged, one of them inverted, where they then correlate by 2 % more.
func TestChannelsAreCrossedWhereThatFitsBetter(t *testing.T) {
	for better, crossed := range map[float64]bool{1.01: false, 1.03: true} {
		var p Place
		if got := p.crossedWiring([]anchor{{each: []float64{0.5, 0.5}, cross: [2]float64{-0.5 * better, 0.5 * better}}}); got != crossed {
			t.Errorf("better by %v: crossed %v", better, got)
		}
	}
}

// Where B explains less than half of A in the surveyed band, what repeats there is no other place.
func TestASurveyNeedsHalfOfTheMusic(t *testing.T) {
	for noise, found := range map[float64]bool{0.9: true, 1.1: false} { // against a power of 1: 1/(1 + 0.81) and 1/(1 + 1.21) are explained
		random := rand.New(rand.NewPCG(1, 2))
		bar := make([]float64, 4096)
		for i := range bar {
			bar[i] = random.NormFloat64()
		}
		v := survey{every: 1, a: slices.Repeat(bar, 4), b: slices.Repeat(bar, 4)}
		for i := range v.b {
			v.b[i] += noise * random.NormFloat64()
		}
		if got := len(v.peaks(4096)) > 0; got != found {
			t.Errorf("noise of %v: other places %v", noise, got)
		}
	}
}
