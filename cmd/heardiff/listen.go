package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"heardiff/cmd/heardiff/internal/screen"
	"heardiff/playback"
	"heardiff/playback/device"
	"heardiff/trials"
	"heardiff/trials/study"
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
record was cut short, is refused, and every result names it. Whoever owns the account owns key and
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
	f.StringVar(&o.listener, "listener", "", "who listens: the `listener`'s id")
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
	// An entry that the listener did not wait for must not keep the study open.
	ctx, leave := context.WithCancel(ctx)
	defer leave()
	seat, err := s.Sit(ctx, study.SitOptions{Plan: o.plan, Listener: o.listener, Again: o.again})
	if err != nil {
		return err
	}
	defer seat.Close()
	if seat.Plan.SingleBlind {
		return a.listenByHand(ctx, s, seat, o)
	}
	return a.play(ctx, s, seat, o)
}

// play opens the sound and sits the listener down.
func (a *app) play(ctx context.Context, s *study.Study, seat *study.Seat, o listenOptions) error {
	open := func(src playback.Source) (playback.Output, error) {
		output, err := a.openOutput(o, src)
		if err != nil {
			return nil, err
		}
		for _, note := range output.Opened().Notes {
			a.warn("%s", note)
		}
		return output, nil
	}
	b, err := seat.Play(ctx, open, func(session *trials.Session) study.Closing { return a.keep(ctx, s, session, o).closing() })
	if err != nil {
		return err
	}
	defer b.Close()
	return a.sit(ctx, b, b.Session(), o, b.Opened().Notes)
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
		return study.Blamed(study.Failure, errors.New("no terminal to draw on"), "use --plain where there is none")
	}
	err := screen.Run(ctx, b, screen.Opening{Seal: seal, Notes: notes}, in, a.terminal)
	lines := append([]string{fmt.Sprintf("session %s, order sealed: sha256", session.ID()), "  " + seal}, b.Kept()...)
	for _, line := range lines {
		fmt.Fprint(a.stdout, wrapLine(line+"\n", columnsOf(a.terminal)))
	}
	return err
}

// tapeFits refuses a file:PATH that exists and is no earlier tape: that one is replaced, as when a session
// is resumed by the same command.
func (a *app) tapeFits(device string) error {
	path, ok := strings.CutPrefix(device, "file:")
	if !ok || path == "" {
		return nil // if it cannot be opened the device says so itself
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
		return nil, study.Blamed(study.Failure, err, "--device file:PATH and --device null work in this build too")
	case errors.Is(err, device.ErrResample):
		return nil, rejected(err, "set the device to the rate of the audio; --allow-resampling plays all the same, and the session says so")
	case err != nil:
		return nil, study.Blamed(study.Failure, fmt.Errorf("open %q: %w", o.device, err), `"heardiff devices" lists what can be chosen`)
	}
	return out, nil
}
