package main

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// wideTable is one of the tables that no terminal of 80 columns holds.
func wideTable() string {
	var b strings.Builder
	t := newTable("comparison", "listener", "right", "of", "p uncorrected", "over the study", "d′, independent", "ruled out above", "random (ps)", "noise (dB)", "verdict")
	t.right(2, 3, 4, 5, 6, 7, 8, 9)
	t.keyed(2)
	t.row("direct – isolator", "Wren", "27", "42", "0.044", "0.130", "1.20", "0.41", "> +199.0", "−0.3", "undecided")
	t.row("direct – hamster-clock", "all 4", "120", "168", "<0.001", "0.002", "2.20", "0.71", "+3.1", "+12.3", "heard")
	b.WriteString("Of the whole study, whatever its listeners do or do not do, this much can be said without a doubt today:\n\n")
	t.print(&b, "")
	b.WriteString("\nlast\n")
	return b.String()
}

// Without a terminal lines are left at their full length, so that other programs read them.
func TestWhatIsNotForATerminalIsNotWrapped(t *testing.T) {
	got := lay(wideTable(), 0)
	lines := strings.Split(got, "\n")
	if len(lines) != 8 || !strings.HasPrefix(lines[3], "direct – isolator       Wren         27") || strings.ContainsAny(got, rowMark+headMark+cellMark+rightMark+keyMark) {
		t.Errorf("got\n%s", got)
	}
}

// In any terminal that holds the words, no line is wider than it, no word is broken, and every cell is there as often as before,
// but for the columns that say what a row is of.
func TestTextFitsTheTerminal(t *testing.T) {
	words := func(text string) map[string]int {
		n := map[string]int{}
		for _, w := range strings.Fields(text) {
			n[w]++
		}
		return n
	}
	want := words(lay(wideTable(), 0))
	for columns := 45; columns <= 220; columns++ {
		got := lay(wideTable(), columns)
		for _, line := range strings.Split(got, "\n") {
			if utf8.RuneCountInString(line) > columns {
				t.Fatalf("%d columns: a line of %d\n%s", columns, utf8.RuneCountInString(line), got)
			}
		}
		found := words(got)
		for w, n := range want {
			if found[w] < n {
				t.Fatalf("%d columns: %q is there %d times, not %d\n%s", columns, w, found[w], n, got)
			}
		}
		for w := range found {
			if want[w] == 0 {
				t.Fatalf("%d columns: %q was made up\n%s", columns, w, got)
			}
		}
	}
}

// Where they leave a third of the width, the columns that say what a row is of are not wrapped, in no block.
func TestNamesOfRowsAreNotWrapped(t *testing.T) {
	for columns := 50; columns <= 100; columns++ {
		for _, line := range strings.Split(lay(wideTable(), columns), "\n") {
			if strings.HasPrefix(line, "direct – ") != strings.Contains(line, "direct") || strings.HasPrefix(line, "hamster") || strings.HasPrefix(line, "isolator") {
				t.Fatalf("%d columns: %q\n%s", columns, line, lay(wideTable(), columns))
			}
		}
	}
}

// A list without heads keeps its remarks apart from the columns before them.
func TestAListKeepsItsRemarksApart(t *testing.T) {
	var b strings.Builder
	l := newTable()
	l.row("trials", "42")
	l.row("heard at", "27", "correct or more")
	l.row("true alpha", "0.0442")
	l.print(&b, "")
	const want = "trials      42\nheard at    27  correct or more\ntrue alpha  0.0442\n"
	if got := lay(b.String(), 0); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	const narrow = "trials      42\nheard at    27  correct\n                or more\ntrue alpha  0.0442\n"
	if got := lay(b.String(), 24); got != narrow {
		t.Errorf("got\n%swant\n%s", got, narrow)
	}
}

// Numbers below zero in what the libraries say get a true minus sign; what is to be copied does not.
func TestThereIsOneMinusSign(t *testing.T) {
	for line, want := range map[string]string{
		"-3 dB":                                "−3 dB",
		"from -0.928 dB, (-1 at most) to -12.": "from −0.928 dB, (−1 at most) to -12.",
		"level -6%":                            "level −6%",
		"2030-01-02, take-2 of x-1.wav":        "2030-01-02, take-2 of x-1.wav",
		"heardiff signal tone --dbfs -3":       "heardiff signal tone --dbfs -3",
		"  --gain-db -3":                       "  --gain-db -3",
	} {
		if got := lay(line, 0); got != want {
			t.Errorf("%q: %q, want %q", line, got, want)
		}
	}
}

// What ends a session is wrapped at words, and no command in it is broken, so that each can be copied.
func TestCommandsInALineAreNotBroken(t *testing.T) {
	for _, tt := range []struct{ line, want string }{
		{`Find them again: "heardiff results e35d2c9c6e87" (seed and session), "heardiff verify" (the newest head).` + "\n",
			"Find them again:\n\"heardiff results e35d2c9c6e87\" (seed\nand session), \"heardiff verify\" (the\nnewest head).\n"},
		{resumePrefix + "heardiff listen --plan 1 --listener L1 --study here\n", resumePrefix + "heardiff listen --plan 1 --listener L1 --study here\n"},
		{nextPrefix + "heardiff report --out report.html --study here\n", nextPrefix + "heardiff report --out report.html --study here\n"},
	} {
		if got := wrapLine(tt.line, 40); got != tt.want {
			t.Errorf("got\n%swant\n%s", got, tt.want)
		}
	}
}
