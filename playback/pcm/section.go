package pcm

import "io"

// Section returns the part of r from frame from to before frame to.
func Section(r Reader, from, to int) Reader { return section{r, from, to} }

type section struct {
	Reader
	from, to int
}

// Frames implements Reader.
func (s section) Frames() int { return s.to - s.from }

// ReadFrames implements Reader.
func (s section) ReadFrames(dst [][]float64, from int) (int, error) {
	remaining := max(0, s.Frames()-from)
	short := make([][]float64, len(dst))
	for c, x := range dst {
		short[c] = x[:min(len(x), remaining)]
	}
	n, err := s.Reader.ReadFrames(short, s.from+from)
	if err == nil && len(dst) > 0 && n < len(dst[0]) {
		err = io.EOF
	}
	return n, err
}
