//go:build cgo && linux

package device_test

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"heardiff/playback"
	"heardiff/playback/device"
	"heardiff/playback/pcm"
	"heardiff/playback/sinktest"
)

// The sound card of these tests is ALSA's own file plug-in, which writes into a pipe; the test empties the pipe at the pace
// of a sound card.
func TestSoundDeviceConforms(t *testing.T) {
	if !inChild(t) {
		return
	}
	card := pretendCard(t)
	sinktest.Run(t, sinktest.Rig{
		Open: func(s playback.Source) (playback.Output, error) {
			return device.Open("default", s, device.Config{Buffer: 100 * time.Millisecond})
		},
		Reached: card.stop,
	})
}

func TestADeviceThatGoesAwayIsAnError(t *testing.T) {
	if !inChild(t) {
		return
	}
	card := pretendCard(t)
	s, err := playback.New(playback.Config{}, pcm.NewClip(48000, 2, 4800))
	if err != nil {
		t.Fatal(err)
	}
	out, err := device.Open("default", s, device.Config{})
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond)
	if err := out.Err(); err != nil {
		t.Fatalf("while the device is there: %v", err)
	}
	card.pipe.Close()
	for deadline := time.Now().Add(5 * time.Second); out.Err() == nil; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("five seconds after the device went, it still seems to play")
		}
	}
	if out.Close() == nil {
		t.Error("Close must say why it stopped, too")
	}
}

// inChild reruns the test in a child process, because the sound library can be opened only once in a process. It reports
// whether this is the child.
func inChild(t *testing.T) bool {
	t.Helper()
	const mark = "HEARDIFF_TEST_CHILD"
	if os.Getenv(mark) != "" {
		return true
	}
	child := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	child.Env = append(os.Environ(), mark+"=1")
	if out, err := child.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	return false
}

// pretendCard makes "default" a pipe that is emptied in real time.
func pretendCard(t *testing.T) *pipeCard {
	t.Helper()
	dir := t.TempDir()
	card := emptyPipe(t, filepath.Join(dir, "card"))
	config := filepath.Join(dir, "asound.conf")
	text := fmt.Sprintf("pcm.!default { type file slave.pcm { type null } file %q format \"raw\" }\n", card.path)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("ALSA_CONFIG_PATH", config)
	return card
}

// pipeCard reads frames of two floats from a pipe in real time.
type pipeCard struct {
	path string
	pipe *os.File
	mu   sync.Mutex
	got  []byte
}

func emptyPipe(t *testing.T, path string) *pipeCard {
	t.Helper()
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	// Made small before anything is in it, so that the writer has to follow the pace.
	if _, err := unix.FcntlInt(f.Fd(), unix.F_SETPIPE_SZ, 4096); err != nil {
		t.Fatal(err)
	}
	c := &pipeCard{path: path, pipe: f}
	go func() {
		begun, done := time.Now(), 0
		buf := make([]byte, 8*480)
		for {
			time.Sleep(2 * time.Millisecond)
			due := int(time.Since(begun).Seconds()*48000) * 8
			for done < due {
				n, err := f.Read(buf[:min(len(buf), due-done)])
				if err != nil {
					return
				}
				done += n
				c.mu.Lock()
				c.got = append(c.got, buf[:n]...)
				c.mu.Unlock()
			}
		}
	}()
	return c
}

// stop returns what was read. The pipe is still emptied afterwards, because the library never stops writing.
func (c *pipeCard) stop() []float32 {
	time.Sleep(400 * time.Millisecond) // what is still in the buffers
	c.mu.Lock()
	defer c.mu.Unlock()
	out := make([]float32, len(c.got)/4)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(c.got[4*i:]))
	}
	return out
}

func TestAMissingDeviceIsAnErrorNotSilence(t *testing.T) {
	s, err := playback.New(playback.Config{}, pcm.NewClip(48000, 2, 4800))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"hw:CARD=absent,DEV=0", "nosuchdevice"} {
		if _, err := device.Open(name, s, device.Config{}); err == nil {
			t.Errorf("%s: opened", name)
		}
	}
}

// A device of one fixed rate is refused where the audio has another, unless resampling is allowed.
func TestARateThatWouldBeResampledIsRefused(t *testing.T) {
	config := filepath.Join(t.TempDir(), "asound.conf")
	text := "</usr/share/alsa/alsa.conf>\npcm.!default { type plug slave { pcm \"null\" rate 44100 } }\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("ALSA_CONFIG_PATH", config)
	if err := device.Probe(48000, false); !errors.Is(err, device.ErrResample) {
		t.Errorf("48 kHz on a device of 44.1 kHz: %v", err)
	}
	if err := device.Probe(44100, false); err != nil {
		t.Errorf("44.1 kHz: %v", err)
	}
	if err := device.Probe(48000, true); err != nil {
		t.Errorf("48 kHz, resampling allowed: %v", err)
	}
}
