package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/trials"
	"heardiff/trials/study"
)

type inspectedFile struct {
	Path   string `json:"path"`
	Format string `json:"format"` // wav, flac
	SHA256 string `json:"sha256"` // of the whole file
	measure.Inspection
}

type inspected struct {
	Schema string          `json:"schema"`
	Files  []inspectedFile `json:"files"`
	// Failed are the files of several that could not be inspected.
	Failed []uninspected `json:"failed,omitempty"`
}

// uninspected is a file that could not be inspected, and why.
type uninspected struct {
	Path  string `json:"path"`
	Error string `json:"error"`
	err   error
}

func (a *app) inspectCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "inspect FILE…",
		Short: "look at audio files: format, levels, clipping, holes, loudness",
		Long: `Look at audio files before anything is made of them: format, levels, clipping, holes,
stuck values, how many bits carry data, loudness and true peak. A file that cannot be read does
not keep the others from being looked at.`,
		Example: "  heardiff inspect capture.wav\n  heardiff inspect *.wav",
		Args:    minArgs(1, "FILE…"),
		RunE: func(c *cobra.Command, args []string) error {
			result := inspected{Schema: "heardiff.inspect/1"}
			for _, path := range args {
				f, err := a.inspect(c.Context(), path)
				switch {
				case c.Context().Err() != nil:
					return cmp.Or(err, c.Context().Err())
				case err != nil && len(args) == 1:
					return err
				case err != nil:
					result.Failed = append(result.Failed, uninspected{path, err.Error(), err})
				default:
					result.Files = append(result.Files, f)
				}
			}
			return errors.Join(a.print(result, result.text), result.failure(len(args)))
		},
	}
}

// failure is the error of the files that could not be inspected, nil where there are none.
func (r inspected) failure(of int) error {
	if len(r.Failed) == 0 {
		return nil
	}
	var says []string
	for _, f := range r.Failed {
		says = append(says, f.Error)
	}
	kind := study.Failure
	if f, ok := study.FaultOf(r.Failed[0].err); ok {
		kind = f.Blame
	}
	return study.Blamed(kind, fmt.Errorf("%d of %s could not be inspected: %s", len(r.Failed), trials.Counted(of, "file"), strings.Join(says, "; ")), "")
}

func (r inspected) text(w io.Writer) {
	for i, f := range r.Files {
		if i > 0 {
			fmt.Fprintln(w)
		}
		printInspected(w, f)
	}
}

func (a *app) inspect(ctx context.Context, path string) (inspectedFile, error) {
	file, err := audiofile.Open(ctx, path)
	if err != nil {
		return inspectedFile{}, err
	}
	defer file.Close()
	result, err := measure.Inspect(pcm.Until(ctx, file, a.progress("inspecting")))
	if err != nil {
		return inspectedFile{}, rejected(fmt.Errorf("%s: %w", path, err), "")
	}
	sum, format, err := fingerprint(ctx, path)
	if err != nil {
		return inspectedFile{}, err
	}
	return inspectedFile{Path: path, Format: format, SHA256: sum, Inspection: result}, nil
}

// fingerprint returns the SHA-256 of a whole file and which of the two formats it is, unless ctx ends first.
func fingerprint(ctx context.Context, path string) (sum, format string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", "", err
	}
	defer f.Close()
	in := bufio.NewReader(f)
	format = "wav"
	if magic, err := in.Peek(4); err == nil && string(magic) == "fLaC" {
		format = "flac"
	}
	if sum, err = study.HashOf(ctx, in); err != nil {
		return "", "", fmt.Errorf("%s: %w", path, err)
	}
	return sum, format, nil
}

func printInspected(w io.Writer, f inspectedFile) {
	kind := "bits"
	if f.Float {
		kind = "bits float"
	}
	fmt.Fprintf(w, "%s: %s, %d Hz, %d %s, %s, %.3f s (%s)\n", printable.Text(f.Path), f.Format, f.RateHz, f.Bits, kind, trials.Counted(f.Channels, "channel"), f.Seconds, trials.Counted(f.Frames, "frame"))
	fmt.Fprintf(w, "sha256 %s\n", f.SHA256)
	fmt.Fprintf(w, "loudness %s LUFS, at most %s in 400 ms and %s in 3 s; true peak %s dBTP\n\n", figure(f.LoudnessLUFS, "%.2f"),
		figure(f.MaxMomentaryLUFS, "%.2f"), figure(f.MaxShortTermLUFS, "%.2f"), figure(f.TruePeakDBTP, "%.2f"))
	t := newTable("channel", "peak dBFS", "RMS dBFS", "DC", "clipped", "clip run", "zero run", "held run", "bits used")
	t.right(0, 1, 2, 3, 4, 5, 6, 7, 8)
	for _, c := range f.Channel {
		t.row(fmt.Sprint(c.Channel), figure(c.PeakDBFS, "%.2f"), figure(c.RMSDBFS, "%.2f"), figure(c.DC, "%.6f"),
			fmt.Sprint(c.ClippedSamples), fmt.Sprint(c.LongestClipRun), fmt.Sprint(c.LongestZeroRun),
			fmt.Sprint(c.LongestHeldRun), figure(c.EffectiveBits, "%.0f"))
	}
	t.print(w, "")
	warningsText(w, f.Warnings)
}
