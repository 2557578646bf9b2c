//go:build cgo && linux

package device

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"sync"
	"time"

	"github.com/hajimehoshi/oto/v2"

	"heardiff/playback"
)

// sound plays through ALSA. There is one player over one endless reader from Open to Close: the library's own pause, seek
// and volume act abruptly at the boundaries of its periods and are never used.
type sound struct {
	ctx    *oto.Context
	player oto.Player
	feed   *feed
	opened playback.Opened
}

// openSound opens a device by name. It can succeed only once in a process, a limit of oto.
func openSound(name string, src playback.Source, c Config) (playback.Output, error) {
	if src.Channels() > 2 {
		return nil, fmt.Errorf("%d channels: the sound device plays 1 or 2", src.Channels())
	}
	hush()
	restore, err := choose(name, src, c)
	if err != nil {
		return nil, err
	}
	defer restore() // ALSA reads its configuration only when it opens a device
	// oto falls back to any other device if the first fails, and accepts any rate, so probe first.
	dump, err := probe(src.Rate(), src.Channels(), c.AllowResample)
	if err != nil {
		return nil, fmt.Errorf("sound device %q: %w", name, err)
	}
	got := describe(name, dump)
	if got.Rate != src.Rate() && !c.AllowResample {
		return nil, fmt.Errorf("sound device %q: %w: %d Hz, it runs at %d", name, ErrResample, src.Rate(), got.Rate)
	}
	ctx, ready, err := oto.NewContextWithOptions(&oto.NewContextOptions{
		SampleRate: int(src.Rate()), ChannelCount: src.Channels(), Format: oto.FormatFloat32LE, BufferSize: c.Buffer,
	})
	if err != nil {
		return nil, fmt.Errorf("sound device %q: %w", name, err)
	}
	<-ready
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("sound device %q: %w", name, err)
	}
	s := &sound{ctx: ctx, feed: newFeed(src, 2*c.Buffer), opened: got}
	s.player = ctx.NewPlayer(s.feed)
	// At least one period of the device, half its buffer; with less the library plays zeros in between.
	if p, ok := s.player.(oto.BufferSizeSetter); ok {
		p.SetBufferSize(src.Rate().Frames(c.Buffer) * src.Channels() * 4)
	}
	s.player.Play()
	return s, nil
}

// choose points ALSA at a configuration in which "default" is the named device, until restore is called.
func choose(name string, src playback.Source, c Config) (restore func(), err error) {
	text, err := configText(name, src.Rate(), c)
	if err != nil || text == "" {
		return func() {}, err
	}
	f, err := os.CreateTemp("", "heardiff-alsa-*.conf")
	if err != nil {
		return nil, err
	}
	_, err = f.WriteString(text)
	if err := errors.Join(err, f.Close()); err != nil {
		os.Remove(f.Name())
		return nil, err
	}
	before, set := os.LookupEnv("ALSA_CONFIG_PATH")
	os.Setenv("ALSA_CONFIG_PATH", f.Name())
	return func() {
		os.Remove(f.Name())
		if set {
			os.Setenv("ALSA_CONFIG_PATH", before)
			return
		}
		os.Unsetenv("ALSA_CONFIG_PATH")
	}, nil
}

// Opened implements playback.Output.
func (s *sound) Opened() playback.Opened { return s.opened }

// Underruns implements playback.Output.
func (s *sound) Underruns() int { return s.feed.late() }

// Err implements playback.Output.
func (s *sound) Err() error { return errors.Join(s.ctx.Err(), s.player.Err()) }

// Close implements playback.Output. The device itself stays open, in silence, until the process ends.
func (s *sound) Close() error {
	err := s.Err()
	s.feed.stop()
	return err
}

// feed gives the library an endless stream of complete frames: silence after stop.
type feed struct {
	mu        sync.Mutex // the library may read from two goroutines
	src       playback.Source
	block     []float32
	stopped   bool
	patience  time.Duration // total length of all buffers
	last      time.Time
	underruns int
}

func newFeed(src playback.Source, patience time.Duration) *feed {
	return &feed{src: src, patience: patience, block: make([]float32, 1<<14/src.Channels()*src.Channels())}
}

// Read implements io.Reader.
func (f *feed) Read(dst []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	// The library does not report an underrun. There was one if more time passed than the buffers hold.
	now := time.Now()
	if !f.last.IsZero() && now.Sub(f.last) > f.patience {
		f.underruns++
	}
	f.last = now
	n := min(len(dst)/4, len(f.block))
	n -= n % f.src.Channels()
	block := f.block[:n]
	if f.stopped {
		clear(block)
	} else {
		f.src.Fill(block)
	}
	for i, v := range block {
		binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(v))
	}
	return 4 * n, nil
}

func (f *feed) late() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.underruns
}

func (f *feed) stop() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.stopped = true
}
