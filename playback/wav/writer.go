package wav

import (
	"bufio"
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"

	"heardiff/playback/pcm"
)

// Writer writes a WAV file. Until Close, a Writer from Create keeps the audio in a temporary file in the target's folder,
// so that the target is either complete or untouched.
type Writer struct {
	format  pcm.Format
	words   *pcm.Quantizer // nil for float
	path    string
	file    *os.File // the temporary file; nil once it is in place, and where the caller owns the file
	dst     Destination
	out     *bufio.Writer
	raw     []byte
	frames  int64
	clipped int
	closed  bool
	note    []byte // a chunk that follows the audio, see Note
	failed  error
}

// Destination is what a WAV file is written to: an *os.File, or what behaves like one.
type Destination interface {
	io.Writer
	io.WriterAt
}

// Create begins a WAV file of 16 or 24-bit words, or of 32-bit float, that Close will rename to path.
//
// q turns samples into words; nil means triangular dither at 16 bits and plain rounding at 24. It is an error if its word
// length differs from the format's, or if the format is float.
// Errors wrap ErrUnsupported for formats that are not written, or are those of the os package.
func Create(path string, f pcm.Format, q *pcm.Quantizer) (*Writer, error) {
	if err := writable(f, q); err != nil {
		return nil, err
	}
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a regular file", path)
	}
	file, err := createTemporary(path)
	if err != nil {
		return nil, err
	}
	w, err := NewWriter(file, f, q)
	if err != nil {
		file.Close()
		return nil, errors.Join(err, os.Remove(file.Name()))
	}
	w.path, w.file = path, file
	return w, nil
}

// NewWriter is Create for a destination, which must be empty. Close completes the WAV file; syncing, closing or removing
// dst is up to the caller.
func NewWriter(dst Destination, f pcm.Format, q *pcm.Quantizer) (*Writer, error) {
	if err := writable(f, q); err != nil {
		return nil, err
	}
	if q == nil && !f.Float {
		q = pcm.NewPlainQuantizer(f.Bits)
		if f.Bits == slices.Min(writtenBits) {
			q = pcm.NewQuantizer(f.Bits, 1) // the seed is no secret; fixed, so that a file can be reproduced
		}
	}
	w := &Writer{format: f, words: q, dst: dst, out: bufio.NewWriterSize(dst, blockBytes)}
	if _, err := w.out.Write(Header(f, 0)); err != nil {
		return nil, err
	}
	return w, nil
}

func writable(f pcm.Format, q *pcm.Quantizer) error {
	switch {
	case f.Float && f.Bits != floatBits, !f.Float && !slices.Contains(writtenBits, f.Bits):
		return fmt.Errorf("%w: writing %s; 16 and 24-bit words and 32-bit float are", ErrUnsupported, f)
	case q != nil && f.Float:
		return fmt.Errorf("%w: float samples are not quantized", ErrUnsupported)
	case q != nil && q.Value(1) != math.Ldexp(1, 1-f.Bits):
		return fmt.Errorf("%w: a quantizer of another word length than %d bits", ErrUnsupported, f.Bits)
	}
	return CheckShape(f.Rate, f.Channels)
}

// createTemporary creates a new file in path's folder, with the permissions that path would get.
func createTemporary(path string) (*os.File, error) {
	var salt [6]byte
	rand.Read(salt[:]) // crypto/rand does not fail
	name := "." + filepath.Base(path) + "." + hex.EncodeToString(salt[:]) + ".part"
	file, err := os.OpenFile(filepath.Join(filepath.Dir(path), name), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	var failed *os.PathError
	if errors.As(err, &failed) {
		failed.Path = path // the user knows this path, not the temporary one
	}
	return file, err
}

// Write appends a block, one slice for each channel, all of one length, full scale ±1.0. Samples beyond full scale are
// clipped and counted. It returns ErrSample for a sample that is not a finite number and then discards the block.
func (w *Writer) Write(block [][]float64) error {
	if w.failed != nil {
		return w.failed
	}
	if err := w.encode(block); err != nil {
		return err // an error of the caller: earlier blocks are unaffected
	}
	if _, err := w.out.Write(w.raw); err != nil {
		w.failed = err
		return err
	}
	w.frames += int64(len(block[0]))
	return nil
}

// encode converts block into w.raw.
func (w *Writer) encode(block [][]float64) error {
	if len(block) != w.format.Channels {
		return fmt.Errorf("%w: a block of %d channels for a file of %d", pcm.ErrMismatch, len(block), w.format.Channels)
	}
	n, word := len(block[0]), w.format.Bits/8
	step := word * len(block)
	if need := n * step; cap(w.raw) < need {
		w.raw = make([]byte, need)
	}
	w.raw = w.raw[:n*step]
	for c, in := range block {
		if len(in) != n {
			return fmt.Errorf("%w: channels of %d and %d frames in one block", pcm.ErrMismatch, n, len(in))
		}
		for i, v := range in {
			// As float32, so that the written value is finite too.
			if f := float32(v); f-f != 0 {
				return fmt.Errorf("%w: channel %d, frame %d", ErrSample, c+1, w.frames+int64(i))
			}
		}
	}
	if w.words == nil {
		encodeFloat(w.raw, block, step)
		return nil
	}
	w.clipped += encodeWords(w.raw, block, w.words, word)
	return nil
}

func encodeFloat(raw []byte, block [][]float64, step int) {
	for c, in := range block {
		for i, v := range in {
			binary.LittleEndian.PutUint32(raw[i*step+4*c:], math.Float32bits(float32(v)))
		}
	}
}

// bytes24 is the length of a word of 24 bits, in bytes.
const bytes24 = 3

// encodeWords returns the number of clipped samples.
func encodeWords(raw []byte, block [][]float64, q *pcm.Quantizer, word int) (clipped int) {
	step := word * len(block)
	for c, in := range block {
		for i, v := range in {
			x, over := q.Word(v)
			if over {
				clipped++
			}
			out := raw[i*step+word*c:]
			out[0], out[1] = byte(x), byte(x>>8)
			if word == bytes24 {
				out[2] = byte(x >> 16)
			}
		}
	}
	return clipped
}

// Note makes Close write text after the audio as a comment (a LIST chunk of type INFO). It changes no sample, but files of
// equal samples and different notes have different hashes. The last note counts.
func (w *Writer) Note(text string) {
	comment := append([]byte(text), 0)
	size := uint64(len(comment))
	comment = append(comment, make([]byte, len(comment)%2)...)
	w.note = append([]byte("LIST"), le32(uint64(12+len(comment)))...)
	w.note = append(append(w.note, "INFOICMT"...), le32(size)...)
	w.note = append(w.note, comment...)
}

// Save writes a clip as 32-bit float, with a note unless that is "", in one step.
func Save(path string, c pcm.Clip, note string) error {
	w, err := Create(path, c.Format(), nil)
	if err != nil {
		return err
	}
	defer w.Abort()
	if note != "" {
		w.Note(note)
	}
	if err := w.Write(c.Channels); err != nil {
		return err
	}
	return w.Close()
}

// Clipped returns how many samples have been clipped so far.
func (w *Writer) Clipped() int { return w.clipped }

// Close completes the file and, for a Writer from Create, renames it to its path. On an error the temporary file is removed
// and the path is unchanged.
func (w *Writer) Close() error {
	if w.closed {
		return w.failed
	}
	if w.failed == nil {
		w.failed = w.finish()
	}
	if w.failed == nil && w.file != nil {
		w.failed = w.place()
	}
	if w.failed != nil {
		w.Abort()
	}
	w.closed = true
	return w.failed
}

// place syncs the temporary file and renames it to its path.
func (w *Writer) place() error {
	if err := w.file.Sync(); err != nil {
		return err
	}
	if err := w.file.Close(); err != nil {
		return err
	}
	if err := os.Rename(w.file.Name(), w.path); err != nil {
		return err
	}
	w.file = nil
	return nil
}

func (w *Writer) finish() error {
	bytes := w.frames * int64(w.format.Channels*w.format.Bits/8)
	if bytes%2 == 1 {
		w.out.WriteByte(0) // chunks begin at even offsets; Flush returns the error
	}
	w.out.Write(w.note)
	if err := w.out.Flush(); err != nil {
		return err
	}
	_, err := w.dst.WriteAt(header(w.format, w.frames, len(w.note)), 0)
	return err
}

// Abort removes what has been written. After Close or Abort it does nothing, so it can be deferred.
func (w *Writer) Abort() {
	if w.closed {
		return
	}
	w.closed = true
	if w.file != nil {
		w.file.Close()
		os.Remove(w.file.Name())
	}
	if w.failed == nil {
		w.failed = os.ErrClosed
	}
}

// Header returns the header of a WAV file with the given number of frames, up to the first byte of the audio. Its length
// does not depend on frames: every file has a JUNK chunk that makes room for the 64-bit sizes of RF64, used when the
// audio outgrows 32 bits (ITU-R BS.2088-1, section 4).
func Header(f pcm.Format, frames int64) []byte { return header(f, frames, 0) }

// header is Header for a file in which more bytes follow the audio.
func header(f pcm.Format, frames int64, more int) []byte {
	coding, tail := uint16(codingPCM), []byte(nil)
	if f.Float {
		// Codings other than PCM need the size of an (empty) extension and the number of frames.
		coding, tail = codingFloat, append([]byte{0, 0, 'f', 'a', 'c', 't', 4, 0, 0, 0}, le32(uint64(frames))...)
	}
	frame := f.Channels * f.Bits / 8
	bytes := uint64(frames) * uint64(frame)

	body := []byte("WAVEJUNK\x1c\x00\x00\x00")
	body = append(body, make([]byte, 28)...)
	body = append(body, "fmt "...)
	body = append(body, 16, 0, 0, 0)
	if f.Float {
		body[len(body)-4] = 18
	}
	body = binary.LittleEndian.AppendUint16(body, coding)
	body = binary.LittleEndian.AppendUint16(body, uint16(f.Channels))
	body = binary.LittleEndian.AppendUint32(body, uint32(f.Rate))
	body = binary.LittleEndian.AppendUint32(body, uint32(int(f.Rate)*frame))
	body = binary.LittleEndian.AppendUint16(body, uint16(frame))
	body = binary.LittleEndian.AppendUint16(body, uint16(f.Bits))
	body = append(body, tail...)
	body = append(body, "data"...)
	body = append(body, le32(bytes)...)

	riff := uint64(len(body)) + bytes + bytes%2 + uint64(more)
	if riff < sizeUnknown {
		return append(append([]byte("RIFF"), le32(riff)...), body...)
	}
	copy(body[4:], "ds64")
	binary.LittleEndian.PutUint64(body[12:], riff)
	binary.LittleEndian.PutUint64(body[20:], bytes)
	binary.LittleEndian.PutUint64(body[28:], uint64(frames))
	return append(append([]byte("RF64"), le32(sizeUnknown)...), body...)
}

// le32 returns n as four bytes, or all ones where it needs more.
func le32(n uint64) []byte {
	return binary.LittleEndian.AppendUint32(nil, uint32(min(n, sizeUnknown)))
}
