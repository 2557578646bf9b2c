// Package playback decides what reaches the ears: it switches between presentations of the same length in
// step on one sample clock, with the same cross-fade whatever is switched to.
//
// A slot is what a key selects (A, B, X or the first and second of a pair); a presentation is audio. A route
// says which presentation stands behind each slot and is dealt for every trial. Whatever the route, every
// presentation is read and mixed in every frame with the same arithmetic, so that neither the load nor the
// moment of a change tells what is hidden.
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

// ErrSilent is returned where something must be set before sound can play.
var ErrSilent = errors.New("nothing is dealt to play")

// Config shapes the fades. Zero fields take the defaults.
type Config struct {
	// Fade is the length of every cross-fade, of the loop's seam and of the fades of pause and restart.
	// 5 ms unless set (common practice, no source); at least one frame.
	Fade time.Duration
	// FirstFade is the length of the fade-in after New, for safety. 500 ms unless set.
	FirstFade time.Duration
}

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

	level   float64 // phase of the level's fade, 0 silent, 1 full
	step    float64 // per frame, when the level rises
	playing bool    // what the level is moving to
	pending pending

	clock    int64 // frames filled since New
	heard    []int64
	switches int
}

// pending is done once the level has reached silence.
type pending struct {
	route   []int // nil: keep
	slot    int   // −1: keep
	restart bool
}

// New returns a switcher over presentations of one rate, shape and length, silent and at rest. Errors wrap
// pcm.ErrMismatch for audio that disagrees; samples beyond ±1 or not numbers are refused, so that no mix of
// presentations can pass full scale.
func New(c Config, presentations ...pcm.Clip) (*Switcher, error) {
	if len(presentations) == 0 || presentations[0].Len() == 0 {
		return nil, errors.New("playback: no audio to play")
	}
	p := presentations[0]
	s := &Switcher{rate: p.Rate, channels: len(p.Channels), frames: p.Len(), end: p.Len(), slot: -1}
	for i, q := range presentations {
		if q.Rate != p.Rate || len(q.Channels) != len(p.Channels) || q.Len() != p.Len() {
			return nil, fmt.Errorf("%w: presentation %d: %d Hz, %d channels, %d frames; the first: %d Hz, %d channels, %d frames",
				pcm.ErrMismatch, i+1, q.Rate, len(q.Channels), q.Len(), p.Rate, len(p.Channels), p.Len())
		}
		a := q.Float32()
		for k, v := range a {
			if !(v >= -1 && v <= 1) {
				return nil, fmt.Errorf("playback: presentation %d exceeds full scale at frame %d", i+1, k/s.channels)
			}
		}
		s.audio = append(s.audio, a)
	}
	if c.Fade <= 0 {
		c.Fade = 5 * time.Millisecond
	}
	if c.FirstFade <= 0 {
		c.FirstFade = 500 * time.Millisecond
	}
	s.fade = max(1, p.Rate.Frames(c.Fade))
	if err := s.checkRegion(0, s.frames); err != nil {
		return nil, err
	}
	s.first = 1 / float64(max(1, p.Rate.Frames(c.FirstFade)))
	s.step = s.first
	s.mixed, s.seam = s.fade, s.fade
	n := len(s.audio)
	s.gain, s.from, s.to = make([]float64, n), make([]float64, n), make([]float64, n)
	s.pending.slot = -1
	return s, nil
}

// Rate returns the sampling rate.
func (s *Switcher) Rate() pcm.Rate { return s.rate }

// Channels returns the number of channels.
func (s *Switcher) Channels() int { return s.channels }

// Frames returns the length of every presentation.
func (s *Switcher) Frames() int { return s.frames }

// Deal fades to silence and sets which presentation (counted from 0) stands behind each slot. Nothing is
// selected afterwards, the counts of switches and of frames heard begin anew, and the region's start is next.
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

// Switch selects a slot and plays it, from the very instant that sounds now.
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
		s.pending.slot = slot // a restart is under way: it brings the slot pressed last
		return nil
	}
	s.turn(slot)
	return nil
}

// turn begins the cross-fade to a slot. Where one is still running, the new one begins at the gains of this
// moment.
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

// Pause fades to silence and stays at the instant reached.
func (s *Switcher) Pause() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.playing = false
}

// Resume goes on after Pause.
func (s *Switcher) Resume() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.pending.slot < 0 && (s.slot < 0 || s.pending.route != nil) {
		return ErrSilent
	}
	s.playing = true
	return nil
}

// Region sets the loop to frames from to to−1. It goes on from the start of the region, with fades, where the
// present instant is outside. The region must hold four fades or more.
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
	if from < 0 || to > s.frames || to-from < 4*s.fade {
		return fmt.Errorf("playback: a region of frames %d to %d; wanted are %d frames or more within 0 to %d",
			from, to, 4*s.fade, s.frames)
	}
	return nil
}

// waiting reports whether something is to be done in silence.
func (s *Switcher) waiting() bool {
	return s.pending.route != nil || s.pending.slot >= 0 || s.pending.restart
}

// settle does what waits for silence, if it is silent.
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

// State is what a screen shows. Nothing in it depends on the route.
type State struct {
	Slot     int   // selected, −1: none
	Playing  bool  // sounding or about to
	Position int   // next frame of the presentations
	Clock    int64 // frames filled since New
	Switches int   // since Deal
	// Heard[slot] counts the frames since Deal in which the slot alone sounded at full level.
	Heard []int64
}

// State returns the present state.
func (s *Switcher) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := State{Slot: s.slot, Playing: s.playing, Position: s.at, Clock: s.clock, Switches: s.switches, Heard: slices.Clone(s.heard)}
	if s.pending.slot >= 0 {
		st.Slot = s.pending.slot
	}
	if s.pending.route != nil {
		// What sounds is only fading away: the trial that follows begins with nothing heard.
		st.Slot, st.Switches, st.Heard = s.pending.slot, 0, make([]int64, len(s.pending.route))
	}
	return st
}

// raised is the raised cosine from 0 to 1; exactly 0 and 1 at its ends.
func raised(x float64) float64 {
	if x >= 1 {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*x)
}
