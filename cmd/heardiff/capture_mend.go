package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/measure/signal"
	"heardiff/trials"
	"heardiff/trials/store"
)

// mendedCapture is what "capture remove" and "capture refile" print: the capture as it was, or as it is filed now.
type mendedCapture struct {
	Schema  string        `json:"schema"`
	Done    string        `json:"done"` // removed or refiled
	Why     string        `json:"why"`
	Capture store.Capture `json:"capture"`
}

func (a *app) captureRemoveCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:   "remove ID",
		Short: "take a capture out of the study",
		Long: `Take a capture, and what was measured of it, out of the study and delete the study's copy of the
file. The record keeps what it was, its hash, and why it went. Music from which an excerpt was cut
stays: results may rest on it.`,
		Example: `  heardiff capture remove 7 --why "the cable was loose"`,
		Args:    exactArgs("ID"),
		RunE: func(c *cobra.Command, args []string) error {
			id, err := captureNumber(args[0])
			if err != nil {
				return err
			}
			return a.captureRemove(c.Context(), id, why)
		},
	}
	c.Flags().StringVar(&why, "why", "", "the `reason`, kept in the record")
	return c
}

func (a *app) captureRefileCommand() *cobra.Command {
	var kind, music, why string
	c := &cobra.Command{
		Use:   "refile ID --as KIND",
		Short: "file a capture under another kind",
		Long: `File a capture under the kind of signal that it does hold. What was measured of it as another kind goes;
"heardiff measure" measures it anew. The record keeps what it was filed as, and why. Music from which
an excerpt was cut stays as it is, and an integrity capture needs the file that was sent: remove it
and add it again.`,
		Example: "  heardiff capture refile 7 --as tone",
		Args:    exactArgs("ID"),
		RunE: func(c *cobra.Command, args []string) error {
			id, err := captureNumber(args[0])
			if err != nil {
				return err
			}
			if kind, music, err = filedAs(kind, music); err != nil {
				return err
			}
			return a.captureRefile(c.Context(), store.Capture{ID: id, Kind: kind, Music: music}, why)
		},
	}
	filingFlags(c, &kind, &music)
	c.Flags().StringVar(&why, "why", "", "the `reason`, kept in the record")
	return c
}

func captureNumber(text string) (int, error) {
	id, err := strconv.Atoi(text)
	if err != nil || id < 1 {
		return 0, misusedf("%q: the number of a capture is wanted, as \"heardiff study show\" lists them", text)
	}
	return id, nil
}

// filingFlags says how a capture is filed.
func filingFlags(c *cobra.Command, kind, music *string) {
	c.Flags().StringVar(kind, "as", "", "the `kind`: music, or the signal that was played")
	c.Flags().StringVar(music, "music", "", "the `name` of the piece (music only; default \"music\")")
	completeKinds(c, captureKinds())
}

// filedNames returns what captures of test signals are filed under, each with the name of its signal where that is another.
func filedNames() []string {
	var names []string
	for _, k := range captureKinds() {
		switch {
		case k.signal == signal.Unset:
		case k.signal.String() != k.name:
			names = append(names, fmt.Sprintf("%s (%v)", k.name, k.signal))
		default:
			names = append(names, k.name)
		}
	}
	return names
}

// defaultPiece is the name of a piece of music that is given none.
const defaultPiece = "music"

// filedAs checks how a capture is to be filed, and fills in the name of the piece.
func filedAs(name, music string) (kind, piece string, err error) {
	k, ok := captureKind(name)
	if !ok {
		return "", "", misusedf("--as %q: %s", name, strings.Join(namesOf(captureKinds()), ", "))
	}
	if k.piece && music == "" {
		music = defaultPiece
	}
	if !k.piece && music != "" {
		return "", "", misusedf("--music %q goes with --as %s", music, musicKind.name)
	}
	if err := trials.CheckText("--music", music); err != nil {
		return "", "", misused(err)
	}
	return k.name, music, nil
}

func (a *app) captureRemove(ctx context.Context, id int, why string) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	c, err := unusedCapture(ctx, s, id)
	if err != nil {
		return err
	}
	if err := s.RemoveCapture(ctx, id, why); err != nil {
		return inStudy(err)
	}
	// The record is the study: a file that stays behind is no fault of it.
	if err := dropAudio(ctx, s, c.Path); err != nil {
		a.warn("the study's copy %s stays: %v", c.Path, err)
	}
	return a.mended("removed", why, c)
}

func (a *app) captureRefile(ctx context.Context, as store.Capture, why string) error {
	s, err := a.openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	c, err := unusedCapture(ctx, s, as.ID)
	if err != nil {
		return err
	}
	if isSent(as.Kind) || isSent(c.Kind) {
		return rejected(fmt.Errorf("capture %d: an integrity capture is compared with the file that was sent when it is added", c.ID),
			"take it out with \"heardiff capture remove\" and add the file again")
	}
	c.Kind, c.Music = as.Kind, as.Music
	if err := checkMates(ctx, s, c, fmt.Sprintf("capture %d", c.ID)); err != nil {
		return err
	}
	if err := s.RefileCapture(ctx, c.ID, c.Kind, c.Music, why); err != nil {
		return inStudy(err)
	}
	return a.mended("refiled", why, c)
}

// unusedCapture returns a capture, and refuses music from which an excerpt was cut.
func unusedCapture(ctx context.Context, s *store.Store, id int) (store.Capture, error) {
	c, err := s.Capture(ctx, id)
	if err != nil {
		return c, inStudy(err)
	}
	if !isPiece(c.Kind) {
		return c, nil
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return c, err
	}
	for _, e := range excerpts {
		used := func(p store.Presentation) bool { return p.Chain == c.Chain }
		if e.Music == c.Music && slices.ContainsFunc(e.Presentations, used) {
			return c, rejected(fmt.Errorf("capture %d: excerpt %q was cut from this music of chain %q", id, e.Name, c.Chain),
				"results may rest on it; record the chain again and prepare another excerpt")
		}
	}
	return c, nil
}

func (a *app) mended(done, why string, c store.Capture) error {
	r := mendedCapture{Schema: "heardiff.capture_mended/1", Done: done, Why: why, Capture: c}
	return a.print(r, func(w io.Writer) {
		if done == "removed" {
			fmt.Fprintf(w, "capture %d (%s, %s) is out of the study; the record keeps that it was there\n", c.ID, c.Chain, c.Kind)
			return
		}
		fmt.Fprintf(w, "capture %d (%s) is filed as %s; \"heardiff measure\" measures it anew\n", c.ID, c.Chain, c.Kind)
	})
}
