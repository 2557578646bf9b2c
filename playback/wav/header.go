package wav

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"

	"heardiff/playback/pcm"
)

// Errors that Open, New and ReadFrames wrap, besides those of every file of audio in pcm. The wrapping text names the chunk, frame or field.
var (
	// ErrNotWAV: the file does not begin as a WAV file does.
	ErrNotWAV = errors.New("not a WAV file")
	// ErrDamaged: fields of the header contradict each other.
	ErrDamaged = errors.New("the header is damaged")
	// ErrUnfinished: the header was written before the audio and its sizes were never filled in, as after an interrupted
	// recording. It wraps ErrDamaged.
	ErrUnfinished = fmt.Errorf("%w: it was never finished", ErrDamaged)
	// ErrUnsupported: a word length, coding, channel count or rate that heardiff does not take.
	ErrUnsupported = errors.New("this kind of WAV is not supported")
	// ErrSample: a sample is not a finite number.
	ErrSample = errors.New("a sample is not a number")
)

// Codings of the format chunk. ref: Multimedia Programming Interface and Data Specifications 1.0 (1991),
// "WAVE form", and RFC 2361, appendix A.
const (
	codingPCM        = 0x0001
	codingFloat      = 0x0003
	codingExtensible = 0xFFFE
)

// The last 14 bytes of the SubFormat GUIDs whose first two are a coding number. ref: RFC 2361, section 4.
const guidTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// sizeUnknown is the value of size fields in files written to a pipe, and in RF64 files, whose sizes are in ds64.
const sizeUnknown = 0xFFFFFFFF

// maxChunks is the largest number of chunks before the audio; a bound against files made to keep a reader busy.
const maxChunks = 4096

// layout is what the header says: where the audio is and how it is stored.
type layout struct {
	format pcm.Format
	start  int64 // of the audio, in bytes from the beginning of the file
	frames int
}

// frameBytes returns the size of one frame.
func (l layout) frameBytes() int { return l.format.Channels * l.format.Bits / 8 }

// walker steps from chunk to chunk and never trusts a size that exceeds the file.
type walker struct {
	src     io.ReaderAt
	size    int64 // of the file
	at      int64 // of the next chunk's header
	rf64    bool
	data64  int64 // size of the audio from the ds64 chunk; −1 until seen
	current chunk
}

type chunk struct {
	id    string
	start int64 // offset of its content
	bytes int64
}

// parse reads the header of a file of the given size.
func parse(src io.ReaderAt, size int64) (layout, error) {
	w := walker{src: src, size: size, data64: -1}
	if err := w.begin(); err != nil {
		return layout{}, err
	}
	var l layout
	for range maxChunks {
		if err := w.next(); err != nil {
			return layout{}, err
		}
		switch w.current.id {
		case "ds64":
			if err := w.sizes64(); err != nil {
				return layout{}, err
			}
		case "fmt ":
			f, err := w.format()
			if err != nil {
				return layout{}, err
			}
			l.format = f
		case "data":
			return w.audio(l)
		}
		w.skip()
	}
	return layout{}, fmt.Errorf("%w: no audio within the first %d chunks", ErrDamaged, maxChunks)
}

// begin checks the twelve bytes that every WAV file starts with.
func (w *walker) begin() error {
	var head [12]byte
	if n, err := w.src.ReadAt(head[:], 0); n < len(head) {
		if err == nil || errors.Is(err, io.EOF) {
			return fmt.Errorf("%w: it is only %d bytes long", ErrNotWAV, n)
		}
		return err
	}
	switch tag := string(head[:4]); {
	case tag == "RIFX":
		return fmt.Errorf("%w: big-endian (RIFX)", ErrUnsupported)
	case tag != "RIFF" && tag != "RF64" && tag != "BW64", string(head[8:]) != "WAVE":
		return ErrNotWAV
	default:
		w.rf64 = tag != "RIFF"
	}
	w.at = 12
	return nil
}

// next reads the next chunk's header into w.current. Only the data chunk may extend past the end of the file here: audio
// reports it with a more specific error.
func (w *walker) next() error {
	var head [8]byte
	if w.size-w.at < int64(len(head)) {
		return fmt.Errorf("%w: the file ends after %d bytes, before any audio", pcm.ErrTruncated, w.size)
	}
	if err := w.read(head[:], w.at); err != nil {
		return err
	}
	id, bytes := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
	if id == "data" && w.rf64 && bytes == sizeUnknown {
		if w.data64 < 0 {
			return fmt.Errorf("%w: the 64-bit size (ds64) is missing", ErrDamaged)
		}
		bytes = w.data64
	}
	w.current = chunk{id: id, start: w.at + 8, bytes: bytes}
	if id != "data" && bytes > w.size-w.current.start {
		return fmt.Errorf("%w: the chunk %q of %d bytes does not fit into the file", pcm.ErrTruncated, id, bytes)
	}
	return nil
}

// skip moves on to the chunk after the current one; chunks begin at even offsets.
func (w *walker) skip() { w.at = w.current.start + w.current.bytes + w.current.bytes%2 }

// sizes64 takes the size of the audio from a ds64 chunk. ref: ITU-R BS.2088-1, section 5.
func (w *walker) sizes64() error {
	var body [16]byte // size of the file, size of the audio
	if w.current.bytes < int64(len(body)) {
		return fmt.Errorf("%w: the 64-bit size (ds64) is %d bytes long", ErrDamaged, w.current.bytes)
	}
	if err := w.read(body[:], w.current.start); err != nil {
		return err
	}
	n := binary.LittleEndian.Uint64(body[8:])
	if n > maxData {
		return fmt.Errorf("%w: %d bytes of audio announced", ErrDamaged, n)
	}
	w.data64 = int64(n)
	return nil
}

// maxData is the largest number of bytes that is taken for one: sums with it do not overflow.
const maxData = 1 << 62

// Lengths in bytes of the format chunk, plain and extensible (RFC 2361; Microsoft, Multiple Channel Audio Data and WAVE Files, 2001), and
// of what every chunk begins with.
const (
	plainFormat      = 16
	extensibleFormat = 40
	chunkHead        = 8
)

// floatBits is the word length of floating point, readBits are those of words that are read, writtenBits of words that are written.
const floatBits = 32

var readBits, writtenBits = []int{16, 24, 32}, []int{16, 24}

// format reads the format chunk.
func (w *walker) format() (pcm.Format, error) {
	var body [extensibleFormat]byte
	n := min(w.current.bytes, int64(len(body)))
	if n < plainFormat {
		return pcm.Format{}, fmt.Errorf("%w: the format chunk is %d bytes long", ErrDamaged, n)
	}
	if err := w.read(body[:n], w.current.start); err != nil {
		return pcm.Format{}, err
	}
	coding := binary.LittleEndian.Uint16(body[0:])
	bits := binary.LittleEndian.Uint16(body[14:])
	if coding == codingExtensible {
		var err error
		if coding, err = extensible(body[:n], bits); err != nil {
			return pcm.Format{}, err
		}
	}
	f := pcm.Format{
		Rate:     pcm.Rate(binary.LittleEndian.Uint32(body[4:])),
		Channels: int(binary.LittleEndian.Uint16(body[2:])),
		Bits:     int(bits),
		Float:    coding == codingFloat,
	}
	if err := accept(f, coding); err != nil {
		return pcm.Format{}, err
	}
	if align := int(binary.LittleEndian.Uint16(body[12:])); align != f.Channels*f.Bits/8 {
		return pcm.Format{}, fmt.Errorf("%w: frames of %d bytes where %s needs %d", ErrDamaged, align, f, f.Channels*f.Bits/8)
	}
	return f, nil
}

// extensible returns the coding that the SubFormat of an extensible format chunk names.
func extensible(body []byte, bits uint16) (coding uint16, err error) {
	if len(body) < extensibleFormat {
		return 0, fmt.Errorf("%w: the extensible format chunk is %d bytes long", ErrDamaged, len(body))
	}
	if valid := binary.LittleEndian.Uint16(body[18:]); valid > bits {
		return 0, fmt.Errorf("%w: %d valid bits in words of %d", ErrDamaged, valid, bits)
	}
	if string(body[26:40]) != guidTail {
		return 0, fmt.Errorf("%w: coding %x", ErrUnsupported, body[24:40])
	}
	return binary.LittleEndian.Uint16(body[24:]), nil
}

// accept returns ErrUnsupported, wrapped, for a format that heardiff does not read.
func accept(f pcm.Format, coding uint16) error {
	switch {
	case coding != codingPCM && coding != codingFloat:
		return fmt.Errorf("%w: coding 0x%04X, wanted are linear PCM and 32-bit float", ErrUnsupported, coding)
	case f.Float && f.Bits != floatBits:
		return fmt.Errorf("%w: %d-bit float, wanted is 32", ErrUnsupported, f.Bits)
	case !slices.Contains(readBits, f.Bits):
		return fmt.Errorf("%w: %d-bit, wanted are 16, 24 and 32", ErrUnsupported, f.Bits)
	}
	return CheckShape(f.Rate, f.Channels)
}

// CheckShape returns ErrUnsupported, wrapped, for a rate or channel count that heardiff does not accept.
func CheckShape(rate pcm.Rate, channels int) error {
	if channels < 1 || channels > pcm.MaxChannels {
		return fmt.Errorf("%w: %d channels, wanted are 1 to %d", ErrUnsupported, channels, pcm.MaxChannels)
	}
	if !rate.Valid() {
		return fmt.Errorf("%w: a rate of %d Hz, wanted are %d to %d", ErrUnsupported, rate, pcm.MinRate, pcm.MaxRate)
	}
	return nil
}

// audio completes the layout from the data chunk, which must be the current one.
func (w *walker) audio(l layout) (layout, error) {
	c := w.current
	switch {
	case l.format.Channels == 0:
		return layout{}, fmt.Errorf("%w: no format chunk before the audio", ErrDamaged)
	case !w.rf64 && c.bytes == sizeUnknown:
		return layout{}, fmt.Errorf("%w: no length is stated, as in files written to a pipe", ErrUnfinished)
	case c.bytes == 0 && !w.chunkFollows():
		return layout{}, fmt.Errorf("%w: no audio is announced, and %d bytes follow", ErrUnfinished, w.size-c.start)
	}
	l.start = c.start
	frame := int64(l.frameBytes())
	if held := max(0, w.size-c.start); held < c.bytes {
		return layout{}, fmt.Errorf("%w: %d of %d frames are there", pcm.ErrTruncated, held/frame, c.bytes/frame)
	}
	if c.bytes%frame != 0 {
		return layout{}, fmt.Errorf("%w: it ends inside frame %d", pcm.ErrTruncated, c.bytes/frame)
	}
	if c.bytes == 0 {
		return layout{}, pcm.ErrEmpty
	}
	l.frames = int(c.bytes / frame)
	return l, nil
}

// chunkFollows reports whether another chunk, or nothing, follows the current one. A chunk has a printable name and fits
// into the file; unannounced audio does not look like that.
func (w *walker) chunkFollows() bool {
	w.skip()
	if w.size-w.at < chunkHead {
		return true
	}
	if w.next() != nil {
		return false
	}
	for _, letter := range []byte(w.current.id) {
		if letter < ' ' || letter > '~' {
			return false
		}
	}
	return w.current.bytes <= w.size-w.current.start
}

// read fills dst from the given offset.
func (w *walker) read(dst []byte, at int64) error {
	return readFull(w.src, dst, at, "the file ends inside its header")
}
