package main

import (
	"context"
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"heardiff/measure/signal"
	"heardiff/trials/study"
)

// mendedCapture is what "capture remove" and "capture refile" print: the capture as it was, or as it is filed now.
type mendedCapture struct {
	Schema  string        `json:"schema"`
	Done    string        `json:"done"` // removed or refiled
	Why     string        `json:"why"`
	Capture study.Capture `json:"capture"`
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
			ctx := c.Context()
			return a.mendCapture(ctx, "removed", why, func(s *study.Study) (study.Capture, error) { return s.RemoveCapture(ctx, id, why) })
		},
	}
	whyFlag(c, &why)
	return c
}

func (a *app) captureRefileCommand() *cobra.Command {
	var kind, music, why string
	c := &cobra.Command{
		Use:   "refile ID --as KIND",
		Short: "file a capture under another kind",
		Long: `File a capture under the kind of signal that it really holds. What was measured of it as another kind goes;
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
			if kind, music, err = study.FiledAs(kind, music); err != nil {
				return err
			}
			ctx := c.Context()
			return a.mendCapture(ctx, "refiled", why, func(s *study.Study) (study.Capture, error) { return s.RefileCapture(ctx, id, kind, music, why) })
		},
	}
	filingFlags(c, &kind, &music)
	whyFlag(c, &why)
	return c
}

func captureNumber(text string) (int, error) {
	id, err := strconv.Atoi(text)
	if err != nil || id < 1 {
		return 0, misusedf("%q: the number of a capture is wanted, as \"heardiff capture list\" lists them", text)
	}
	return id, nil
}

// filingFlags says how a capture is filed.
func filingFlags(c *cobra.Command, kind, music *string) {
	c.Flags().StringVar(kind, "as", "", "the `kind`: music, or the signal that was played")
	c.Flags().StringVar(music, "music", "", "the `name` of the piece (music only; default \"music\")")
	completeKinds(c, study.CaptureKinds())
}

// filedNames returns what captures of test signals are filed under, each with the name of its signal where that is another.
func filedNames() []string {
	var names []string
	for _, k := range study.CaptureKinds() {
		switch {
		case k.Signal == signal.Unset:
		case k.Signal.String() != k.Name:
			names = append(names, fmt.Sprintf("%s (%v)", k.Name, k.Signal))
		default:
			names = append(names, k.Name)
		}
	}
	return names
}

// mendCapture mends a capture, and prints it as it was or as it is filed now.
func (a *app) mendCapture(ctx context.Context, done, why string, mend func(s *study.Study) (study.Capture, error)) error {
	return a.inStudy(ctx, func(s *study.Study) error {
		c, err := mend(s)
		if err != nil {
			return err
		}
		r := mendedCapture{Schema: "heardiff.capture_mended/1", Done: done, Why: why, Capture: c}
		return a.printStep(ctx, s, r, func(w io.Writer) {
			if done == "removed" {
				fmt.Fprintf(w, "capture %d (%s, %s) is out of the study; the record keeps that it was there\n", c.ID, c.Chain, c.Kind)
				return
			}
			fmt.Fprintf(w, "capture %d (%s) is filed as %s; \"heardiff measure\" measures it anew\n", c.ID, c.Chain, c.Kind)
		})
	})
}
