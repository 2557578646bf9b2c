package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/measure/jitter"
)

// checkPicture refuses a picture's name before anything is measured for it.
func (a *app) checkPicture(path string) error {
	if path == "" {
		return nil
	}
	_, _, err := a.pictureDestination(path)
	return err
}

// pictureDestination returns where a picture is to be written, and in which format.
func (a *app) pictureDestination(path string) (destination, plot.Format, error) {
	format := plot.Format(strings.ToLower(filepath.Ext(path)))
	kind := svgFile
	switch format {
	case plot.FormatSVG:
	case plot.FormatPNG:
		kind = pngFile
	default:
		return destination{}, format, misusedf("--plot %q: a name that ends in .svg or .png wanted", path)
	}
	d, err := a.destination(path, kind)
	return d, format, err
}

func (a *app) writePicture(ctx context.Context, path string, chart plot.Chart) error {
	d, format, err := a.pictureDestination(path)
	if err != nil {
		return err
	}
	if err := d.write(ctx, func(w io.Writer) error { return plot.Write(w, chart, format) }); err != nil {
		return fmt.Errorf("write the picture: %w", err)
	}
	return nil
}

// jitterChart draws every channel that has a tone. Without a floor it shades what additive noise explains of the first.
func jitterChart(captures []namedJitter, floor *namedJitter) plot.JitterSpectrum {
	chart := plot.JitterSpectrum{Title: "Jitter of " + captures[0].name}
	for i, capture := range captures {
		if i > 0 {
			chart.Title += " and " + capture.name
		}
		for _, c := range capture.result.Channel {
			if len(c.Spectrum) > 0 {
				chart.Chains = append(chart.Chains, jitterCurve(capture.channelName(c), c))
			}
		}
	}
	if floor != nil {
		chart.Floor = floor.floorCurve(func(d jitter.DensityBand) float64 { return d.PMPs })
		return chart
	}
	chart.Floor = captures[0].floorCurve(func(d jitter.DensityBand) float64 { return d.AMPs })
	if chart.Floor != nil {
		chart.Floor.Name = "additive noise of " + chart.Floor.Name
	}
	return chart
}

// namedJitter is what was measured of one file, and the name it goes by in a picture.
type namedJitter struct {
	name   string
	result jitter.Result
}

func (n namedJitter) channelName(c jitter.Channel) string {
	if len(n.result.Channel) == 1 {
		return n.name
	}
	return fmt.Sprintf("%s, channel %d", n.name, c.Channel)
}

// floorCurve returns a density of the first channel that has a tone.
func (n namedJitter) floorCurve(density func(jitter.DensityBand) float64) *plot.Curve {
	for _, c := range n.result.Channel {
		if len(c.Spectrum) == 0 {
			continue
		}
		curve := plot.Curve{Name: n.channelName(c)}
		for _, d := range c.Spectrum {
			curve.Hz, curve.Y = append(curve.Hz, d.OffsetHz), append(curve.Y, density(d))
		}
		return &curve
	}
	return nil
}

// transferChart draws the first channel: what is left of its jitter, in dB.
func transferChart(reference, output string, t jitter.Transfer) plot.Transfer {
	c := t.Channel[0]
	chart := plot.Transfer{Title: fmt.Sprintf("Jitter of %s that %s still shows, channel %d", reference, output, c.Channel)}
	for _, l := range c.Lines {
		chart.Points = append(chart.Points, plot.TransferPoint{Hz: l.OffsetHz, DB: -l.AttenuationDB, Line: true, AtFloor: l.AtLeast})
	}
	for _, b := range c.Density {
		if !math.IsNaN(b.AttenuationDB) {
			chart.Points = append(chart.Points, plot.TransferPoint{Hz: b.OffsetHz, DB: -b.AttenuationDB, AtFloor: b.AtLeast})
		}
	}
	return chart
}

func wrotePicture(w io.Writer, path string) {
	if path != "" {
		fmt.Fprintf(w, "\nwrote %s\n", printable.Text(path))
	}
}
