package flac

import (
	"bufio"
	"context"
	"crypto/md5"
	"errors"
	"fmt"
	"hash"
	"io"
	"slices"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"heardiff/playback/pcm"
)

// decode reads a stream to its end into f.raw and sets the format and the number of frames.
func (f *File) decode(ctx context.Context, r io.Reader) error {
	source := &counted{r: r, ctx: ctx}
	in := bufio.NewReaderSize(source, blockBytes)
	info, err := begin(in)
	if err != nil {
		return err
	}
	f.format = pcm.Format{Rate: pcm.Rate(info.SampleRate), Channels: int(info.NChannels), Bits: int(info.BitsPerSample)}
	if err := accept(f.format); err != nil {
		return err
	}
	out := bufio.NewWriterSize(f.raw, blockBytes)
	d := &decoding{File: f, source: source, announced: info.NSamples, largest: int(info.BlockSizeMax), sum: md5.New(), out: out}
	rest, err := d.together(ctx, in)
	if err == nil {
		err = d.inTurn(ctx, rest)
	}
	if err != nil {
		return err
	}
	switch {
	case f.frames == 0:
		return pcm.ErrEmpty
	case info.NSamples != 0 && uint64(f.frames) != info.NSamples:
		return fmt.Errorf("%w: %d frames where the header says %d", ErrDamaged, f.frames, info.NSamples)
	case info.MD5sum != [md5.Size]byte{} && [md5.Size]byte(d.sum.Sum(nil)) != info.MD5sum:
		return fmt.Errorf("%w: the MD5 sum of the audio is not the one in the header", ErrDamaged)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("%w: %w", ErrRoom, err)
	}
	return nil
}

// decoding is the decoding of a file under way: its frames up to File.frames are written.
type decoding struct {
	*File
	source    *counted
	announced uint64 // how many frames the header of the file says; 0 leaves it open
	largest   int    // how many frames it says that a block has at the most
	sum       hash.Hash
	out       io.Writer
}

func (d *decoding) complete() bool { return d.announced != 0 && uint64(d.frames) >= d.announced }

// inTurn decodes the rest of the stream, block after block.
func (d *decoding) inTurn(ctx context.Context, r io.Reader) error {
	in := bufio.NewReader(r)
	var packed []byte
	for !d.complete() {
		block, err := frame.Parse(in)
		if err == io.EOF && d.announced == 0 {
			break // the header leaves the length open
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return broken(err, d.frames, d.announced)
		}
		if !fits(block, d.format) {
			return fmt.Errorf("%w: the block at frame %d is of another format than the file", ErrDamaged, d.frames)
		}
		packed = pack(packed[:0], block, d.format.Bits/8)
		if err := d.add(packed, int(block.BlockSize), d.source.read); err != nil {
			return err
		}
	}
	return nil
}

// add writes the decoded frames of a block, which ends within the given number of bytes of the file.
func (d *decoding) add(packed []byte, frames int, read int64) error {
	bytes := (int64(d.frames) + int64(frames)) * int64(d.frameBytes())
	if most := Room(read); bytes > most {
		return fmt.Errorf("%w: more than %d MB of it from %d kB; save it as WAV where it is what it seems", ErrTooLarge, most>>20, read>>10)
	}
	d.sum.Write(packed) // never fails
	if _, err := d.out.Write(packed); err != nil {
		return fmt.Errorf("%w: %w", ErrRoom, err)
	}
	d.frames += frames
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

// begin reads the header; in is then at the first block.
func begin(in *bufio.Reader) (*meta.StreamInfo, error) {
	// Only the signature itself counts: other formats may begin with the same kinds of tags.
	if head, err := in.Peek(4); err != nil || string(head) != "fLaC" {
		if err != nil && err != io.EOF {
			return nil, err
		}
		return nil, ErrNotFLAC
	}
	stream, err := flac.New(in) // in has a larger buffer than it would make itself: it reads from in alone
	if err != nil {
		return nil, broken(err, 0, 0)
	}
	return stream.Info, nil
}

// wordLengths are the bits per sample that are read.
var wordLengths = []int{16, 24}

func accept(f pcm.Format) error {
	switch {
	case !slices.Contains(wordLengths, f.Bits):
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
		return fmt.Errorf("%w: %d of %d frames are there", pcm.ErrTruncated, frames, announced)
	}
	return fmt.Errorf("%w: after frame %d: %v", ErrDamaged, frames, err)
}

// fits reports whether a block is of the file's format, as it is in every intact file.
func fits(block *frame.Frame, f pcm.Format) bool {
	ok := len(block.Subframes) == f.Channels && int(block.BitsPerSample) == f.Bits
	for _, s := range block.Subframes {
		ok = ok && len(s.Samples) == int(block.BlockSize)
	}
	return ok
}

// bytes24 is the length of a word of 24 bits, in bytes.
const bytes24 = 3

// pack appends the block as interleaved little-endian words, the form over which the MD5 sum is defined.
func pack(dst []byte, block *frame.Frame, word int) []byte {
	for i := range int(block.BlockSize) {
		for _, s := range block.Subframes {
			v := s.Samples[i]
			dst = append(dst, byte(v), byte(v>>8))
			if word == bytes24 {
				dst = append(dst, byte(v>>16))
			}
		}
	}
	return dst
}
