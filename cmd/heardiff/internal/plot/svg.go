package plot

import (
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// SVG returns the chart as a document of its own, width pixels wide, which scales to its container.
func SVG(chart Chart, width float64) string {
	return `<?xml version="1.0" encoding="UTF-8"?>` + "\n" + document(chart, width, "chart", Style())
}

// Inline returns the chart as an element for an HTML page that has Style in a style sheet. id must be unique on
// the page: the title and description are tied to it.
func Inline(chart Chart, width float64, id string) string { return document(chart, width, id, "") }

func document(chart Chart, width float64, id, style string) string {
	height := chart.Height(width)
	words := chart.Words()
	c := &svgCanvas{}
	chart.Draw(c, width, height)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s" role="img" aria-labelledby="%[3]s-t %[3]s-d" font-family="system-ui,'Segoe UI',Roboto,'Noto Sans','DejaVu Sans',sans-serif">`,
		number(width), number(height), id)
	fmt.Fprintf(&b, `<title id="%s-t">%s</title><desc id="%[1]s-d">%[3]s</desc>`, id, escape(words.Title), escape(words.Description))
	if style != "" {
		b.WriteString("<style>" + style + "</style>")
	}
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="%s" class="hd-f-paper"/>`, number(width), number(height), Light.Hex(Paper))
	b.WriteString(c.b.String())
	b.WriteString("</svg>\n")
	return b.String()
}

type svgCanvas struct{ b strings.Builder }

// Line implements Canvas.
func (c *svgCanvas) Line(points []Point, pen Pen) {
	if len(points) < 2 {
		return
	}
	fmt.Fprintf(&c.b, `<path d="%s" fill="none" stroke="%s" class="hd-l-%s" stroke-width="%s" stroke-linejoin="round"`,
		pathData(points), Light.Hex(pen.Ink), inkNames[pen.Ink], number(pen.Width))
	if len(pen.Dash) > 0 {
		parts := make([]string, len(pen.Dash))
		for i, d := range pen.Dash {
			parts[i] = number(d)
		}
		fmt.Fprintf(&c.b, ` stroke-dasharray="%s"`, strings.Join(parts, " "))
	}
	c.b.WriteString("/>")
}

// Area implements Canvas.
func (c *svgCanvas) Area(points []Point, ink Ink, opacity float64) {
	if len(points) < leastCorners {
		return
	}
	fmt.Fprintf(&c.b, `<path d="%sZ" fill="%s" class="hd-f-%s"`, pathData(points), Light.Hex(ink), inkNames[ink])
	if opacity < 1 {
		fmt.Fprintf(&c.b, ` fill-opacity="%s"`, number(opacity))
	}
	c.b.WriteString("/>")
}

// Disc implements Canvas.
func (c *svgCanvas) Disc(at Point, radius float64, ink Ink) {
	fmt.Fprintf(&c.b, `<circle cx="%s" cy="%s" r="%s" fill="%s" class="hd-f-%s"/>`,
		number(at.X), number(at.Y), number(radius), Light.Hex(ink), inkNames[ink])
}

// Text implements Canvas.
func (c *svgCanvas) Text(at Point, s string, t Type) {
	fmt.Fprintf(&c.b, `<text x="%s" y="%s" font-size="%s" fill="%s" class="hd-f-%s"`,
		number(at.X), number(at.Y), number(t.Size), Light.Hex(t.Ink), inkNames[t.Ink])
	if t.Anchor != Start {
		fmt.Fprintf(&c.b, ` text-anchor="%s"`, map[Anchor]string{Middle: "middle", End: "end"}[t.Anchor])
	}
	if t.Bold {
		c.b.WriteString(` font-weight="600"`)
	}
	c.b.WriteString(">" + escape(s) + "</text>")
}

// pathData writes an absolute move and lines, to a tenth of a pixel.
func pathData(points []Point) string {
	var b strings.Builder
	for i, p := range points {
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(number(p.X))
		b.WriteByte(' ')
		b.WriteString(number(p.Y))
	}
	return b.String()
}

// number writes v with at most two decimals: a hundredth of a pixel is below what any screen shows.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder does not fail
	return b.String()
}
