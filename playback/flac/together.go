package flac

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"runtime"

	"github.com/mewkiz/flac/frame"

	"heardiff/playback/pcm"
)

// cut is a block on its way through the decoder.
type cut struct {
	data    []byte
	end     int64         // where it ends in the file
	decoded chan struct{} // receives once the following are set
	ok      bool          // whether it ends where it was cut off and is of the file's format
	frames  int
	packed  []byte
}

func (c *cut) decode(f pcm.Format) {
	defer func() { c.decoded <- struct{}{} }()
	r := bytes.NewReader(c.data)
	block, err := frame.Parse(r)
	if c.ok = err == nil && r.Len() == 0 && fits(block, f); c.ok {
		c.frames, c.packed = int(block.BlockSize), pack(c.packed[:0], block, f.Bits/8)
	}
}

// aheadBytes and aheadBlocks bound what is decoded before it is written: so much audio, so many blocks for each processor. With few, a
// processor waits whenever another is held up (measured).
const (
	aheadBytes  = 16 << 20
	aheadBlocks = 32
)

// together decodes blocks on all processors as far as the stream can be cut into them without doubt, and returns the rest, which
// begins with a block.
func (d *decoding) together(ctx context.Context, in *bufio.Reader) (rest io.Reader, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ahead := max(1, min(aheadBlocks*runtime.GOMAXPROCS(0), aheadBytes/max(1, d.largest*d.frameBytes())))
	free, cuts := make(chan *cut, ahead), make(chan *cut, ahead)
	for range ahead {
		free <- &cut{decoded: make(chan struct{}, 1)}
	}
	s := &splitter{in: in, largest: d.largest, offset: d.source.read - int64(in.Buffered())}
	go s.cutAll(ctx, free, cuts, d.format)
	var undone []io.Reader
	for c := range cuts { // in their order
		<-c.decoded
		if len(undone) == 0 && c.ok && !d.complete() {
			if err = ctx.Err(); err == nil {
				err = d.add(c.packed, c.frames, c.end)
			}
			if err == nil {
				free <- c
				continue
			}
		}
		stop()
		undone = append(undone, bytes.NewReader(c.data))
	}
	return io.MultiReader(append(undone, s.rest())...), err
}

// cutAll cuts off blocks and begins to decode them, until no end of one is found or ctx is done.
func (s *splitter) cutAll(ctx context.Context, free <-chan *cut, to chan<- *cut, f pcm.Format) {
	defer close(to)
	for {
		var c *cut
		select {
		case c = <-free:
		case <-ctx.Done():
			return
		}
		data, ok := s.next()
		if !ok {
			return
		}
		c.data, c.end = append(c.data[:0], data...), s.offset
		go c.decode(f)
		to <- c // there is room for all of them
	}
}
