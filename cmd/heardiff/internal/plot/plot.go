// Package plot draws heardiff's charts, for --plot and for the report: one drawing, as SVG text or as a PNG.
//
// A chart is a plain struct of numbers that lays itself out on a Canvas of any width, so a phone gets fewer
// ticks and stacked legends rather than a shrunken desktop picture. It is drawn by hand, not by a charting
// library: the decade grid, the mark shapes that tell random from deterministic without colour, the light and
// dark inks and the labels that never cover each other are the point of these charts, and they are a few hundred lines.
//
// Colours are roles (Ink), not values. SVG carries the light value in the element and the dark and print
// values in a style sheet, so it reads in every viewer and follows the reader's light or dark in a browser.
//
// Every chart has Height and Draw of its own, alike in those of one sheet: others have several sheets, or heights that depend on rows.
package plot

import (
	"fmt"
	"io"
)

// Point is a place on a canvas in pixels, from the top left.
type Point struct{ X, Y float64 }

// Ink is the role a colour plays.
type Ink uint8

// The roles. Series1 to Series6 differ in lightness as well as in hue.
const (
	Paper Ink = iota
	Text
	Muted
	Grid
	Axis
	FloorInk
	Accent
	Series1
	Series2
	Series3
	Series4
	Series5
	Series6
	inks
)

// seriesInk is the ink of the i-th series; dashes and mark shapes distinguish them beyond six.
func seriesInk(i int) Ink { return Series1 + Ink(i%6) }

// Pen is how a line is drawn. Width and dash lengths are pixels.
type Pen struct {
	Ink   Ink
	Width float64
	Dash  []float64
}

// Anchor is the part of a text that is placed at its point.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Type is how a text is set; Size is in pixels.
type Type struct {
	Size   float64
	Bold   bool
	Ink    Ink
	Anchor Anchor
}

// Canvas takes the marks of a chart. Coordinates are pixels from the top left.
type Canvas interface {
	// Line strokes an open path.
	Line(points []Point, pen Pen)
	// Area fills a closed path; opacity is 0 to 1.
	Area(points []Point, ink Ink, opacity float64)
	// Disc fills a circle.
	Disc(at Point, radius float64, ink Ink)
	// Text sets one line of text with its baseline at the point.
	Text(at Point, s string, t Type)
}

// Words describe the chart to a reader who cannot see it.
type Words struct {
	Title       string
	Description string
}

// Chart is one picture.
type Chart interface {
	// Words returns the title and a description with the numbers that matter.
	Words() Words
	// Height returns the height in pixels that the chart wants at a width.
	Height(width float64) float64
	// Draw lays the chart out on a canvas of that size.
	Draw(c Canvas, width, height float64)
}

// Format names a file format for pictures.
type Format string

// The formats.
const (
	FormatSVG Format = ".svg"
	FormatPNG Format = ".png"
)

// Write draws chart for a file of its own: SVG that follows light and dark, or a PNG at twice the pixels.
// The format comes from a file name's ending; any other is an error.
func Write(w io.Writer, chart Chart, format Format) error {
	const width = 860
	switch format {
	case FormatSVG:
		_, err := io.WriteString(w, SVG(chart, width))
		return err
	case FormatPNG:
		return PNG(w, chart, width, Light, 2)
	}
	return fmt.Errorf("plot: a picture can be .svg or .png, not %q", string(format))
}
