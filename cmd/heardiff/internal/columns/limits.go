package columns

import (
	"errors"
	"fmt"
	"io"
	"unicode"
	"unicode/utf8"
)

// Limits of a table from outside, checked while it is read.
const (
	maxTableBytes   = 64 << 20
	maxTableLine    = 64 << 10 // bytes, the header's too
	maxTableRows    = 1_000_000
	maxTableColumns = 1_000
)

// ErrNotUTF8 says that the encoding of a table's text is not known.
var ErrNotUTF8 = errors.New("the text is not UTF-8, and names would be spoilt")

// ErrNoTable is wrapped where a file is no table that anybody wrote: columns are not what it lacks.
var ErrNoTable = errors.New("this is no table")

// plainText reads on while what it reads is text within the limits of a table.
type plainText struct {
	r           io.Reader
	total, line int
	part        []byte // of a character that is incomplete
}

// Read implements io.Reader.
func (t *plainText) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	if bad := t.check(p[:n]); bad != nil {
		return 0, bad
	}
	if err == io.EOF && len(t.part) > 0 {
		return 0, ErrNotUTF8
	}
	return n, err
}

func (t *plainText) check(text []byte) error {
	if t.total += len(text); t.total > maxTableBytes {
		return fmt.Errorf("%w: more than %d MB; at most that are read", ErrNoTable, maxTableBytes>>20)
	}
	rest := append(t.part, text...)
	for utf8.FullRune(rest) {
		r, n := utf8.DecodeRune(rest)
		switch t.line += n; {
		case r == utf8.RuneError && n == 1:
			return ErrNotUTF8
		case r == '\n':
			t.line = 0
		case unicode.IsControl(r) && r != '\t' && r != '\r':
			return fmt.Errorf("%w: it holds the control character %U", ErrNoTable, r)
		case t.line > maxTableLine:
			return fmt.Errorf("%w: a line of more than %d kB; at most that are read", ErrNoTable, maxTableLine>>10)
		}
		rest = rest[n:]
	}
	t.part = append(t.part[:0], rest...)
	return nil
}
