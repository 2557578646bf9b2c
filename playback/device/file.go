package device

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"

	"heardiff/playback"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// growingWAV is a WAV file that is complete after every block, so that it can be read while it grows.
type growingWAV struct {
	file   *os.File
	format pcm.Format
	frames int64
	raw    []byte
}

// openFile returns an output that writes what would have reached the device, in real time, as 32-bit float.
// It truncates an existing file at the path at once.
func openFile(path string, src playback.Source) (playback.Output, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	g := &growingWAV{file: f, format: pcm.Format{Rate: src.Rate(), Channels: src.Channels(), Bits: 32, Float: true}}
	if _, err := f.Write(wav.Header(g.format, 0)); err != nil {
		f.Close()
		return nil, err
	}
	o := playback.Opened{Name: "file:" + path, Rate: src.Rate(), Channels: src.Channels(), Format: floatWords, Silent: true,
		Notes: []string{"Nothing sounds: the audio goes to the file in real time."}}
	return startPaced(src, o, g.write, f.Close), nil
}

// write appends a block and only then updates the header, which therefore never announces audio that is missing.
func (g *growingWAV) write(block []float32) error {
	g.raw = g.raw[:0]
	for _, v := range block {
		g.raw = binary.LittleEndian.AppendUint32(g.raw, math.Float32bits(v))
	}
	if _, err := g.file.Write(g.raw); err != nil {
		return fmt.Errorf("write %s: %w", g.file.Name(), err)
	}
	g.frames += int64(len(block) / g.format.Channels)
	if _, err := g.file.WriteAt(wav.Header(g.format, g.frames), 0); err != nil {
		return fmt.Errorf("write %s: %w", g.file.Name(), err)
	}
	return nil
}
