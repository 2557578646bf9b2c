package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/wire"
	"heardiff/measure/integrity"
	"heardiff/playback/pcm"
	"heardiff/trials/store"
)

// captureKinds are the kinds of capture: music, or the signal that was played.
var captureKinds = []string{"music", "jitter", "tone", "noise", "low-tone", "two-tone", "sweep", "integrity"}

func (a *app) captureCommand() *cobra.Command {
	return group("capture", "add recordings to the study, and mend what was filed wrongly", a.captureAddCommand(), a.captureRemoveCommand(), a.captureRefileCommand())
}

func (a *app) captureAddCommand() *cobra.Command {
	var kind, music, sent string
	c := &cobra.Command{
		Use:   "add CHAIN FILE… --as KIND [--music NAME]",
		Short: "copy recordings of a chain into the study",
		Long: `Copy recordings of a chain into the study. KIND is music, or the signal that was played:
jitter, tone, noise (silence), low-tone, two-tone, sweep, integrity. Several captures of a kind
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
			if (kind == "integrity") != (sent != "") {
				return misusedf("--sent FILE goes with --as integrity, and is needed there: the file that was played")
			}
			return a.addCaptures(c.Context(), addition{store.Capture{Chain: args[0], Kind: kind, Music: music}, sent}, args[1:])
		},
	}
	c.Flags().StringVar(&kind, "as", "", "the `kind`: music, or the signal that was played")
	c.Flags().StringVar(&music, "music", "", "the `name` of the piece (music only; default \"music\")")
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
			if c.Integrity != nil {
				integrityText(w, *c.Integrity)
			}
		}
	})
}

// addOne adds a file; an integrity capture is compared first with what was sent, and its result kept.
func (a *app) addOne(ctx context.Context, s *store.Store, add addition, file string) (addedCapture, error) {
	added := addedCapture{Capture: add.Capture}
	var data []byte
	if add.sent != "" {
		r, err := a.integrity(ctx, add.sent, file)
		if err != nil {
			return added, err
		}
		if data, err = wire.Marshal(r); err != nil {
			return added, err
		}
		added.Integrity = &r
	}
	var err error
	if added.Capture, err = a.addCapture(ctx, s, add.Capture, file); err != nil || data == nil {
		return added, err
	}
	return added, s.SaveMeasurement(ctx, store.Measurement{Capture: added.ID, Kind: "integrity", Result: data})
}

// addCapture checks one file, copies it into the study and records it. Nothing stays of a file that is refused.
func (a *app) addCapture(ctx context.Context, s *store.Store, c store.Capture, file string) (store.Capture, error) {
	if err := a.describe(ctx, &c, file); err != nil {
		return c, err
	}
	if err := checkMates(ctx, s, c, file); err != nil {
		return c, err
	}
	sum, temporary, err := copyHashed(file, s.Path("audio"))
	if err != nil {
		return c, err
	}
	defer os.Remove(temporary)
	c.SHA256 = sum
	if err := a.checkCopies(ctx, s, c, file); err != nil {
		return c, err
	}
	c.Path = fmt.Sprintf("audio/captures/%s-%s-%.12s%s", c.Chain, c.Kind, sum, strings.ToLower(filepath.Ext(file)))
	if err := moveInto(temporary, s.Path(c.Path)); err != nil {
		return c, err
	}
	added, err := s.AddCapture(ctx, c)
	if err != nil {
		return c, errors.Join(inStudy(err), os.Remove(s.Path(c.Path)))
	}
	return added, nil
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

// checkMates refuses music whose rate or channels disagree with the other captures of the same piece.
func checkMates(ctx context.Context, s *store.Store, c store.Capture, file string) error {
	if c.Kind != "music" {
		return nil
	}
	all, err := s.Captures(ctx)
	if err != nil {
		return err
	}
	for _, mate := range all {
		if mate.Kind == "music" && mate.Music == c.Music && (mate.RateHz != c.RateHz || mate.Channels != c.Channels) {
			return rejected(fmt.Errorf("%s: %d Hz, %d channels, but capture %d of %q has %d Hz, %d channels",
				file, c.RateHz, c.Channels, mate.ID, c.Music, mate.RateHz, mate.Channels),
				"record all chains at one rate; resampling one of them would be a difference of its own")
		}
	}
	return nil
}

// copyHashed copies a file to a temporary one in dir and returns its SHA-256 and the copy's path.
func copyHashed(file, dir string) (sum, temporary string, err error) {
	in, err := os.Open(file)
	if err != nil {
		return "", "", rejected(err, "")
	}
	defer in.Close()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", "", fmt.Errorf("make the audio folder: %w", err)
	}
	out, err := os.CreateTemp(dir, ".incoming-*")
	if err != nil {
		return "", "", fmt.Errorf("copy into the study: %w", err)
	}
	hash := sha256.New()
	_, err = io.Copy(io.MultiWriter(out, hash), in)
	err = errors.Join(err, out.Chmod(0o644), out.Sync(), out.Close())
	if err != nil {
		return "", "", errors.Join(fmt.Errorf("copy into the study: %w", err), os.Remove(out.Name()))
	}
	return hex.EncodeToString(hash.Sum(nil)), out.Name(), nil
}

func moveInto(from, to string) error {
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return fmt.Errorf("make the audio folder: %w", err)
	}
	if err := os.Rename(from, to); err != nil {
		return fmt.Errorf("move into the study: %w", err)
	}
	return nil
}
