package main

import (
	"context"
	"crypto/ecdh"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"heardiff/cmd/heardiff/internal/screen"
	"heardiff/playback"
	"heardiff/playback/device"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// listenOptions are the flags of "listen".
type listenOptions struct {
	plan, listener, device string
	plain, again, resample bool
}

func (a *app) listenCommand() *cobra.Command {
	var o listenOptions
	c := &cobra.Command{
		Use:   "listen --plan ID --listener ID [--device default|NAME|null|file:PATH] [--plain]",
		Short: "run, or resume, a blind session",
		Long: `Run a blind session, or resume the one that was left: at the same trial, with every
confirmed answer kept. The order is drawn from the system's random source and sealed; its
seal is shown before the first trial, and nothing tells what X is before the end.

HEARING: heardiff knows levels below full scale, not the sound at your ear. Turn the volume
all the way down, play the noise of "heardiff signal level", turn up to no more than
comfortable, then leave it alone. Work practice limits 85 dBA to 8 hours, half the time for
each 3 dB more (NIOSH); leisure 80 dBA to 40 hours a week, children 75 dBA (WHO-ITU H.870).

A session is resumed where it is, and nowhere else: beside the key of this account (HEARDIFF_KEYS,
mode 0600) a ledger keeps which sessions were begun, where, and how far they came. A copy of a study
is not resumed while its original is there; a session that went on or ended in a copy, or whose
record was cut short, is refused, and every result names it. Who owns the account owns key and
ledger. So a listener who must not be trusted
  - sits at an account or machine of the study's keeper, logged in by them; or
  - works through a kit ("export --kit"), and the keeper asks for the head at the end of each session; or
  - sits beside somebody.

--plain reads one command a line and answers each with a line: for screen readers and pipes.`,
		Example: `  heardiff listen --plan 1 --listener L1
  heardiff listen --plan 1 --listener L1 --device null --plain`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error {
			if o.plan == "" || o.listener == "" {
				return misusedf("a plan and a listener are wanted: --plan ID --listener ID")
			}
			return a.listen(c.Context(), o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.plan, "plan", "", "the `plan` to work through")
	f.StringVar(&o.listener, "listener", "", "who listens: the `id`")
	f.StringVar(&o.device, "device", "default", "`device`: default, a name from \"heardiff devices\", null, or file:PATH")
	f.BoolVar(&o.plain, "plain", false, "line by line instead of full screen")
	f.BoolVar(&o.again, "again", false, "begin another session where this listener has finished this plan; both count")
	f.BoolVar(&o.resample, "allow-resampling", false, "play also where the device would resample")
	return c
}

func (a *app) listen(ctx context.Context, o listenOptions) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	release, err := s.Lock(ctx, o.listener)
	if errors.Is(err, store.ErrBusy) {
		return failed(exitFailed, err, "finish or close the other one first")
	}
	if err != nil {
		return err
	}
	defer release()
	// An entry that the listener did not wait for must not keep the study open.
	ctx, leave := context.WithCancel(ctx)
	defer leave()
	plan, session, err := a.openSession(ctx, s, o)
	if err != nil {
		return err
	}
	if plan.SingleBlind {
		return a.listenByHand(ctx, s, plan, session, o)
	}
	return a.play(ctx, s, plan, session, o)
}

// play opens the sound and sits the listener down: to a new session where session is nil. Nothing of it is kept before the
// device is open.
func (a *app) play(ctx context.Context, s *store.Store, plan trials.Plan, session *trials.Session, o listenOptions) error {
	set, err := a.loadAudio(ctx, s, plan)
	if err != nil {
		return err
	}
	switcher, err := playback.New(playback.Config{}, set.clips...)
	if err != nil {
		return err
	}
	output, err := a.openOutput(o, switcher)
	if err != nil {
		return err
	}
	defer output.Close()
	for _, note := range output.Opened().Notes {
		a.warn("%s", note)
	}
	device := deviceLine(output.Opened(), switcher.Rate())
	if session == nil {
		if session, err = a.begin(ctx, s, plan, o.listener, device); err != nil {
			return err
		}
	}
	if err := s.SetDevice(ctx, session.ID(), device); err != nil {
		return err
	}
	if err := session.Sit(device, output.Opened().Silent); err != nil {
		return err
	}
	b, err := newBooth(session, switcher, output, set, a.now, a.keep(ctx, s, session, o))
	if err != nil {
		return err
	}
	return a.sit(ctx, b, session, o, output.Opened().Notes)
}

// sit puts the listener before a screen of the session; notes are what they should know of the device.
func (a *app) sit(ctx context.Context, b screen.Booth, session *trials.Session, o listenOptions, notes []string) error {
	commitment := session.Commitment()
	seal := hex.EncodeToString(commitment[:])
	if o.plain {
		for _, line := range screen.Caution() {
			fmt.Fprintf(a.stderr, "heardiff: %s\n", line)
		}
		fmt.Fprintf(a.stderr, "heardiff: session %s, order sealed: sha256 %s\n", session.ID(), seal)
		return screen.Plain(ctx, b, a.stdin, a.stdout)
	}
	in, ok := a.stdin.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return failed(exitFailed, errors.New("no terminal to draw on"), "use --plain where there is none")
	}
	err := screen.Run(ctx, b, screen.Opening{Seal: seal, Notes: notes}, in, a.terminal)
	fmt.Fprintf(a.stdout, "session %s, order sealed: sha256 %s\n", session.ID(), seal)
	for _, line := range b.Kept() {
		fmt.Fprintln(a.stdout, line)
	}
	return err
}

// ownRows returns what the study says of the listener of a session that has just ended; none where the study cannot be
// linked, so that nobody loses their closing screen to a file that is gone.
func (a *app) ownRows(ctx context.Context, s *store.Store, id string, r trials.Result) []link.Row {
	quiet := *a
	quiet.stderr, quiet.line = io.Discard, nil
	l, err := quiet.linkOpen(ctx, s)
	if err != nil {
		return nil
	}
	for _, v := range l.sessions {
		if v.ID == id {
			return l.result.Of(v.Listener, r)
		}
	}
	return nil
}

// findSession resumes the listener's open session on the plan, or begins one.
func (a *app) findSession(ctx context.Context, s *store.Store, o listenOptions) (*trials.Session, error) {
	plan, session, err := a.openSession(ctx, s, o)
	if err != nil || session != nil {
		return session, err
	}
	return a.begin(ctx, s, plan, o.listener, o.device)
}

// openSession returns the plan, and the session of the listener on it that is open, nil where a new one is to be begun. It
// rejects a plan that the listener has finished, unless it is to be worked through again.
func (a *app) openSession(ctx context.Context, s *store.Store, o listenOptions) (trials.Plan, *trials.Session, error) {
	plan, err := s.Plan(ctx, o.plan)
	if err != nil {
		return plan, nil, inStudy(err)
	}
	if _, err := s.Listener(ctx, o.listener); err != nil {
		return plan, nil, inStudy(err)
	}
	all, err := s.Sessions(ctx)
	if err != nil {
		return plan, nil, err
	}
	finished := ""
	for _, v := range all {
		if v.Plan != o.plan || v.Listener != o.listener {
			continue
		}
		session, err := a.resume(ctx, s, plan, v)
		if errors.Is(err, errRevealed) {
			if !o.again {
				return plan, nil, rejected(err, "it stays, and every result names it; --again begins another session")
			}
			continue
		}
		if err != nil || session != nil {
			return plan, session, err
		}
		finished = v.ID
	}
	if finished != "" && !o.again {
		return plan, nil, rejected(fmt.Errorf("listener %q has finished plan %q in session %s", o.listener, o.plan, finished),
			"see \"heardiff results\"; --again begins another session, and both stay and count")
	}
	return plan, nil, nil
}

// resume takes up a stored session, or returns nil where it has ended.
func (a *app) resume(ctx context.Context, s *store.Store, plan trials.Plan, v store.Session) (*trials.Session, error) {
	entries, err := s.Entries(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	if len(entries) > 0 && entries[len(entries)-1].Kind == trials.EntryEnd {
		return nil, nil
	}
	journal, remark, err := a.seat(ctx, s, v.ID, entries)
	if err != nil {
		return nil, err
	}
	key, err := a.sealKey()
	if err != nil {
		return nil, err
	}
	seed, err := key.Open(v.Sealed, v.ID)
	if err != nil {
		return nil, rejected(fmt.Errorf("session %s cannot be resumed here: %w", v.ID, err),
			"resume it on the machine where it began, or bring its key (HEARDIFF_KEYS)")
	}
	if len(entries) == 0 { // killed between the session's row and its first entry
		of, err := s.Study(ctx)
		if err != nil {
			return nil, err
		}
		return trials.Begin(v.ID, trials.NewSeat(of.ID, v.Listener, v.Device), plan, seed, journal, a.now)
	}
	session, err := trials.Resume(plan, seed, entries, journal, a.now)
	if err != nil {
		return nil, rejected(fmt.Errorf("session %s: %w", v.ID, err), `"heardiff verify" tells more`)
	}
	if session.View().Phase == trials.Done || session.View().Phase == trials.GivenUp {
		return nil, session.Finish() // killed between the last answer and the end
	}
	if remark != "" {
		return session, session.Flag(remark)
	}
	return session, nil
}

// begin draws the order of a new session and seals it, with who listens through what.
func (a *app) begin(ctx context.Context, s *store.Store, plan trials.Plan, listener, device string) (*trials.Session, error) {
	var seed trials.Seed
	var id [8]byte
	if _, err := rand.Read(seed[:]); err != nil {
		return nil, fmt.Errorf("draw the order: %w", err)
	}
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("make an id: %w", err)
	}
	key, err := a.sealKey()
	if err != nil {
		return nil, err
	}
	site, err := a.siteKey()
	if err != nil {
		return nil, err
	}
	of, err := s.Study(ctx)
	if err != nil {
		return nil, err
	}
	own := bundle.SessionSuffix(site.Public().(ed25519.PublicKey))
	v := store.Session{ID: hex.EncodeToString(id[:]) + own, Plan: plan.ID, Listener: listener, Device: device}
	if v.Sealed, err = key.Seal(seed, v.ID); err != nil {
		return nil, err
	}
	if v.Escrow, err = escrow(of, seed, v.ID); err != nil {
		return nil, err
	}
	journal, _, err := a.seat(ctx, s, v.ID, nil)
	if err != nil {
		return nil, err
	}
	if err := s.AddSession(ctx, v); err != nil {
		return nil, inStudy(err)
	}
	return trials.Begin(v.ID, trials.NewSeat(of.ID, listener, device), plan, seed, journal, a.now)
}

// escrow seals the seed to the site whose kit the study is; nil in a study of one's own.
func escrow(of store.Study, seed trials.Seed, session string) ([]byte, error) {
	if len(of.OriginKey) == 0 {
		return nil, nil
	}
	site, err := ecdh.X25519().NewPublicKey(of.OriginKey)
	if err != nil {
		return nil, fmt.Errorf("the kit's sealing key: %w", err)
	}
	return trials.SealTo(site, seed, session)
}

// loadAudio reads the prepared audio of a plan and checks that it is what the plan was made for.
func (a *app) loadAudio(ctx context.Context, s *store.Store, p trials.Plan) (*audioSet, error) {
	set := &audioSet{}
	index := map[string]int{}
	for _, c := range p.Comparisons {
		var pair [2]int
		for i, sum := range []string{c.AudioA, c.AudioB} {
			at, known := index[sum]
			if !known {
				clip, err := a.loadPresentation(ctx, s, sum)
				if err != nil {
					return nil, err
				}
				at = len(set.clips)
				index[sum] = at
				set.clips = append(set.clips, clip)
			}
			pair[i] = at
		}
		set.sources = append(set.sources, pair)
		set.lengths = append(set.lengths, set.clips[pair[0]].Len())
	}
	set.pad()
	return set, nil
}

// pad makes all clips as long as the longest; a loop never reaches beyond its own excerpt.
func (s *audioSet) pad() {
	longest := 0
	for _, c := range s.clips {
		longest = max(longest, c.Len())
	}
	for i, c := range s.clips {
		if c.Len() < longest {
			padded := pcm.NewClip(c.Rate, len(c.Channels), longest)
			for k, ch := range c.Channels {
				copy(padded.Channels[k], ch)
			}
			s.clips[i] = padded
		}
	}
}

func (a *app) loadPresentation(ctx context.Context, s *store.Store, sum string) (pcm.Clip, error) {
	p, err := s.PresentationBySHA(ctx, sum)
	if err != nil {
		return pcm.Clip{}, inStudy(err)
	}
	f, err := a.openRecorded(ctx, s, recordedFile{p.Path, sum})
	if err != nil {
		return pcm.Clip{}, err
	}
	defer f.Close()
	return pcm.Load(f, 0, -1)
}

// tapeFits refuses a file:PATH at which something else stands than an earlier tape: that one is replaced, as when a session
// is resumed by the same command.
func (a *app) tapeFits(device string) error {
	path, ok := strings.CutPrefix(device, "file:")
	if _, err := os.Stat(filepath.Dir(path)); !ok || path == "" || err != nil {
		return nil // what cannot be opened the device says itself
	}
	again := *a
	again.force = true
	_, err := again.destination(path, tapeFile)
	return err
}

// openOutput opens the device the command line names.
func (a *app) openOutput(o listenOptions, src playback.Source) (playback.Output, error) {
	if err := a.tapeFits(o.device); err != nil {
		return nil, err
	}
	out, err := device.Open(o.device, src, device.Config{AllowResample: o.resample})
	switch {
	case errors.Is(err, device.ErrNoSound):
		return nil, failed(exitFailed, err, "--device file:PATH and --device null work in this build too")
	case errors.Is(err, device.ErrResample):
		return nil, rejected(err, "set the device to the rate of the audio; --allow-resampling plays all the same, and the session says so")
	case err != nil:
		return nil, failed(exitFailed, fmt.Errorf("open %q: %w", o.device, err), `"heardiff devices" lists what can be chosen`)
	}
	return out, nil
}
