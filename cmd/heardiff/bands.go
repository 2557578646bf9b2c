package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/measure/impair"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
)

// bandsOptions are the flags of "bands".
type bandsOptions struct {
	plot    string
	passage float64
}

// maxPassageS is the longest passage, in seconds: an hour. A judgement, no source; no figure depends on it.
const maxPassageS = 3600

func (a *app) bandsCommand() *cobra.Command {
	var o bandsOptions
	c := &cobra.Command{
		Use:   "bands CLEAN DOSED",
		Short: "where a dose comes nearest to exceeding the masking of the music",
		Long: `Where a dose comes nearest to exceeding the masking of the music. DOSED is a copy of CLEAN, as
"heardiff impair" makes it. Both are compared in auditory bands (one equivalent rectangular
bandwidth wide, Glasberg and Moore 1990), moment by moment (a sixth of a second): what the copy
adds, against what the music alone in that band and moment could be expected to mask (noise
masked by a tone, Schroeder and others 1979; that formula from memory) and against hearing in quiet
where full scale is 112 dB SPL. 0 dB is where it could begin to show; 20 dB or more below it
everywhere is hopeless (a judgement, no source).

The passages of the music are ranked by their nearest moment: take one that shows it best.
This is a model, to choose passages and doses by. Only a test says what is heard.`,
		Example: `  heardiff impair music.wav --jitter random --jitter-ps 100000 --out dosed.wav
  heardiff bands music.wav dosed.wav --plot bands.svg`,
		Args: exactArgs("CLEAN", "DOSED"),
		RunE: func(c *cobra.Command, args []string) error {
			if !(o.passage > 0 && o.passage <= maxPassageS) {
				return misusedf("--passage %v: seconds, above 0 and at most an hour", o.passage)
			}
			if err := a.checkPicture(o.plot); err != nil {
				return err
			}
			return a.bands(c.Context(), o, args[0], args[1])
		},
	}
	c.Flags().StringVar(&o.plot, "plot", "", "also draw the bands into `FILE`, .svg or .png")
	c.Flags().Float64Var(&o.passage, "passage", 10, "how long the passages are, in `seconds`")
	a.forceFlag(c)
	return c
}

func (a *app) bands(ctx context.Context, o bandsOptions, clean, dosed string) error {
	files, err := audiofile.OpenPair(ctx, clean, dosed)
	if err != nil {
		return err
	}
	defer files.Close()
	s, err := impair.Show(pcm.Until(ctx, files.A, a.progress("comparing bands")), files.B, o.passage)
	if err != nil {
		return rejected(err, "make the copy with \"heardiff impair\"")
	}
	if o.plot != "" {
		if err := a.writePicture(ctx, o.plot, bandsChart(s)); err != nil {
			return err
		}
	}
	result := struct {
		Schema string `json:"schema"`
		impair.Showing
	}{"heardiff.bands/1", s}
	return a.print(result, func(w io.Writer) {
		bandsText(w, s)
		wrotePicture(w, o.plot)
	})
}

func bandsText(w io.Writer, s impair.Showing) {
	fmt.Fprintf(w, "nearest to showing: %s dB at %s s, in the band at %s Hz (0 dB: it could begin to show)\n", figure(s.NearestDB, "%+.1f"), figure(s.AtS, "%.1f"), figure(s.AtHz, "%.0f"))
	warningsText(w, s.Warnings)
	t := newTable("band from (Hz)", "to", "music (dBFS)", "added (dBFS)", "nearest (dB)")
	t.right(0, 1, 2, 3, 4)
	for _, b := range s.Bands {
		t.row(fmt.Sprintf("%.0f", b.LowHz), fmt.Sprintf("%.0f", b.HighHz), figure(b.MusicDBFS, "%.1f"), figure(b.AddedDBFS, "%.1f"), figure(b.NearestDB, "%+.1f"))
	}
	t.print(w, "\n")
	p := newTable("passage from (s)", "length", "nearest (dB)", "at (s)", "band (Hz)")
	p.right(0, 1, 2, 3, 4)
	for _, one := range s.Passages {
		p.row(fmt.Sprintf("%.1f", one.StartS), fmt.Sprintf("%.1f", one.LengthS), figure(one.NearestDB, "%+.1f"), figure(one.AtS, "%.1f"), figure(one.AtHz, "%.0f"))
	}
	p.print(w, "\n")
}

func bandsChart(s impair.Showing) plot.Chart {
	music, added := plot.Curve{Name: "music"}, plot.Curve{Name: "added by the dose"}
	for _, b := range s.Bands {
		music.Hz, music.Y = append(music.Hz, b.CentreHz), append(music.Y, b.MusicDBFS)
		added.Hz, added.Y = append(added.Hz, b.CentreHz), append(added.Y, b.AddedDBFS)
	}
	return plot.Bands{Title: "Music and dose in auditory bands", Curves: []plot.Curve{music, added}}
}
