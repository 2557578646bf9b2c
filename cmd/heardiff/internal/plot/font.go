package plot

import (
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// faces sets the Go fonts at any size; they travel in the binary, so a PNG looks the same everywhere.
type faces struct {
	regular, bold *opentype.Font
	ready         map[faceKey]font.Face
}

type faceKey struct {
	size float64
	bold bool
}

func newFaces() (*faces, error) {
	regular, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("regular font: %w", err)
	}
	bold, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return nil, fmt.Errorf("bold font: %w", err)
	}
	return &faces{regular: regular, bold: bold, ready: map[faceKey]font.Face{}}, nil
}

func (f *faces) at(size float64, bold bool) (font.Face, error) {
	key := faceKey{size, bold}
	if face, ok := f.ready[key]; ok {
		return face, nil
	}
	from := f.regular
	if bold {
		from = f.bold
	}
	face, err := opentype.NewFace(from, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("font of %g pixels: %w", size, err)
	}
	f.ready[key] = face
	return face, nil
}

// advances holds the width of every character at one pixel, regular and bold.
var advances = sync.OnceValue(func() [2]map[rune]float64 {
	f, err := newFaces()
	if err != nil {
		panic("plot: the built-in fonts: " + err.Error())
	}
	return [2]map[rune]float64{measure(f, false), measure(f, true)}
})

// firstUnmeasured is the first character whose width is not kept: blocks of signs that no chart writes begin there.
const firstUnmeasured = 0x2300

func measure(f *faces, bold bool) map[rune]float64 {
	const size = 64 // large, so that rounding to 1/64 pixel does not count
	face, err := f.at(size, bold)
	if err != nil {
		panic("plot: the built-in fonts: " + err.Error())
	}
	widths := map[rune]float64{}
	for r := rune(' '); r < firstUnmeasured; r++ {
		if a, ok := face.GlyphAdvance(r); ok {
			widths[r] = float64(a) / 64 / size
		}
	}
	return widths
}

// spare and spareBold widen the built-in font's measure to cover the sans-serif fonts a browser may use instead. The
// widest of the usual ones is DejaVu Sans: a line of it is up to 1.13 times as long, of its bold 1.20 times. The report's
// browser test checks every text against its picture, in whatever font the machine has.
const spare, spareBold = 1.13, 1.20

// textWidth returns the room in pixels to keep for s.
func textWidth(s string, size float64, bold bool) float64 {
	sum, one := 0.0, glyphWidth(size, bold)
	for _, r := range s {
		sum += one(r)
	}
	return sum
}

// glyphWidth returns a function that gives the room in pixels to keep for one character.
func glyphWidth(size float64, bold bool) func(rune) float64 {
	table, wider := advances()[0], spare
	if bold {
		table, wider = advances()[1], spareBold
	}
	return func(r rune) float64 {
		w, ok := table[r]
		if !ok {
			w = 1 // a wide character of another script
		}
		return w * size * wider
	}
}

// fit shortens s with an ellipsis until it takes no more than width. It looks no further than the width reaches, however
// long s is.
func fit(s string, size float64, bold bool, width float64) string {
	one := glyphWidth(size, bold)
	sum, short := 0.0, ""
	for i, r := range s {
		if i > 0 && sum+one('…') <= width {
			short = s[:i] + "…"
		}
		if sum += one(r); sum > width {
			return short
		}
	}
	return s
}
