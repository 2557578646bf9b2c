package demo

import (
	"encoding/binary"
	"math"
	"os"
	"testing"
)

func TestDump(t *testing.T) {
	c := Music(48000, 16, 7)
	f, _ := os.Create("/tmp/me/m.raw")
	defer f.Close()
	binary.Write(f, binary.LittleEndian, c.Float32())
	for _, ch := range c.Channels {
		s := 0.0
		for _, v := range ch {
			s += v * v
		}
		t.Log(10 * math.Log10(s/float64(len(ch))))
	}
}
