// Package wav reads and writes WAV files: PCM of 16, 24 and 32 bits and 32-bit float, with a plain or an
// extensible header, and RF64 where four gigabytes do not suffice.
//
// Every size in a header is checked against the size of the file before it is used, so that a damaged file
// costs neither time nor memory.
package wav

import (
	"errors"
	"fmt"
	"io"

	"heardiff/playback/pcm"
)

// blockBytes is how much is read at once: large enough that the cost of a call is negligible.
const blockBytes = 1 << 17

// File is a WAV file open for reading. It is a pcm.Reader, reads any part at any time and keeps one small block in
// memory. It is not safe for concurrent use.
type File struct {
	layout
	src   io.ReaderAt
	close func() error
	block []byte
}

// Open opens a WAV file. It reads only the header: ReadFrames finds samples that are not numbers, and pcm.Verify looks
// for them in the entire file. Errors wrap the sentinels of this package, or those of the os package.
func Open(path string) (*File, error) {
	f, size, err := pcm.OpenFile(path)
	if errors.Is(err, pcm.ErrNotRegular) {
		return nil, fmt.Errorf("%w: %w", ErrNotWAV, err)
	}
	if err != nil {
		return nil, err
	}
	w, err := New(f, size)
	if err != nil {
		f.Close()
		return nil, err
	}
	w.close = f.Close
	return w, nil
}

// New returns a File over size bytes of src. Closing it does not close src.
func New(src io.ReaderAt, size int64) (*File, error) {
	l, err := parse(src, size)
	if err != nil {
		return nil, err
	}
	frame := l.frameBytes()
	return &File{layout: l, src: src, block: make([]byte, blockBytes/frame*frame)}, nil
}

// Format returns how the audio is stored.
func (f *File) Format() pcm.Format { return f.format }

// Frames returns the number of frames.
func (f *File) Frames() int { return f.frames }

// Close closes the file. It may be called twice.
func (f *File) Close() error {
	if f.close == nil {
		return nil
	}
	c := f.close
	f.close = nil
	return c()
}

// ReadFrames reads frames into dst, see pcm.Reader. It returns ErrSample, wrapped with channel and frame, at a
// float sample that is NaN or infinite, and pcm.ErrTruncated where the file has become shorter since Open.
func (f *File) ReadFrames(dst [][]float64, from int) (int, error) {
	want, end := pcm.Span(dst, f.format.Channels, f.frames, from)
	if want == 0 {
		return 0, end
	}
	frame := f.frameBytes()
	for done := 0; done < want; {
		n := min(want-done, len(f.block)/frame)
		raw := f.block[:n*frame]
		if err := readFull(f.src, raw, f.start+int64(from+done)*int64(frame), "it became shorter while it was read"); err != nil {
			return done, err
		}
		if c, i := f.decode(dst, done, raw); c >= 0 {
			return done, fmt.Errorf("%w: channel %d, frame %d", ErrSample, c+1, from+done+i)
		}
		done += n
	}
	return want, end
}

// readFull fills dst from an offset of src. Where src ends before, it returns pcm.ErrTruncated, wrapped, and says so as short does.
func readFull(src io.ReaderAt, dst []byte, at int64, short string) error {
	n, err := src.ReadAt(dst, at)
	if n == len(dst) {
		return nil
	}
	if err == nil || errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: %s", pcm.ErrTruncated, short)
	}
	return err
}

// decode converts frames into dst[·][at:]. It returns the channel and frame of the first sample that is not a finite
// number, or −1.
func (f *File) decode(dst [][]float64, at int, raw []byte) (channel, frame int) {
	step, n := f.frameBytes(), len(raw)/f.frameBytes()
	for c := range dst {
		out, in := dst[c][at:at+n], raw[c*f.format.Bits/8:]
		if f.format.Float {
			if i := decodeFloat(out, in, step); i >= 0 {
				return c, i
			}
			continue
		}
		switch f.format.Bits {
		case 16:
			decode16(out, in, step)
		case 24:
			decode24(out, in, step)
		default:
			decode32(out, in, step)
		}
	}
	return -1, 0
}
