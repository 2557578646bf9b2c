package plot

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PNG draws the chart in one theme, width pixels wide times scale.
func PNG(w io.Writer, chart Chart, width float64, theme Theme, scale float64) error {
	height := chart.Height(width)
	img := image.NewRGBA(image.Rect(0, 0, int(math.Ceil(width*scale)), int(math.Ceil(height*scale))))
	draw.Draw(img, img.Bounds(), image.NewUniform(theme[Paper]), image.Point{}, draw.Src)
	faces, err := newFaces()
	if err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	c := &pngCanvas{img: img, theme: theme, scale: scale, faces: faces}
	chart.Draw(c, width, height)
	if c.err != nil {
		return fmt.Errorf("plot: %w", c.err)
	}
	return png.Encode(w, img)
}

type pngCanvas struct {
	img   *image.RGBA
	theme Theme
	scale float64
	faces *faces
	err   error
}

// Line implements Canvas.
func (c *pngCanvas) Line(points []Point, pen Pen) {
	r := &outline{}
	for _, piece := range dashes(points, pen.Dash) {
		for i := 1; i < len(piece); i++ {
			c.segment(r, piece[i-1], piece[i], pen.Width/2)
			if i > 1 && pen.Width > 1 {
				c.polygon(r, circle(piece[i-1], pen.Width/2, 12)) // round joins
			}
		}
	}
	c.fill(r, c.theme[pen.Ink])
}

// segment adds the rectangle of a line from p to q, half wide on either side, always wound the same way so that
// overlapping pieces add up instead of cancelling.
func (c *pngCanvas) segment(r *outline, p, q Point, half float64) {
	dx, dy := q.X-p.X, q.Y-p.Y
	length := math.Hypot(dx, dy)
	if length == 0 {
		return
	}
	nx, ny := -dy/length*half, dx/length*half
	c.polygon(r, []Point{{p.X + nx, p.Y + ny}, {p.X - nx, p.Y - ny}, {q.X - nx, q.Y - ny}, {q.X + nx, q.Y + ny}})
}

// Area implements Canvas.
func (c *pngCanvas) Area(points []Point, ink Ink, opacity float64) {
	r := &outline{}
	c.polygon(r, points)
	col := c.theme[ink]
	a := opacity
	c.fill(r, color.RGBA{uint8(float64(col.R) * a), uint8(float64(col.G) * a), uint8(float64(col.B) * a), uint8(255 * a)})
}

// Disc implements Canvas.
func (c *pngCanvas) Disc(at Point, radius float64, ink Ink) {
	r := &outline{}
	c.polygon(r, circle(at, radius, 32))
	c.fill(r, c.theme[ink])
}

// Text implements Canvas.
func (c *pngCanvas) Text(at Point, s string, t Type) {
	face, err := c.faces.at(t.Size*c.scale, t.Bold)
	if err != nil {
		c.err = err
		return
	}
	back := map[Anchor]float64{Start: 0, Middle: 0.5, End: 1}[t.Anchor] * float64(font.MeasureString(face, s)) / 64
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(c.theme[t.Ink]), Face: face,
		Dot: fixed.Point26_6{X: fixed.Int26_6(64 * (at.X*c.scale - back)), Y: fixed.Int26_6(64 * at.Y * c.scale)}}
	d.DrawString(s)
}

// outline collects polygons in pixels of the picture and the box around them.
type outline struct {
	polygons [][]Point
	box      image.Rectangle
}

// leastCorners is the least number of corners of an area.
const leastCorners = 3

func (c *pngCanvas) polygon(o *outline, points []Point) {
	if len(points) < leastCorners {
		return
	}
	scaled := make([]Point, len(points))
	for i, p := range points {
		scaled[i] = Point{p.X * c.scale, p.Y * c.scale}
		x, y := int(math.Floor(scaled[i].X)), int(math.Floor(scaled[i].Y))
		o.box = o.box.Union(image.Rect(x, y, x+2, y+2))
	}
	o.polygons = append(o.polygons, scaled)
}

// fill rasterizes no more than the box: a chart draws hundreds of small marks.
func (c *pngCanvas) fill(o *outline, col color.Color) {
	if len(o.polygons) == 0 {
		return
	}
	r := vector.NewRasterizer(o.box.Dx(), o.box.Dy())
	left, top := float64(o.box.Min.X), float64(o.box.Min.Y)
	for _, points := range o.polygons {
		r.MoveTo(float32(points[0].X-left), float32(points[0].Y-top))
		for _, p := range points[1:] {
			r.LineTo(float32(p.X-left), float32(p.Y-top))
		}
		r.ClosePath()
	}
	r.Draw(c.img, o.box, image.NewUniform(col), image.Point{})
}

// circle returns n points around at, wound as segment winds.
func circle(at Point, radius float64, n int) []Point {
	points := make([]Point, n)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		points[i] = Point{at.X + radius*cos, at.Y + radius*sin}
	}
	return points
}

// dashes cuts a path into its drawn pieces; without a pattern the path itself.
func dashes(points []Point, pattern []float64) [][]Point {
	if len(pattern) == 0 || len(points) < 2 {
		return [][]Point{points}
	}
	var pieces [][]Point
	piece := []Point{points[0]}
	k, left, drawn := 0, pattern[0], true
	for i := 1; i < len(points); i++ {
		p, q := points[i-1], points[i]
		for length := math.Hypot(q.X-p.X, q.Y-p.Y); length > left; length = math.Hypot(q.X-p.X, q.Y-p.Y) {
			p = Point{p.X + (q.X-p.X)*left/length, p.Y + (q.Y-p.Y)*left/length}
			if drawn {
				pieces = append(pieces, append(piece, p))
			}
			piece = []Point{p}
			k = (k + 1) % len(pattern)
			left, drawn = pattern[k], !drawn
		}
		left -= math.Hypot(q.X-p.X, q.Y-p.Y)
		piece = append(piece, q)
	}
	if drawn {
		pieces = append(pieces, piece)
	}
	return pieces
}
