package printable

import (
	"bytes"
	"encoding/json"
	"testing"
	"unicode"
)

func TestWhatDoesNotShowIsEscaped(t *testing.T) {
	for _, c := range []struct{ name, text, line, lines string }{
		{"plain", "Größe 1 − 2 “é”", "Größe 1 − 2 “é”", "Größe 1 − 2 “é”"},
		{"an escape sequence", "a\x1b[31mb", `a\u001b[31mb`, `a\u001b[31mb`},
		{"the bell and delete", "a\ab\x7f", `a\u0007b\u007f`, `a\u0007b\u007f`},
		{"one byte that begins a sequence", "a\u009b31m", `a\u009b31m`, `a\u009b31m`},
		{"lines", "a\nb\tc\r", `a\u000ab\u0009c\u000d`, "a\nb\tc" + `\u000d`},
		{"right to left", "a\u202egpj\u2066\u200f", `a\u202egpj\u2066\u200f`, `a\u202egpj\u2066\u200f`},
		{"no width", "a\u200bb\ufeff", `a\u200bb\ufeff`, `a\u200bb\ufeff`},
		{"a tag beyond 16 bits", "a\U000e0041", `a\udb40\udc41`, `a\udb40\udc41`},
		{"no UTF-8", "a\xff\xc3", `a\xff\xc3`, `a\xff\xc3`},
		{"the replacement character itself", "a\ufffd", "a\ufffd", "a\ufffd"},
	} {
		if got := Text(c.text); got != c.line {
			t.Errorf("%s: %q, want %q", c.name, got, c.line)
		}
		var b bytes.Buffer
		if n, err := Writer(&b).Write([]byte(c.text)); n != len(c.text) || err != nil || b.String() != c.lines {
			t.Errorf("%s: %q, want %q (%d, %v)", c.name, b.String(), c.lines, n, err)
		}
	}
}

// FuzzWriter: JSON means the same after it, and nothing but line breaks and tabs fails to show.
func FuzzWriter(f *testing.F) {
	f.Add("a\x1b[2J\u202e\U000e0041\u2028\x7f")
	f.Fuzz(func(t *testing.T, s string) {
		data, err := json.Marshal(map[string]string{"k": s})
		if err != nil {
			t.Skip()
		}
		var b bytes.Buffer
		Writer(&b).Write(data)
		var before, after map[string]string
		if json.Unmarshal(data, &before) != nil || json.Unmarshal(b.Bytes(), &after) != nil || before["k"] != after["k"] {
			t.Errorf("%q became %q", before, b.String())
		}
		for _, r := range Text(s) {
			if !unicode.IsGraphic(r) {
				t.Errorf("%q holds %q", Text(s), r)
			}
		}
	})
}
