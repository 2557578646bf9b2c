package plot_test

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"heardiff/cmd/heardiff/internal/plot"
)

var look = flag.String("look", "", "write every chart into this `folder`, to be looked at")

func TestEveryChartIsDrawnForTheEyeToo(t *testing.T) {
	dir := *look
	if dir == "" {
		dir = t.TempDir()
	}
	for name, chart := range charts() {
		for _, format := range []plot.Format{plot.FormatSVG, plot.FormatPNG} {
			f, err := os.Create(filepath.Join(dir, name+string(format)))
			if err != nil {
				t.Fatal(err)
			}
			if err := plot.Write(f, chart, format); err != nil {
				t.Error(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.WriteFile(filepath.Join(dir, name+"-narrow.svg"), []byte(plot.SVG(chart, 390)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
