package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"heardiff/trials"
	"heardiff/trials/study"
)

// settleTime passes between the helper's confirmation and the listener's screen, whatever was connected, so that a change that was
// quick to make does not show.
const settleTime = time.Second

// helperBooth is the booth of a session without files: the chain behind a label is shown to a helper at a switch box, on
// another terminal, and never to the listener. It implements screen.Booth, in part with the words of study.Booth, though neither can be
// made of the other: each guards one session with what it sounds through. The helper knows: the session is single-blind.
type helperBooth struct {
	mu      sync.Mutex
	session *trials.Session
	helper  *helperLine
	playing trials.Label
	settle  time.Duration
	summary func() ([]string, error)
	kept    func(busy bool) []string
}

// helperLine is the line to the helper's terminal.
type helperLine struct {
	mu      sync.Mutex
	conn    net.Conn
	replies *bufio.Reader
}

// connect asks the helper to connect a chain and returns once the helper says that it is done.
func (h *helperLine) connect(chain string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, err := fmt.Fprintln(h.conn, chain); err != nil {
		return fmt.Errorf("the helper's terminal is gone: %w", err)
	}
	if _, err := h.replies.ReadString('\n'); err != nil {
		return fmt.Errorf("the helper's terminal is gone: %w", err)
	}
	return nil
}

// helperAddress returns where listener and helper meet: outside the study's folder, for this user alone.
func (a *app) helperAddress(ctx context.Context, s *study.Study) (string, error) {
	of, err := s.Study(ctx)
	if err != nil {
		return "", err
	}
	dir, err := a.host().KeyFolder()
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("make a place to meet the helper: %w", err)
	}
	return filepath.Join(dir, "helper-"+of.ID[:8]+".sock"), nil
}

// awaitHelper waits until a helper's terminal has joined.
func (a *app) awaitHelper(ctx context.Context, s *study.Study) (*helperLine, func(), error) {
	address, err := a.helperAddress(ctx, s)
	if err != nil {
		return nil, nil, err
	}
	// The study is locked for this session: an old socket there was left by a session that was killed.
	if err := os.Remove(address); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("make a place to meet the helper: %w", err)
	}
	listener, err := net.Listen("unix", address)
	if err != nil {
		return nil, nil, fmt.Errorf("make a place to meet the helper: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { listener.Close() })
	defer stop()
	fmt.Fprintf(a.stderr, "heardiff: this plan is run by hand; the helper types, on a terminal that the listener cannot see:\nheardiff:   heardiff helper --study %q\n", a.studyFolder())
	conn, err := listener.Accept()
	if err != nil {
		return nil, nil, errors.Join(ctx.Err(), listener.Close())
	}
	return &helperLine{conn: conn, replies: bufio.NewReader(conn)}, func() { conn.Close(); listener.Close() }, nil
}

// View implements screen.Booth.
func (b *helperBooth) View() trials.View {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.session.View()
}

// Sound implements screen.Booth.
func (b *helperBooth) Sound() trials.Sound {
	b.mu.Lock()
	defer b.mu.Unlock()
	return trials.Sound{ByHand: true, Playing: b.playing, Selected: b.playing, Device: "a helper at a switch box: single-blind"}
}

// Play implements screen.Booth: it has the helper connect the label's chain.
func (b *helperBooth) Play(l trials.Label) error {
	chain, err := b.request(l)
	if err != nil {
		return err
	}
	if err := b.helper.connect(chain); err != nil {
		return err
	}
	time.Sleep(b.settle)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.playing = l
	b.session.Switched()
	b.session.Heard(l, 1)
	return nil
}

// request returns the chain behind a label of the trial.
func (b *helperBooth) request(l trials.Label) (string, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.playing = trials.LabelUnset
	cue, err := b.session.Route(l)
	if err != nil {
		return "", err
	}
	c := b.session.Plan().Comparisons[cue.Comparison()]
	audio := [2]string{c.AudioA, c.AudioB}
	return strings.TrimPrefix(audio[cue.Source()], study.ByHand), nil
}

func (b *helperBooth) within(action func() error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	trial := b.session.View().Trial
	err := study.Leaving(nil, action)
	if b.session.View().Trial != trial {
		b.playing = trials.LabelUnset
	}
	return err
}

// errByHand refuses actions that are impossible while a helper switches.
var errByHand = errors.New("not in a session by hand: the music is in your own hands")

// Stop implements screen.Booth.
func (b *helperBooth) Stop() error { return errByHand }

// Restart implements screen.Booth.
func (b *helperBooth) Restart() error { return errByHand }

// Region implements screen.Booth.
func (b *helperBooth) Region(float64, float64) error { return errByHand }

// Ask implements screen.Booth.
func (b *helperBooth) Ask(a trials.Answer, sure int) error {
	return b.within(func() error { return b.session.Ask(a, sure) })
}

// TakeBack implements screen.Booth.
func (b *helperBooth) TakeBack() error { return b.within(b.session.TakeBack) }

// Confirm implements screen.Booth.
func (b *helperBooth) Confirm() error { return b.within(b.session.Confirm) }

// Void implements screen.Booth.
func (b *helperBooth) Void(reason string) error {
	return b.within(func() error { return b.session.Void(reason) })
}

// Rest implements screen.Booth.
func (b *helperBooth) Rest() error { return b.within(b.session.Rest) }

// Wake implements screen.Booth.
func (b *helperBooth) Wake() error {
	return b.within(func() error { return b.session.Open("after a rest") })
}

// GiveUp implements screen.Booth.
func (b *helperBooth) GiveUp(reason string) error {
	return b.within(func() error { return b.session.GiveUp(reason) })
}

// Summary implements screen.Booth.
func (b *helperBooth) Summary() ([]string, error) { return b.summary() }

// Kept implements screen.Booth.
func (b *helperBooth) Kept() []string {
	free := b.mu.TryLock()
	if free {
		b.mu.Unlock()
	}
	return b.kept(!free)
}

// listenByHand sits the listener down with a helper instead of a sound device.
func (a *app) listenByHand(ctx context.Context, s *study.Study, seat *study.Seat, o listenOptions) error {
	helper, close, err := a.awaitHelper(ctx, s)
	if err != nil {
		return err
	}
	defer close()
	session, err := seat.Start(ctx, "by hand, single-blind", false)
	if err != nil {
		return err
	}
	closing := a.keep(ctx, s, session, o).closing()
	b := &helperBooth{session: session, helper: helper, settle: settleTime, summary: closing.Ended, kept: closing.Left}
	return a.sit(ctx, b, session, o, nil)
}

// assist is the helper's side: it says which chain to connect, and passes on when that is done.
func (a *app) assist(ctx context.Context, in io.Reader, conn net.Conn) error {
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	requests, keys := bufio.NewScanner(conn), bufio.NewScanner(in)
	fmt.Fprintln(a.stdout, "Joined. The listener must not see this screen or the switch box, nor hear your hands.\nDisconnect and connect each time in the same way and the same time, also where it is the same chain again.")
	for requests.Scan() {
		fmt.Fprintf(a.stdout, "\nconnect  %s\nenter when it is done: ", requests.Text())
		if !keys.Scan() {
			return errors.Join(keys.Err(), ctx.Err())
		}
		if _, err := fmt.Fprintln(conn, "done"); err != nil {
			return fmt.Errorf("the listener's terminal is gone: %w", err)
		}
	}
	fmt.Fprintln(a.stdout, "\nThe session has been left.")
	return ctx.Err()
}
