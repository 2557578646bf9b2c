package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure"
	"heardiff/measure/integrity"
	"heardiff/playback/pcm"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
)

func (a *app) captureCommand() *cobra.Command {
	return group("capture", "add recordings to the study, and mend what was filed wrongly", a.captureAddCommand(), a.captureRemoveCommand(), a.captureRefileCommand())
}

func (a *app) captureAddCommand() *cobra.Command {
	var kind, music, sent string
	c := &cobra.Command{
		Use:   "add CHAIN FILE… --as KIND [--music NAME]",
		Short: "copy recordings of a chain into the study",
		Long: `Copy recordings of a chain into the study. KIND is music, or the signal that was played:
` + strings.Join(filedNames(), ", ") + `. Several captures of a kind
give the spread of the measurement. --music names the piece; captures of one piece must share
one rate and number of channels. An integrity capture is digital, and compared at once with the
file that was sent (--sent): "link" then knows whether the chain delivers every word.`,
		Example: `  heardiff capture add optical optical-*.wav --as jitter
  heardiff capture add optical suite.wav --as music --music suite
  heardiff capture add optical loop.wav --as integrity --sent integrity.wav`,
		Args: minArgs(2, "CHAIN FILE…"),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if kind, music, err = filedAs(kind, music); err != nil {
				return err
			}
			if isSent(kind) != (sent != "") {
				return misusedf("--sent FILE goes with --as %s, and is needed there: the file that was played", integrityKind.name)
			}
			return a.addCaptures(c.Context(), addition{store.Capture{Chain: args[0], Kind: kind, Music: music}, sent}, args[1:])
		},
	}
	filingFlags(c, &kind, &music)
	c.Flags().StringVar(&sent, "sent", "", "the `file` that was played (integrity only)")
	return c
}

// addition is what the captures of one command have in common.
type addition struct {
	store.Capture
	sent string // the file that was played, of integrity captures
}

// addedCapture is a capture as it is printed.
type addedCapture struct {
	store.Capture
	Holds     string            `json:"holds"` // at a first look
	Integrity *integrity.Result `json:"integrity,omitempty"`
}

func (a *app) addCaptures(ctx context.Context, add addition, files []string) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	if _, err := s.Chain(ctx, add.Chain); err != nil {
		return inStudy(err)
	}
	var added []addedCapture
	for _, file := range files {
		c, err := a.addOne(ctx, s, add, file)
		if err != nil {
			return err
		}
		added = append(added, c)
	}
	result := struct {
		Schema   string         `json:"schema"`
		Captures []addedCapture `json:"captures"`
	}{"heardiff.captures/1", added}
	return a.print(result, func(w io.Writer) {
		for _, c := range added {
			fmt.Fprintf(w, "%s: %s capture %d, %d Hz, %d channels, %.1f s, sha256 %.12s\n",
				c.Chain, c.Kind, c.ID, c.RateHz, c.Channels, float64(c.Frames)/float64(c.RateHz), c.SHA256)
			fmt.Fprintf(w, "  holds %s\n", c.Holds)
			if c.Integrity != nil {
				integrityText(w, *c.Integrity)
			}
		}
	})
}

// addOne adds a file; an integrity capture is compared first with what was sent, and its result kept.
func (a *app) addOne(ctx context.Context, s *store.Store, add addition, file string) (addedCapture, error) {
	added := addedCapture{Capture: add.Capture}
	copied, err := a.copyIn(ctx, s, file)
	if err != nil {
		return added, err
	}
	defer copied.Discard()
	var data []byte
	if add.sent != "" {
		r, err := a.integrity(ctx, add.sent, copied.Name())
		if err != nil {
			return added, inNameOf(file, copied.Name(), err)
		}
		if data, err = wire.Marshal(r); err != nil {
			return added, err
		}
		added.Integrity = &r
	}
	var look measure.Look
	if added.Capture, look, err = a.addCapture(ctx, s, add.Capture, file, copied); err != nil {
		return added, err
	}
	added.Holds = look.String()
	k, _ := kindNamed(added.Kind)
	if odd := k.misfit(look); odd != "" {
		a.warn("%s, now capture %d: %s; was it another signal? \"capture refile\" and \"capture remove\" mend it", file, added.ID, odd)
	}
	if data == nil {
		return added, nil
	}
	return added, s.SaveMeasurement(ctx, store.Measurement{Capture: added.ID, Kind: add.Kind, Result: data})
}

// addCapture checks the copy of one file, puts it in its place in the study and records it. It is the copy that is
// checked: the file itself may still be written to. Nothing stays of one that is refused.
func (a *app) addCapture(ctx context.Context, s *store.Store, c store.Capture, file string, copied *whole.File) (store.Capture, measure.Look, error) {
	if err := a.describe(ctx, &c, copied.Name()); err != nil {
		return c, measure.Look{}, inNameOf(file, copied.Name(), err)
	}
	look, err := a.look(ctx, copied.Name())
	if err != nil {
		return c, look, inNameOf(file, copied.Name(), err)
	}
	if err := checkMates(ctx, s, c, file); err != nil {
		return c, look, err
	}
	if c.SHA256, err = hashUntil(ctx, copied.Name()); err != nil {
		return c, look, err
	}
	if err := a.checkCopies(ctx, s, c, file); err != nil {
		return c, look, err
	}
	c.Path = fmt.Sprintf("audio/captures/%s-%s-%.12s%s", c.Chain, c.Kind, c.SHA256, strings.ToLower(filepath.Ext(file)))
	var added store.Capture
	err = placeAudio(ctx, s, c.Path, func(path string) error { return copied.Rename(path, false) }, func() error {
		added, err = s.AddCapture(ctx, c)
		return err
	})
	if errors.Is(err, store.ErrExists) { // another process was quicker
		if told := a.checkCopies(ctx, s, c, file); told != nil {
			return c, look, told
		}
	}
	return added, look, inStudy(err)
}

// checkCopies refuses audio that the chain holds already, and says where another chain does: such a pair is a control.
func (a *app) checkCopies(ctx context.Context, s *store.Store, c store.Capture, file string) error {
	copies, err := s.CapturesBySHA(ctx, c.SHA256)
	if err != nil {
		return err
	}
	for _, same := range copies {
		if same.Chain == c.Chain {
			return rejected(fmt.Errorf("%s: the same audio is in the study as capture %d of chain %q", file, same.ID, same.Chain),
				"a chain is recorded anew for each capture; a copy tells nothing")
		}
	}
	for _, same := range copies {
		a.warn("%s: the same audio is capture %d of chain %q: a control, which nobody can tell apart", file, same.ID, same.Chain)
	}
	return nil
}

// inNameOf replaces the name of a copy in an error by that of the file that was copied.
func inNameOf(file, copied string, err error) error {
	var f *failure
	if !errors.As(err, &f) {
		return err
	}
	return failed(f.code, renamed{strings.ReplaceAll(err.Error(), copied, file), err}, f.hint)
}

// renamed is an error in other words.
type renamed struct {
	text string
	error
}

// Error implements error.
func (r renamed) Error() string { return r.text }

// Unwrap lets errors.Is see the cause.
func (r renamed) Unwrap() error { return r.error }

// describe reads the whole file once, so that damage is found before it is in the study.
func (a *app) describe(ctx context.Context, c *store.Capture, file string) error {
	f, err := a.open(ctx, file)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := pcm.Verify(a.watched(ctx, f, "reading")); err != nil {
		return rejected(fmt.Errorf("%s: %w", file, err), "record it again, or export it again as WAV or FLAC")
	}
	format := f.Format()
	c.RateHz, c.Channels, c.Bits, c.Frames = int(format.Rate), format.Channels, format.Bits, f.Frames()
	return nil
}

// look takes a first look at what a file holds.
func (a *app) look(ctx context.Context, file string) (measure.Look, error) {
	f, err := a.open(ctx, file)
	if err != nil {
		return measure.Look{}, err
	}
	defer f.Close()
	l, err := measure.LookAt(interruptible(ctx, f))
	if ctx.Err() != nil {
		return l, ctx.Err()
	}
	return l, rejected(wrongFile(file, err), "record it again, or export it again as WAV or FLAC")
}

// checkMates refuses music whose rate or channels disagree with the other captures of the same piece.
func checkMates(ctx context.Context, s *store.Store, c store.Capture, file string) error {
	if !isPiece(c.Kind) {
		return nil
	}
	all, err := s.Captures(ctx)
	if err != nil {
		return err
	}
	for _, mate := range all {
		if isPiece(mate.Kind) && mate.Music == c.Music && (mate.RateHz != c.RateHz || mate.Channels != c.Channels) {
			return rejected(fmt.Errorf("%s: %d Hz, %d channels, but capture %d of %q has %d Hz, %d channels",
				file, c.RateHz, c.Channels, mate.ID, c.Music, mate.RateHz, mate.Channels),
				"record all chains at one rate; resampling one of them would be a difference of its own")
		}
	}
	return nil
}

// copyIn copies a file into the study's audio folder, on its way to its place there.
func (a *app) copyIn(ctx context.Context, s *store.Store, file string) (*whole.File, error) {
	info, err := os.Stat(file) // before opening, which would wait for ever at a pipe
	if err != nil {
		return nil, rejected(unreadable(file, err), "")
	}
	if !info.Mode().IsRegular() {
		return nil, rejected(fmt.Errorf("%s: %w", file, errNotAudio), openHint(errNotAudio))
	}
	in, err := os.Open(file)
	if err != nil {
		return nil, rejected(unreadable(file, err), "")
	}
	defer in.Close()
	dir := s.Path("audio")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("make the audio folder: %w", err)
	}
	out, err := whole.NewFile(dir)
	if err != nil {
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	if _, err := io.Copy(out, untilDone{ctx, in}); err != nil {
		out.Discard()
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	if err := out.Seal(); err != nil {
		return nil, fmt.Errorf("copy into the study: %w", err)
	}
	return out, nil
}
