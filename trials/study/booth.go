package study

import (
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/store"
)

// Booth joins a session with its sound. It alone carries what is hidden from the
// session to the switcher, as a route that is dealt anew for each trial.
type Booth struct {
	mu       sync.Mutex
	session  *trials.Session
	switcher *playback.Switcher
	output   playback.Output
	audio    *audioSet
	now      func() time.Time
	summary  func() ([]string, error)
	kept     func(busy bool) []string

	dealt     int  // the trial whose route is in the switcher
	loop      loop // of the current excerpt
	loopFile  loopFile
	envelope  []float64
	reported  []int64 // frames already reported as heard, by slot
	ran       int64   // the switcher's clock at the last look
	underruns int
	switches  int
	checked   time.Time            // wall clock at the last look
	lasted    time.Duration        // elapsed at the last look
	elapsed   func() time.Duration // goes on evenly, and stops while the machine sleeps
	failed    bool                 // the device failed, and the trial it spoilt is void
	disturbed error                // a trial was made void, which the listener does not know yet
}

// Closing makes the text that a listener sees at the end, in lines: Ended where the session has ended, Left where the listener leaves it.
// busy says that an earlier call on the study has not returned yet.
type Closing struct {
	Ended func() ([]string, error)
	Left  func(busy bool) []string
}

func newBooth(s *trials.Session, w *playback.Switcher, out playback.Output, set *audioSet, now func() time.Time, says Closing, kept loopFile) (*Booth, error) {
	start := time.Now()
	b := &Booth{session: s, switcher: w, output: out, audio: set, now: now, summary: says.Ended, kept: says.Left, checked: now(), underruns: out.Underruns(),
		elapsed: func() time.Duration { return time.Since(start) }, loopFile: kept, loop: kept.read()}
	return b, b.deal()
}

// Session returns the session at which the listener sits.
func (b *Booth) Session() *trials.Session { return b.session }

// Opened describes the output as the device opened it.
func (b *Booth) Opened() playback.Opened { return b.output.Opened() }

// Close closes the output.
func (b *Booth) Close() error { return b.output.Close() }

// deal routes the labels of the trial that is due. The work is the same whatever is hidden: every label is routed.
func (b *Booth) deal() error {
	v := b.session.View()
	if v.Phase == trials.Done || v.Phase == trials.GivenUp || v.Trial == b.dealt {
		return nil
	}
	labels := v.Design.Labels()
	route := make([]int, len(labels))
	comparison := 0
	for i, l := range labels {
		cue, err := b.session.Route(l)
		if err != nil {
			return err
		}
		comparison = cue.Comparison()
		route[i] = b.audio.sources[comparison][cue.Source()]
	}
	if err := b.switcher.Deal(route...); err != nil {
		return err
	}
	b.dealt, b.switches, b.ran = v.Trial, 0, b.switcher.State().Clock
	b.reported = make([]int64, len(labels))
	return b.offerExcerpt(comparison)
}

// offerExcerpt shows the excerpt of a comparison, with the loop over all of it; a loop the listener set stays while
// the excerpt does.
func (b *Booth) offerExcerpt(comparison int) error {
	envelope, frames := b.audio.excerpt(comparison)
	length := b.switcher.Rate().Seconds(frames)
	if b.loop.Length != length {
		b.loop = loop{length, 0, length}
	}
	b.envelope = envelope
	if err := b.setRegion(b.loop.From, b.loop.To); err != nil { // kept by another version, or edited
		return b.setRegion(0, length)
	}
	return nil
}

// leastRegionS is the shortest region that can be looped, in seconds: a loop of less is a tone of its own. A judgement, no source;
// TestALoopIsKeptUntilTheSessionEnds holds it.
const leastRegionS = 0.2

func (b *Booth) setRegion(from, to float64) error {
	rate := b.switcher.Rate().Hz()
	if !(from >= 0 && to <= b.loop.Length && from < to) {
		return fmt.Errorf("region %.1f to %.1f s: must lie within 0 and %.1f s", from, to, b.loop.Length)
	}
	if to-from < leastRegionS {
		return fmt.Errorf("region %.1f to %.1f s: two tenths of a second or more", from, to)
	}
	if err := b.switcher.Region(int(math.Round(from*rate)), int(math.Round(to*rate))); err != nil {
		return err
	}
	b.loop.From, b.loop.To = from, to
	return nil
}

// attend looks after the session before an action: what was heard, and whether the sound was disturbed.
func (b *Booth) attend() error {
	st := b.switcher.State()
	labels := b.session.View().Design.Labels()
	for slot, frames := range st.Heard {
		if slot < len(b.reported) && frames > b.reported[slot] {
			b.session.Heard(labels[slot], int(frames-b.reported[slot]))
			b.reported[slot] = frames
		}
	}
	b.session.Ran(st.Clock-b.ran, int(b.switcher.Rate()))
	b.ran = st.Clock
	for ; b.switches < st.Switches; b.switches++ {
		b.session.Switched()
	}
	return errors.Join(b.attendUnderruns(), b.attendClock(), b.attendDevice())
}

func (b *Booth) running() bool {
	p := b.session.View().Phase
	return p == trials.Listening || p == trials.Asked
}

func (b *Booth) attendUnderruns() error {
	n := b.output.Underruns()
	if n <= b.underruns || !b.running() {
		return nil
	}
	note := fmt.Sprintf("underruns: %d", n-b.underruns)
	b.underruns = n
	return b.session.Flag(note)
}

// clockJump is a difference between wall clock and elapsed time that no drift explains: the machine was suspended,
// or somebody set the clock.
const clockJump = 5 * time.Second

func (b *Booth) attendClock() error {
	now, lasted := b.now(), b.elapsed()
	jump := now.Round(0).Sub(b.checked.Round(0)) - (lasted - b.lasted) // Round(0): the wall clock's own reading
	b.checked, b.lasted = now, lasted
	if jump.Abs() < clockJump || !b.running() {
		return nil
	}
	note := fmt.Sprintf("the clock jumped by %.0f s: the machine slept, or the clock was set", jump.Seconds())
	if err := b.session.Void(note); err != nil {
		return err
	}
	b.disturbed = fmt.Errorf("%s; %w", note, trials.ErrVoid)
	return b.deal()
}

// attendDevice voids the trial when the device is gone: what was heard of it cannot be trusted.
func (b *Booth) attendDevice() error {
	fault := b.output.Err()
	if fault == nil {
		return nil
	}
	if b.running() && !b.failed {
		b.failed = true
		if err := errors.Join(b.session.Void("the sound device failed: "+fault.Error()), b.deal()); err != nil {
			return err
		}
	}
	return fmt.Errorf("the sound device failed: %w; every confirmed answer is kept: leave, mend it, and resume", fault)
}

// within locks the booth, attends and acts, and deals the next trial where the action ended one.
func (b *Booth) within(action func() error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return Leaving(errors.Join(b.attend(), b.tell()), func() error {
		if err := action(); err != nil {
			return err
		}
		return b.deal()
	})
}

// tell returns, once, that a trial became void.
func (b *Booth) tell() error {
	err := b.disturbed
	b.disturbed = nil
	return err
}

// Leaving returns err, or else what action returns; either wraps trials.ErrOver if the study is gone.
func Leaving(err error, action func() error) error {
	if err == nil {
		err = action()
	}
	if errors.Is(err, store.ErrGone) {
		return fmt.Errorf("%w: %w", trials.ErrOver, err)
	}
	return err
}

// View returns what may be shown of the session.
func (b *Booth) View() trials.View {
	b.mu.Lock()
	defer b.mu.Unlock()
	// A fault is shown by Sound; the view itself is always available.
	_ = b.attend()
	return b.session.View()
}

// Sound returns what plays, and where.
func (b *Booth) Sound() trials.Sound {
	b.mu.Lock()
	defer b.mu.Unlock()
	st := b.switcher.State()
	opened := b.output.Opened()
	s := trials.Sound{
		Position: b.switcher.Rate().Seconds(st.Position), Length: b.loop.Length, From: b.loop.From, To: b.loop.To,
		Envelope: b.envelope, Device: deviceLine(opened, b.switcher.Rate()), Fault: b.output.Err(),
	}
	if st.Slot >= 0 {
		s.Selected = b.session.View().Design.Labels()[st.Slot]
	}
	if st.Playing {
		s.Playing = s.Selected
	}
	return s
}

func deviceLine(o playback.Opened, rate pcm.Rate) string {
	line := fmt.Sprintf("%s, %d Hz", o.Name, rate)
	if o.Format != "" {
		line += ", " + o.Format
	}
	return line
}

// Play starts a label, or switches to it at the same instant.
func (b *Booth) Play(l trials.Label) error {
	return b.within(func() error {
		if !b.running() {
			return fmt.Errorf("%w: no trial is open", trials.ErrNotNow)
		}
		for slot, offered := range b.session.View().Design.Labels() {
			if offered == l {
				return b.switcher.Switch(slot)
			}
		}
		return fmt.Errorf("label %q is not of this design", l)
	})
}

// Stop pauses.
func (b *Booth) Stop() error {
	return b.within(func() error { b.switcher.Pause(); return nil })
}

// Restart goes to the start of the region and goes on playing.
func (b *Booth) Restart() error {
	return b.within(func() error {
		st := b.switcher.State()
		if st.Slot < 0 {
			return errors.New("choose first what to hear")
		}
		return b.switcher.Restart(st.Slot)
	})
}

// Region sets what is looped, in seconds of the excerpt.
func (b *Booth) Region(from, to float64) error {
	return b.within(func() error {
		if err := b.setRegion(from, to); err != nil {
			return err
		}
		b.loopFile.write(b.loop)
		return nil
	})
}

// Ask gives an answer, which waits to be confirmed.
func (b *Booth) Ask(a trials.Answer, confidence int) error {
	return b.within(func() error { return b.session.Ask(a, confidence) })
}

// TakeBack withdraws an answer that was not confirmed.
func (b *Booth) TakeBack() error { return b.within(b.session.TakeBack) }

// Confirm keeps the answer.
func (b *Booth) Confirm() error { return b.within(b.session.Confirm) }

// Void gives the trial up; a replacement comes at the end.
func (b *Booth) Void(reason string) error {
	return b.within(func() error { return b.session.Void(reason) })
}

// Rest leaves the session for a while.
func (b *Booth) Rest() error {
	return b.within(func() error { b.switcher.Pause(); return b.session.Rest() })
}

// Wake ends a rest.
func (b *Booth) Wake() error {
	return b.within(func() error { return b.session.Open("after a rest") })
}

// GiveUp ends the session early.
func (b *Booth) GiveUp(reason string) error {
	return b.within(func() error { b.switcher.Pause(); return b.session.GiveUp(reason) })
}

// Summary returns the results once the session has ended, in lines.
func (b *Booth) Summary() ([]string, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	lines, err := b.summary()
	if err == nil {
		b.loopFile.remove()
	}
	return lines, err
}

// Kept says, in lines, what is kept of a session that the listener leaves. It waits for no lock: a commit may be under way, and may have
// stalled.
func (b *Booth) Kept() []string {
	free := b.mu.TryLock()
	if free {
		b.mu.Unlock()
	}
	return b.kept(!free)
}
