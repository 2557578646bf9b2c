package pcm

import (
	"fmt"
	"io"
)

// Format says how audio is stored.
type Format struct {
	Rate     Rate
	Channels int
	// Bits is the stored word length: 16, 24 or 32.
	Bits int
	// Float is true for 32-bit IEEE samples, false for integers.
	Float bool
}

// String returns the format in words, such as "44100 Hz, 2 channels, 24-bit".
func (f Format) String() string {
	kind := fmt.Sprintf("%d-bit", f.Bits)
	if f.Float {
		kind += " float"
	}
	noun := "channels"
	if f.Channels == 1 {
		noun = "channel"
	}
	return fmt.Sprintf("%d Hz, %d %s, %s", f.Rate, f.Channels, noun, kind)
}

// Reader gives access to recorded audio in blocks, so that a long file need not be held in memory.
// Clip and the readers of playback/wav and playback/flac implement it.
type Reader interface {
	Format() Format
	// Frames returns the number of frames.
	Frames() int
	// ReadFrames fills dst, one slice for each channel, all of one length, with the frames from from on, and returns
	// how many it wrote. It writes fewer than len(dst[0]) only at the end, with io.EOF.
	// Reads may repeat and go back. They are not safe for concurrent use.
	ReadFrames(dst [][]float64, from int) (int, error)
}

// Span returns how many frames ReadFrames of a Reader of so many channels and frames is to write into dst from frame from on, and the
// error that it returns with them: io.EOF at the end, or ErrMismatch, wrapped, and no frames for another number of channels.
func Span(dst [][]float64, channels, frames, from int) (int, error) {
	if len(dst) != channels {
		return 0, fmt.Errorf("%w: %d channels asked of audio of %d", ErrMismatch, len(dst), channels)
	}
	if from < 0 || from >= frames {
		return 0, io.EOF
	}
	if n := frames - from; n < len(dst[0]) {
		return n, io.EOF
	}
	return len(dst[0]), nil
}

// Format returns the format of a clip: 32-bit float, which also holds samples beyond full scale.
func (c Clip) Format() Format {
	return Format{Rate: c.Rate, Channels: len(c.Channels), Bits: 32, Float: true}
}

// Frames returns the number of frames; with Format and ReadFrames it makes a Clip a Reader.
func (c Clip) Frames() int { return c.Len() }

// ReadFrames copies frames of the clip, see Reader.
func (c Clip) ReadFrames(dst [][]float64, from int) (int, error) {
	n, end := Span(dst, len(c.Channels), c.Len(), from)
	if n == 0 {
		return 0, end
	}
	for k, ch := range c.Channels {
		copy(dst[k][:n], ch[from:])
	}
	return n, end
}

// Load reads frames from to to−1 of r into memory. to = −1 means the end.
// It returns io.ErrUnexpectedEOF, wrapped, where r ends before to.
func Load(r Reader, from, to int) (Clip, error) {
	if to < 0 {
		to = r.Frames()
	}
	if from < 0 || from > to {
		return Clip{}, fmt.Errorf("pcm: frames %d to %d asked for", from, to)
	}
	f := r.Format()
	c := NewClip(f.Rate, f.Channels, to-from)
	if to == from {
		return c, nil
	}
	n, err := r.ReadFrames(c.Channels, from)
	if n < to-from && (err == nil || err == io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	if err != nil && err != io.EOF {
		return Clip{}, fmt.Errorf("read frames %d to %d: %w", from, to, err)
	}
	return c, nil
}

// Verify reads all of r and returns the first error, so that audio can be rejected before it is used.
func Verify(r Reader) error {
	return Blocks(r, 1<<16, func([][]float64, int) error { return nil })
}

// Blocks calls visit with consecutive blocks of at most size frames of r, from its first frame to its last;
// from is the frame number of block[c][0]. The block is reused: visit must not keep it.
// It stops at the first error of r or of visit and returns it.
func Blocks(r Reader, size int, visit func(block [][]float64, from int) error) error {
	buf := Planes(r.Format().Channels, size)
	view := make([][]float64, len(buf))
	for from := 0; from < r.Frames(); {
		n, err := r.ReadFrames(buf, from)
		if err != nil && err != io.EOF {
			return fmt.Errorf("read at frame %d: %w", from, err)
		}
		if n == 0 {
			return fmt.Errorf("read at frame %d: %w", from, io.ErrUnexpectedEOF)
		}
		for c := range buf {
			view[c] = buf[c][:n]
		}
		if err := visit(view, from); err != nil {
			return err
		}
		from += n
	}
	return nil
}
