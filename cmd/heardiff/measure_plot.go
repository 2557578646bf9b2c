package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"heardiff/cmd/heardiff/internal/plot"
	"heardiff/cmd/heardiff/internal/printable"
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

func wrotePicture(w io.Writer, path string) {
	if path != "" {
		fmt.Fprintf(w, "\nwrote %s\n", printable.Text(path))
	}
}
