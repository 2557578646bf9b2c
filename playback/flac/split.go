package flac

import (
	"bufio"
	"bytes"
	"io"

	"github.com/mewkiz/flac/frame"
)

// splitter cuts a stream into its blocks without decoding them. A block ends where a header begins that passes its CRC-8 and has the
// number that must follow; the audio in between may hold such a header by chance, so that whoever decodes the block must find its end
// there.
type splitter struct {
	in      *bufio.Reader
	largest int // frames of a block
	buffer  []byte
	held    []byte // the end of buffer, not cut off yet; begins with a block
	offset  int64  // of held in the file
	err     error  // what ended the reading
}

// headerBytes is the longest header of a block, with its checksum.
const headerBytes = 16

// next cuts off a block, which is valid until the next call. ok is false where no end is found within the size that a block can have, and
// at the end of the stream.
func (s *splitter) next() (block []byte, ok bool) {
	for len(s.held) < headerBytes {
		if !s.more() {
			return nil, false
		}
	}
	header, err := frame.New(bytes.NewReader(s.held))
	if err != nil || int(header.BlockSize) > s.largest {
		return nil, false
	}
	// Twice the size of its samples: no encoder writes a block that is larger than its samples are as they are.
	most := 2*int(header.BlockSize)*header.Channels.Count()*4 + headerBytes
	for at := headerBytes / 2; at < most; {
		i := s.candidate(at)
		if i < 0 {
			at = max(at, len(s.held)-headerBytes)
			if !s.more() {
				return nil, false
			}
			continue
		}
		if follows(header, s.held[i:]) {
			block, s.held = s.held[:i], s.held[i:]
			s.offset += int64(i)
			return block, true
		}
		at = i + 1
	}
	return nil, false
}

// candidate returns where, from at on, a header may begin that is like the one at the beginning of held, and is held as a whole;
// −1 where none does.
func (s *splitter) candidate(at int) int {
	for at+headerBytes <= len(s.held) {
		i := bytes.IndexByte(s.held[at:len(s.held)-headerBytes+1], s.held[0])
		if i < 0 {
			return -1
		}
		at += i
		h := s.held[at:]
		// The same kind of numbering, rate and word length.
		if h[1] == s.held[1] && (h[2]^s.held[2])&0x0f == 0 && (h[3]^s.held[3])&0x0f == 0 {
			return at
		}
		at++
	}
	return -1
}

// follows reports whether data begins with the header of the block after that of header.
func follows(header *frame.Frame, data []byte) bool {
	h, err := frame.New(bytes.NewReader(data))
	if err != nil {
		return false
	}
	if header.HasFixedBlockSize {
		return h.Num == header.Num+1
	}
	return h.Num == header.Num+uint64(header.BlockSize)
}

// more reads on; it returns false at the end of the stream, and where reading fails.
func (s *splitter) more() bool {
	if s.err != nil {
		return false
	}
	if 2*len(s.held) >= len(s.buffer) {
		s.buffer = make([]byte, 2*len(s.buffer)+blockBytes)
	}
	kept := copy(s.buffer, s.held)
	var n int
	n, s.err = s.in.Read(s.buffer[kept:])
	s.held = s.buffer[:kept+n]
	return n > 0 || s.err == nil
}

// rest returns what was not cut off.
func (s *splitter) rest() io.Reader {
	if s.err != nil {
		return io.MultiReader(bytes.NewReader(s.held), failing{s.err})
	}
	return io.MultiReader(bytes.NewReader(s.held), s.in)
}

// failing is a reader that has nothing but an error.
type failing struct{ err error }

// Read implements io.Reader.
func (f failing) Read([]byte) (int, error) { return 0, f.err }
