// Package playback decides what reaches the ears: it switches between presentations of equal length that run in
// step on one sample clock, with the same cross-fade for every switch.
//
// A slot is what a key selects (A, B, X or the first and second of a pair); a presentation is audio. A route
// maps each slot to a presentation and is dealt for every trial. Whatever the route, every presentation is read
// and mixed in every frame with the same arithmetic, so that neither the load nor the moment of a change reveals
// what is hidden.
package playback

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"heardiff/playback/pcm"
)

// ErrSilent is returned by calls that need a route, or a selected slot, before there is one.
var ErrSilent = errors.New("nothing is dealt to play")

// Config shapes the fades. Zero fields take the defaults.
type Config struct {
	// Fade is the length of every cross-fade, of the loop's seam and of the fades of pause and restart.
	// DefaultFade unless set; at least one frame.
	Fade time.Duration
	// FirstFade is the length of the fade-in after New, for safety. DefaultFirstFade unless set.
	FirstFade time.Duration
}

// Default lengths of the fades (common practice, no source). TestNoActionClicks holds that no fade steps.
const (
	DefaultFade      = 5 * time.Millisecond
	DefaultFirstFade = 500 * time.Millisecond
)

// minRegionFades is the length of the shortest loop in fades (judgement, no source; TestAudioThatCannotBePlayedIsRefused holds it).
const minRegionFades = 4

// Switcher holds presentations in memory and fills blocks for an Output. All methods may be called at any
// time from any goroutine.
type Switcher struct {
	mu       sync.Mutex
	rate     pcm.Rate
	channels int
	frames   int
	audio    [][]float32 // a presentation each, interleaved
	fade     int         // frames
	first    float64     // step of the level in the first fade-in

	route []int // slot → presentation
	slot  int   // selected, −1 before the first
	gain  []float64
	from  []float64 // gains of presentations at the beginning of the cross-fade
	to    []float64
	mixed int // frames of the cross-fade done; fade when none is running

	start, end int // loop region
	at         int // next frame
	tail       int // next frame of the part that fades out at the seam
	seam       int // frames of the seam done; fade when none is running

	level   float64 // phase of the level's fade: 0 silent, 1 full
	step    float64 // per frame, while the level rises
	playing bool    // whether the level moves to 1 or to 0
	pending pending

	clock    int64 // frames filled since New
	heard    []int64
	switches int
}

// pending is what will be done once the level has reached silence.
type pending struct {
	route   []int // nil: keep
	slot    int   // −1: keep
	restart bool
}

// New returns a switcher over presentations of one rate, channel count and length, silent and at rest. Errors wrap
// pcm.ErrMismatch for audio that differs in these. Samples beyond ±1 or not numbers are rejected, so that no mix of
// presentations can exceed full scale.
func New(c Config, presentations ...pcm.Clip) (*Switcher, error) {
	return Read(c, len(presentations), func(i int) (pcm.Clip, error) { return presentations[i], nil })
}

// Read is New of n presentations that read returns, from the first to the last. None is kept but in single precision, as it is played:
// each clip may use the memory of the one before.
func Read(c Config, n int, read func(i int) (pcm.Clip, error)) (*Switcher, error) {
	s := &Switcher{slot: -1}
	for i := range n {
		clip, err := read(i)
		if err != nil {
			return nil, err
		}
		if err := s.add(clip); err != nil {
			return nil, err
		}
	}
	if s.frames == 0 {
		return nil, errors.New("playback: no audio to play")
	}
	if c.Fade <= 0 {
		c.Fade = DefaultFade
	}
	if c.FirstFade <= 0 {
		c.FirstFade = DefaultFirstFade
	}
	s.fade = max(1, s.rate.Frames(c.Fade))
	if err := s.checkRegion(0, s.frames); err != nil {
		return nil, err
	}
	s.first = 1 / float64(max(1, s.rate.Frames(c.FirstFade)))
	s.step = s.first
	s.mixed, s.seam = s.fade, s.fade
	s.gain, s.from, s.to = make([]float64, n), make([]float64, n), make([]float64, n)
	s.pending.slot = -1
	return s, nil
}

// add holds a further presentation, which is like the first.
func (s *Switcher) add(p pcm.Clip) error {
	i := len(s.audio) + 1
	if i == 1 {
		s.rate, s.channels, s.frames, s.end = p.Rate, len(p.Channels), p.Len(), p.Len()
	}
	if p.Rate != s.rate || len(p.Channels) != s.channels || p.Len() != s.frames {
		return fmt.Errorf("%w: presentation %d: %d Hz, %d channels, %d frames; the first: %d Hz, %d channels, %d frames",
			pcm.ErrMismatch, i, p.Rate, len(p.Channels), p.Len(), s.rate, s.channels, s.frames)
	}
	a := p.Float32()
	for k, v := range a {
		if !(v >= -1 && v <= 1) {
			return fmt.Errorf("playback: presentation %d exceeds full scale at frame %d", i, k/s.channels)
		}
	}
	s.audio = append(s.audio, a)
	return nil
}

// Rate returns the sampling rate.
func (s *Switcher) Rate() pcm.Rate { return s.rate }

// Channels returns the number of channels.
func (s *Switcher) Channels() int { return s.channels }

// Frames returns the length of every presentation.
func (s *Switcher) Frames() int { return s.frames }

// Deal fades to silence and sets the presentation (counted from 0) of each slot. Afterwards no slot is selected, the
// counts of switches and of frames heard are 0, and playing starts at the start of the region.
func (s *Switcher) Deal(route ...int) error {
	for slot, p := range route {
		if p < 0 || p >= len(s.audio) {
			return fmt.Errorf("playback: slot %d: no presentation %d", slot, p)
		}
	}
	if len(route) == 0 {
		return ErrSilent
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pending = pending{route: slices.Clone(route), slot: -1, restart: true}
	s.playing = false
	s.settle()
	return nil
}

// Switch selects a slot and plays it from the current position.
func (s *Switcher) Switch(slot int) error { return s.choose(slot, false) }

// Restart selects a slot and plays it from the start of the region: fade out, jump, fade in.
func (s *Switcher) Restart(slot int) error { return s.choose(slot, true) }

func (s *Switcher) choose(slot int, restart bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	route := s.route
	if s.pending.route != nil {
		route = s.pending.route
	}
	if len(route) == 0 {
		return ErrSilent
	}
	if slot < 0 || slot >= len(route) {
		return fmt.Errorf("playback: no slot %d", slot)
	}
	s.playing = true
	if restart || s.pending.route != nil || s.level == 0 {
		s.pending.slot, s.pending.restart = slot, restart || s.pending.restart
		s.settle()
		return nil
	}
	if s.pending.slot >= 0 {
		s.pending.slot = slot // a restart is under way: it will select the slot pressed last
		return nil
	}
	s.turn(slot)
	return nil
}

// turn begins the cross-fade to a slot. If one is still running, the new one begins at the current gains.
func (s *Switcher) turn(slot int) {
	if slot != s.slot {
		s.switches++
	}
	s.slot = slot
	copy(s.from, s.gain)
	clear(s.to)
	s.to[s.route[slot]] = 1
	s.mixed = 0
}

// Pause fades to silence and keeps the position reached.
func (s *Switcher) Pause() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.playing = false
}

// Resume continues after Pause.
func (s *Switcher) Resume() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.pending.slot < 0 && (s.slot < 0 || s.pending.route != nil) {
		return ErrSilent
	}
	s.playing = true
	return nil
}

// Region sets the loop to frames from to to−1. If the current position is outside, playing fades out and continues at
// the start of the region. The region must be at least four fades long.
func (s *Switcher) Region(from, to int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.checkRegion(from, to); err != nil {
		return err
	}
	s.start, s.end = from, to
	if s.at < from || s.at >= to-s.fade {
		s.pending.restart = true
		s.settle()
	}
	return nil
}

func (s *Switcher) checkRegion(from, to int) error {
	if from < 0 || to > s.frames || to-from < minRegionFades*s.fade {
		return fmt.Errorf("playback: region of frames %d to %d: at least %d frames within 0 to %d are needed",
			from, to, minRegionFades*s.fade, s.frames)
	}
	return nil
}

// waiting reports whether something is pending until silence.
func (s *Switcher) waiting() bool {
	return s.pending.route != nil || s.pending.slot >= 0 || s.pending.restart
}

// settle does what is pending if the level has reached silence.
func (s *Switcher) settle() {
	if s.level > 0 || !s.waiting() {
		return
	}
	p := s.pending
	s.pending = pending{slot: -1}
	if p.route != nil {
		s.route, s.slot, s.switches = p.route, -1, 0
		s.heard = make([]int64, len(p.route))
		clear(s.gain)
	}
	if p.restart {
		s.at, s.seam = s.start, s.fade
	}
	if p.slot >= 0 {
		s.turn(p.slot)
		copy(s.gain, s.to) // nothing sounds: no fade between slots is needed
		s.mixed = s.fade
	}
}

// State is what a screen may show. Nothing in it depends on the route.
type State struct {
	Slot     int   // selected, −1: none
	Playing  bool  // audible, or fading in
	Position int   // next frame of the presentations
	Clock    int64 // frames filled since New
	Switches int   // since Deal
	// Heard[slot] counts the frames since Deal in which the slot alone sounded at full level.
	Heard []int64
}

// State returns the current state.
func (s *Switcher) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := State{Slot: s.slot, Playing: s.playing, Position: s.at, Clock: s.clock, Switches: s.switches, Heard: slices.Clone(s.heard)}
	if s.pending.slot >= 0 {
		st.Slot = s.pending.slot
	}
	if s.pending.route != nil {
		// What still sounds is fading out: the next trial begins with nothing heard.
		st.Slot, st.Switches, st.Heard = s.pending.slot, 0, make([]int64, len(s.pending.route))
	}
	return st
}

// raised is the raised cosine from 0 to 1, exactly 0 and 1 at its ends.
func raised(x float64) float64 {
	if x >= 1 {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*x)
}
