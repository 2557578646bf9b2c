package plot_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
)

// texts is a canvas that records the places of texts.
type texts struct {
	boxes []box
}

type box struct{ left, top, right, bottom float64 }

func (*texts) Line([]plot.Point, plot.Pen)          {}
func (*texts) Area([]plot.Point, plot.Ink, float64) {}
func (*texts) Disc(plot.Point, float64, plot.Ink)   {}
func (r *texts) Text(at plot.Point, s string, t plot.Type) {
	w := plot.TextWidth(s, t.Size, t.Bold)
	left := at.X - w*map[plot.Anchor]float64{plot.Start: 0, plot.Middle: 0.5, plot.End: 1}[t.Anchor]
	r.boxes = append(r.boxes, box{left, at.Y - 0.75*t.Size, left + w, at.Y + 0.2*t.Size})
}

func TestLabelsNeverCollideNorLeaveThePictureAtAnyWidth(t *testing.T) {
	for name, chart := range charts() {
		for _, width := range []float64{320, 390, 559, 560, 760, 860, 1400} {
			r := &texts{}
			height := chart.Height(width)
			chart.Draw(r, width, height)
			for i, a := range r.boxes {
				if a.left < 0 || a.top < 0 || a.right > width || a.bottom > height {
					t.Errorf("%s at %g: a text is outside the chart: %+v of height %g", name, width, a, height)
				}
				for _, b := range r.boxes[:i] {
					if a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom {
						t.Errorf("%s at %g: texts collide: %+v and %+v", name, width, a, b)
					}
				}
			}
		}
	}
}

// The figures are in no table: a bar near the edge must keep its label.
func TestEveryBarOfANullBearsItsFigure(t *testing.T) {
	for deepest := -141.0; deepest <= -21; deepest++ {
		n := plot.Null{Bands: []plot.NullBand{{LowHz: 100, HighHz: 200, DB: -12}, {LowHz: 200, HighHz: 400, DB: deepest}}}
		svg := plot.SVG(n, 760)
		if want := fmt.Sprintf(">−%.0f</text>", -deepest); !strings.Contains(svg, want) || !strings.Contains(svg, ">−12</text>") {
			t.Errorf("a bar to %g dB without its figure", deepest)
		}
	}
}

func TestSVGIsWellFormedAndSaysWhatItShows(t *testing.T) {
	for name, chart := range charts() {
		svg := plot.SVG(chart, 760)
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			_, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		for _, want := range []string{`role="img"`, "<title ", "<desc ", "prefers-color-scheme:dark"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%s: no %s", name, want)
			}
		}
		for _, bad := range []string{"NaN", "Inf", "http://", "<script"} {
			if strings.Contains(strings.ReplaceAll(svg, "http://www.w3.org/2000/svg", ""), bad) {
				t.Errorf("%s: holds %s", name, bad)
			}
		}
	}
}

func TestPNGHasThePixelsAndMoreThanPaper(t *testing.T) {
	var b bytes.Buffer
	if err := plot.Write(&b, charts()["jitter"], plot.FormatPNG); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Dx(); got != 1720 {
		t.Errorf("width %d, want 1720", got)
	}
	colours := map[string]bool{}
	for x := range img.Bounds().Dx() {
		for y := range img.Bounds().Dy() {
			r, g, bl, _ := img.At(x, y).RGBA()
			colours[fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, bl>>8)] = true
		}
	}
	for _, ink := range []plot.Ink{plot.Series1, plot.Series2, plot.Text} {
		if !colours[plot.Light.Hex(ink)] {
			t.Errorf("ink %d is nowhere", ink)
		}
	}
}

func TestAnUnknownFormatIsRefused(t *testing.T) {
	if err := plot.Write(io.Discard, charts()["null"], ".gif"); err == nil {
		t.Error("wrote a .gif")
	}
}

// The contrast formula is from WCAG 2.1 (relative luminance, from memory).
func TestInksKeepTheContrastReadersNeed(t *testing.T) {
	for name, theme := range map[string]plot.Theme{"light": plot.Light, "dark": plot.Dark} {
		need := map[plot.Ink]float64{plot.Text: 7, plot.Muted: 4.5, plot.Axis: 2.5, plot.Accent: 4.5}
		for i := plot.Series1; i <= plot.Series6; i++ {
			need[i] = 3
		}
		for ink, want := range need {
			if got := contrast(theme, ink, plot.Paper); got < want {
				t.Errorf("%s ink %d: contrast %.2f, want %g", name, ink, got, want)
			}
		}
	}
}

func contrast(theme plot.Theme, a, b plot.Ink) float64 {
	la, lb := luminance(theme, a), luminance(theme, b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func luminance(theme plot.Theme, i plot.Ink) float64 {
	l := linear(theme, i)
	return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
}

func linear(theme plot.Theme, i plot.Ink) [3]float64 {
	c := theme[i]
	var out [3]float64
	for k, v := range []uint8{c.R, c.G, c.B} {
		s := float64(v) / 255
		if s <= 0.04045 {
			out[k] = s / 12.92
		} else {
			out[k] = math.Pow((s+0.055)/1.055, 2.4)
		}
	}
	return out
}

// The first four series must differ to readers without one kind of cone. The matrices are those of Machado, Oliveira
// and Fernandes (2009) for full severity, from memory; the distance is Euclidean in linear light after a cube root.
func TestTheFirstSeriesDifferWithoutOneKindOfCone(t *testing.T) {
	kinds := map[string][9]float64{
		"all cones":     {1, 0, 0, 0, 1, 0, 0, 0, 1},
		"no long cones": {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
		"no mid cones":  {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
	}
	for kind, m := range kinds {
		for name, theme := range map[string]plot.Theme{"light": plot.Light, "dark": plot.Dark} {
			for i := plot.Series1; i <= plot.Series3; i++ {
				for k := i + 1; k <= plot.Series3+1; k++ {
					if d := distance(seen(m, linear(theme, i)), seen(m, linear(theme, k))); d < 0.08 {
						t.Errorf("%s, %s: series inks %d and %d are %.3f apart", kind, name, i, k, d)
					}
				}
			}
		}
	}
}

func seen(m [9]float64, c [3]float64) [3]float64 {
	var out [3]float64
	for r := range 3 {
		out[r] = math.Cbrt(math.Max(0, m[3*r]*c[0]+m[3*r+1]*c[1]+m[3*r+2]*c[2]))
	}
	return out
}

func distance(a, b [3]float64) float64 {
	sum := 0.0
	for i := range a {
		sum += (a[i] - b[i]) * (a[i] - b[i])
	}
	return math.Sqrt(sum)
}

// The curves show all phase noise; the part of it that is jitter is given in figures.
func TestTheJitterChartSaysWhatItsCurvesAre(t *testing.T) {
	drawn := plot.SVG(jitterChart(), 800)
	if !strings.Contains(drawn, "phase noise, additive noise included") || strings.Contains(drawn, "curves (random)") {
		t.Error("the curves are named otherwise")
	}
}

func BenchmarkJitterSpectrumSVG(b *testing.B) {
	chart := charts()["jitter"]
	for b.Loop() {
		plot.SVG(chart, 760)
	}
}

// bent draws one thick line of many short pieces.
type bent struct{}

func (bent) Words() plot.Words      { return plot.Words{} }
func (bent) Height(float64) float64 { return 40 }
func (bent) Draw(c plot.Canvas, width, _ float64) {
	var points []plot.Point
	for x := 5.0; x < width-5; x += 2 {
		points = append(points, plot.Point{X: x, Y: 20 + math.Sin(x)})
	}
	c.Line(points, plot.Pen{Ink: plot.Series1, Width: 10})
}

func TestTheJointsOfALineAreFilledToo(t *testing.T) {
	var b bytes.Buffer
	if err := plot.PNG(&b, bent{}, 100, plot.Light, 1); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	for x := 10; x < 90; x++ {
		for y := 18; y <= 21; y++ {
			r, g, bl, _ := img.At(x, y).RGBA()
			if got := fmt.Sprintf("#%02x%02x%02x", r>>8, g>>8, bl>>8); got != plot.Light.Hex(plot.Series1) {
				t.Fatalf("a hole at %d, %d: %s", x, y, got)
			}
		}
	}
}
