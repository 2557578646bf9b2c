// Package printable makes text from outside safe to show: file names, metadata, names and remarks of other sites.
//
// What shows no glyph, such as a control character, an escape sequence's beginning, a mark that turns the writing
// direction, or a byte that is no UTF-8, could move the cursor, hide text or forge it. It is written as an escape
// instead. The escapes are those of a JSON string, so that JSON that went through Writer means the same as before.
package printable

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// Text returns s as one line in which every character shows: line breaks and tabs are escaped, too.
func Text(s string) string {
	if strings.IndexFunc(s, hidden) < 0 && utf8.ValidString(s) {
		return s
	}
	return escape(s, hidden)
}

// Writer returns a writer that passes text on to w with what does not show escaped, except line breaks and tabs. Each
// Write must hold whole characters.
func Writer(w io.Writer) io.Writer { return writer{w} }

type writer struct{ to io.Writer }

// Write implements io.Writer. It reports the bytes of text taken, not those written after escaping.
func (w writer) Write(text []byte) (int, error) {
	n, err := io.WriteString(w.to, escape(string(text), hiddenInLines))
	if err != nil {
		return min(n, len(text)), err
	}
	return len(text), nil
}

// hidden reports whether r is other than a letter, mark, number, sign or space.
func hidden(r rune) bool { return !unicode.IsGraphic(r) }

func hiddenInLines(r rune) bool { return r != '\n' && r != '\t' && hidden(r) }

func escape(s string, hides func(rune) bool) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case hides(r):
			for _, unit := range utf16.Encode([]rune{r}) {
				fmt.Fprintf(&b, `\u%04x`, unit)
			}
		default:
			b.WriteString(s[i : i+n])
		}
		i += n
	}
	return b.String()
}
