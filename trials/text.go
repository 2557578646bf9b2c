package trials

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of text in the record, in characters.
const (
	MaxName = 200   // of a name: a chain, an excerpt, a comparison, a listener, a group, a title
	MaxText = 1_000 // of a line that says something: what a chain is, a room, a reason
)

// CheckName returns an error where name is empty, longer than MaxName, or holds a character that does not show, such as a
// line break, the beginning of an escape sequence or a mark that turns the writing direction. what names it in the error.
func CheckName(what, name string) error {
	if name == "" {
		return fmt.Errorf("%s: the name is missing", what)
	}
	return checkShown(what, name, MaxName)
}

// CheckText is CheckName of a line that may be missing, and be as long as MaxText.
func CheckText(what, text string) error { return checkShown(what, text, MaxText) }

func checkShown(what, text string, most int) error {
	if n := utf8.RuneCountInString(text); n > most {
		return fmt.Errorf("%s %.40q…: %d characters, at most %d are taken", what, text, n, most)
	}
	if !utf8.ValidString(text) {
		return fmt.Errorf("%s %q: not UTF-8", what, text)
	}
	if i := strings.IndexFunc(text, func(r rune) bool { return !unicode.IsGraphic(r) }); i >= 0 {
		r, _ := utf8.DecodeRuneInString(text[i:])
		return fmt.Errorf("%s %q: the character %U does not show: one line of plain text is wanted", what, text, r)
	}
	return nil
}
