package flac

import (
	"bufio"
	"context"
	"crypto/md5"
	"errors"
	"fmt"
	"io"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"

	"heardiff/playback/pcm"
)

// decode reads a stream to its end into f.raw and sets the format and the number of frames.
func (f *File) decode(ctx context.Context, r io.Reader) error {
	in := &counted{r: r, ctx: ctx}
	stream, err := begin(in)
	if err != nil {
		return err
	}
	info := stream.Info
	f.format = pcm.Format{Rate: pcm.Rate(info.SampleRate), Channels: int(info.NChannels), Bits: int(info.BitsPerSample)}
	if err := accept(f.format); err != nil {
		return err
	}
	sum, out := md5.New(), bufio.NewWriterSize(f.raw, blockBytes)
	both := io.MultiWriter(out, sum)
	var packed []byte
	for info.NSamples == 0 || uint64(f.frames) < info.NSamples {
		block, err := stream.ParseNext()
		if err == io.EOF && info.NSamples == 0 {
			break // the header leaves the length open
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return broken(err, f.frames, info.NSamples)
		}
		if err := f.checkBlock(block); err != nil {
			return err
		}
		if err := f.roomFor(block, in.read); err != nil {
			return err
		}
		packed = pack(packed[:0], block, f.format.Bits/8)
		if _, err := both.Write(packed); err != nil {
			return fmt.Errorf("%w: %w", ErrRoom, err)
		}
		f.frames += int(block.BlockSize)
	}
	switch {
	case f.frames == 0:
		return ErrEmpty
	case info.NSamples != 0 && uint64(f.frames) != info.NSamples:
		return fmt.Errorf("%w: %d frames where the header says %d", ErrDamaged, f.frames, info.NSamples)
	case info.MD5sum != [md5.Size]byte{} && [md5.Size]byte(sum.Sum(nil)) != info.MD5sum:
		return fmt.Errorf("%w: the MD5 sum of the audio is not the one in the header", ErrDamaged)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("%w: %w", ErrRoom, err)
	}
	return nil
}

// counted counts the bytes read, and ends with its context.
type counted struct {
	r    io.Reader
	ctx  context.Context
	read int64
}

// Read implements io.Reader.
func (c *counted) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := c.r.Read(p)
	c.read += int64(n)
	return n, err
}

// roomFor rejects a block that exceeds the Room of the read bytes of the file.
func (f *File) roomFor(block *frame.Frame, read int64) error {
	bytes := (int64(f.frames) + int64(block.BlockSize)) * int64(f.frameBytes())
	if most := Room(read); bytes > most {
		return fmt.Errorf("%w: more than %d MB of it from %d kB; save it as WAV where it is what it seems", ErrTooLarge, most>>20, read>>10)
	}
	return nil
}

// begin reads the header.
func begin(r io.Reader) (*flac.Stream, error) {
	in := bufio.NewReaderSize(r, blockBytes)
	// Only the signature itself counts: other formats may begin with the same kinds of tags.
	if head, err := in.Peek(4); err != nil || string(head) != "fLaC" {
		if err != nil && err != io.EOF {
			return nil, err
		}
		return nil, ErrNotFLAC
	}
	stream, err := flac.New(in)
	if err != nil {
		return nil, broken(err, 0, 0)
	}
	return stream, nil
}

func accept(f pcm.Format) error {
	switch {
	case f.Bits != 16 && f.Bits != 24:
		return fmt.Errorf("%w: %d-bit, wanted are 16 and 24", ErrUnsupported, f.Bits)
	case f.Channels < 1 || f.Channels > pcm.MaxChannels:
		return fmt.Errorf("%w: %d channels, wanted are 1 to %d", ErrUnsupported, f.Channels, pcm.MaxChannels)
	case !f.Rate.Valid():
		return fmt.Errorf("%w: a rate of %d Hz, wanted are %d to %d", ErrUnsupported, f.Rate, pcm.MinRate, pcm.MaxRate)
	}
	return nil
}

// broken turns an error of the decoder into one of this package.
func broken(err error, frames int, announced uint64) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("%w: %d of %d frames are there", ErrTruncated, frames, announced)
	}
	return fmt.Errorf("%w: after frame %d: %v", ErrDamaged, frames, err)
}

// checkBlock checks a block against the header of the file: they differ only in a damaged file.
func (f *File) checkBlock(block *frame.Frame) error {
	n := int(block.BlockSize)
	ok := len(block.Subframes) == f.format.Channels && int(block.BitsPerSample) == f.format.Bits
	for _, s := range block.Subframes {
		ok = ok && len(s.Samples) == n
	}
	if !ok {
		return fmt.Errorf("%w: the block at frame %d is of another format than the file", ErrDamaged, f.frames)
	}
	return nil
}

// pack appends the block as interleaved little-endian words, the form over which the MD5 sum is defined.
func pack(dst []byte, block *frame.Frame, word int) []byte {
	for i := range int(block.BlockSize) {
		for _, s := range block.Subframes {
			v := s.Samples[i]
			dst = append(dst, byte(v), byte(v>>8))
			if word == 3 {
				dst = append(dst, byte(v>>16))
			}
		}
	}
	return dst
}
