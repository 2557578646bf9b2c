package trials

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of text in the record, in characters (judgement, no source; TestTextsHaveLimits holds them).
const (
	MaxName = 200   // for a name: a chain, an excerpt, a comparison, a listener, a group, a title
	MaxText = 1_000 // for a line of text: the description of a chain or a room, a reason
)

// CheckName returns an error if name is empty, longer than MaxName, or contains a character that is not printable, such as a
// line break, the start of an escape sequence or a mark that reverses the writing direction. what names it in the error.
func CheckName(what, name string) error {
	if name == "" {
		return fmt.Errorf("%s: the name is missing", what)
	}
	return checkShown(what, name, MaxName)
}

// CheckText is CheckName for a line that may be empty and as long as MaxText.
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

// Counted words a number of things, each named by one: "1 listener", "3 listeners", "2 entries".
func Counted(n int, one string) string {
	switch {
	case n == 1 || n == -1:
	case strings.HasSuffix(one, "y"):
		one = strings.TrimSuffix(one, "y") + "ies"
	default:
		one += "s"
	}
	return fmt.Sprintf("%d %s", n, one)
}

// AnyOf lists names as a sentence does: "a, b or c".
func AnyOf(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

// raised are the digits of exponents.
const raised = "⁰¹²³⁴⁵⁶⁷⁸⁹"

// Raised writes a whole number above zero as an exponent.
func Raised(n int) string {
	return strings.Map(func(r rune) rune { return []rune(raised)[r-'0'] }, strconv.Itoa(n))
}

// Lowered reads what Raised writes; 0 for anything else.
func Lowered(exponent string) int {
	n := 0
	for _, r := range exponent {
		i := slices.Index([]rune(raised), r)
		if i < 0 {
			return 0
		}
		n = 10*n + i
	}
	return n
}
