package printable

import (
	"slices"
	"testing"
)

func TestWrapBreaksBetweenWordsOnly(t *testing.T) {
	for _, c := range []struct {
		line    string
		columns int
		want    []string
	}{
		{"", 10, []string{""}},
		{"one two three", 13, []string{"one two three"}},
		{"one two three", 12, []string{"one two", "three"}},
		{"  (WHO-ITU) H.870", 12, []string{"  (WHO-ITU)", "  H.870"}},
		{"a very-long-word-that-does-not-fit b", 10, []string{"a", "very-long-word-that-does-not-fit", "b"}},
		{"0.9 % of it", 5, []string{"0.9 %", "of it"}},
		{"−−− ──── −", 8, []string{"−−− ────", "−"}},
		{"two  spaces", 20, []string{"two  spaces"}},
	} {
		if got := Wrap(c.line, c.columns); !slices.Equal(got, c.want) {
			t.Errorf("%q in %d columns: %q, want %q", c.line, c.columns, got, c.want)
		}
	}
}
