//go:build cgo && linux

package device

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"heardiff/playback/pcm"
)

// steps counts up, so that a lost sample or half a frame is noticed.
type steps struct{ next float32 }

func (*steps) Rate() pcm.Rate { return 48000 }
func (*steps) Channels() int  { return 2 }
func (s *steps) Fill(dst []float32) {
	for i := range dst {
		dst[i] = s.next
		s.next++
	}
}

func TestTheLibraryGetsWholeFramesOnly(t *testing.T) {
	f, want := newFeed(&steps{}, time.Minute), float32(0)
	for _, size := range []int{8, 9, 15, 16, 4001, 1 << 20} {
		buf := make([]byte, size)
		n, err := f.Read(buf)
		if err != nil || n == 0 || n%8 != 0 {
			t.Fatalf("%d bytes asked: %d, %v", size, n, err)
		}
		for i := 0; i < n; i += 4 {
			if v := math.Float32frombits(binary.LittleEndian.Uint32(buf[i:])); v != want {
				t.Fatalf("sample %v is %v", want, v)
			}
			want++
		}
	}
	f.stop()
	buf := []byte{1, 2, 3, 4, 5, 6, 7, 8}
	if n, err := f.Read(buf); n != 8 || err != nil || [8]byte(buf) != [8]byte{} {
		t.Errorf("after stop: %d, %v, %v", n, err, buf)
	}
}

func TestAReadThatComesTooLateIsAnUnderrun(t *testing.T) {
	f := newFeed(&steps{}, 20*time.Millisecond)
	buf := make([]byte, 800)
	f.Read(buf)
	f.last = f.last.Add(-time.Second) // as if the last read had been a second ago
	f.Read(buf)
	if f.late() != 1 {
		t.Errorf("%d underruns", f.late())
	}
}

func TestReadDoesNotAllocate(t *testing.T) {
	f, buf := newFeed(&steps{}, time.Minute), make([]byte, 4096)
	if n := testing.AllocsPerRun(100, func() { f.Read(buf) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
