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

// tape is a WAV file that is whole after every block, so that it can be read while it grows.
type tape struct {
	file   *os.File
	format pcm.Format
	frames int64
	raw    []byte
}

// openFile returns an output that writes what would have reached the device, in real time, as 32-bit float.
// What stood at the path is replaced at once.
func openFile(path string, src playback.Source) (playback.Output, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	t := &tape{file: f, format: pcm.Format{Rate: src.Rate(), Channels: src.Channels(), Bits: 32, Float: true}}
	if _, err := f.Write(wav.Header(t.format, 0)); err != nil {
		f.Close()
		return nil, err
	}
	o := playback.Opened{Name: "file:" + path, Rate: src.Rate(), Channels: src.Channels(), Format: "FLOAT_LE", Silent: true,
		Notes: []string{"Nothing sounds: the audio goes to the file in real time."}}
	return startPaced(src, o, t.write, f.Close), nil
}

// write appends a block, then says so in the header: in that order, so that the header never promises what is
// not there.
func (t *tape) write(block []float32) error {
	t.raw = t.raw[:0]
	for _, v := range block {
		t.raw = binary.LittleEndian.AppendUint32(t.raw, math.Float32bits(v))
	}
	if _, err := t.file.Write(t.raw); err != nil {
		return fmt.Errorf("write %s: %w", t.file.Name(), err)
	}
	t.frames += int64(len(block) / t.format.Channels)
	if _, err := t.file.WriteAt(wav.Header(t.format, t.frames), 0); err != nil {
		return fmt.Errorf("write %s: %w", t.file.Name(), err)
	}
	return nil
}
