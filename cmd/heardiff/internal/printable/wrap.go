package printable

import (
	"strings"
	"unicode/utf8"
)

// Wrap breaks a line at its spaces to lines of so many columns, each indented as the line is. A word that is longer stays whole, on a
// line of its own, so that it can be copied.
func Wrap(line string, columns int) []string {
	text := strings.TrimLeft(line, " ")
	indent := line[:len(line)-len(text)]
	lines := []string{indent}
	for i, word := range strings.Split(text, " ") {
		last := &lines[len(lines)-1]
		switch {
		case i == 0:
			*last += word
		case utf8.RuneCountInString(*last)+1+utf8.RuneCountInString(word) <= columns:
			*last += " " + word
		default:
			*last = strings.TrimRight(*last, " ")
			lines = append(lines, indent+word)
		}
	}
	return lines
}
