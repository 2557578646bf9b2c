package columns

import (
	"io"
	"strings"
	"testing"
)

// endless gives one text again and again, and fails the test that reads more of it than its limit.
type endless struct {
	t     *testing.T
	text  string
	given int
	most  int
}

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		n += copy(p[n:], e.text[(e.given+n)%len(e.text):])
	}
	if e.given += n; e.given > e.most {
		e.t.Errorf("%.10q: %d bytes were read", e.text, e.given)
		return 0, io.EOF
	}
	return n, nil
}

// A table without end is refused as soon as it is longer than any table, with the limit in the message.
func TestTablesAreReadWithinLimits(t *testing.T) {
	const head = "listener,group,correct,trials\n"
	for _, c := range []struct {
		name, head, text, says string
		most                   int
	}{
		{"zeros", "", "\x00", "control character U+0000", 1 << 20},
		{"a line without end", "", "a", "a line of more than 64 kB", 1 << 20},
		{"a header of commas", "", ",", "a line of more than 64 kB", 1 << 20},
		{"a name without end", head, "name", "a line of more than 64 kB", 1 << 20},
		{"rows without end", head, "L,g,1,2\n", "more than 1000000 rows", 16 << 20},
		{"a quoted cell without end", head + `"`, "line\n", "more than 64 MB", 65 << 20},
		{"columns without end", strings.Repeat("c,", 2000) + "c\n", "1\n", "2001 columns; at most 1000", 1 << 20},
		{"a comment without end", "#", "c", "a line of more than 64 kB", 1 << 20},
	} {
		_, err := Read(io.MultiReader(strings.NewReader(c.head), &endless{t: t, text: c.text, most: c.most}), "listener", "group", "correct", "trials")
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	long := head + strings.Repeat("é", 20_000) + ",g,1,2\n" // characters that blocks cut in two
	if r, err := Read(iotestHalf{strings.NewReader(long)}, "listener", "group", "correct", "trials"); err != nil || len(r.cells) != 1 {
		t.Errorf("a long name: %v", err)
	}
	if _, err := Read(strings.NewReader(head+"L,g,1,2\n\xc3"), "listener", "group", "correct", "trials"); err != ErrNotUTF8 {
		t.Errorf("half a character at the end: %v", err)
	}
}

// iotestHalf reads three bytes at a time.
type iotestHalf struct{ r io.Reader }

func (h iotestHalf) Read(p []byte) (int, error) { return h.r.Read(p[:min(3, len(p))]) }
