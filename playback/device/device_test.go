package device_test

import (
	"path/filepath"
	"testing"

	"heardiff/playback"
	"heardiff/playback/device"
	"heardiff/playback/pcm"
	"heardiff/playback/sinktest"
	"heardiff/playback/wav"
)

func TestNullConforms(t *testing.T) {
	t.Parallel()
	sinktest.Run(t, sinktest.Rig{Open: func(s playback.Source) (playback.Output, error) {
		return device.Open("null", s, device.Config{})
	}})
}

func TestFileConformsAndCanBeReadWhileItGrows(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "heard.wav")
	load := func() []float32 {
		f, err := wav.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		c, err := pcm.Load(f, 0, -1)
		if err != nil {
			t.Fatal(err)
		}
		return c.Float32()
	}
	var out *growing
	sinktest.Run(t, sinktest.Rig{
		Open: func(s playback.Source) (playback.Output, error) {
			o, err := device.Open("file:"+path, s, device.Config{})
			out = &growing{Output: o, look: load}
			return out, err
		},
		Reached: load,
	})
	if out.seen == 0 {
		t.Error("the file could not be read before Close")
	}
}

// growing reads the file while it is still open.
type growing struct {
	playback.Output
	look func() []float32
	seen int
}

func (g *growing) Close() error {
	g.seen = len(g.look())
	return g.Output.Close()
}

func TestAFileThatCannotBeMadeIsAnError(t *testing.T) {
	s, err := playback.New(playback.Config{}, pcm.NewClip(48000, 1, 4800))
	if err != nil {
		t.Fatal(err)
	}
	for _, spec := range []string{"file:", "file:" + filepath.Join(t.TempDir(), "none", "a.wav")} {
		if _, err := device.Open(spec, s, device.Config{}); err == nil {
			t.Errorf("%s: opened", spec)
		}
	}
}
