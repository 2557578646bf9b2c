package screen

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"heardiff/trials"
)

// The replies of a plain session, by their first words; what follows "done" is the summary.
var replies = []string{"ready", "playing", "stopped", "region", "asked", "saved", "refused", "resting", "done", "error", "help", "the end"}

// FuzzPlain: whatever is typed, each line gets one line whose first word is fixed, and nothing panics.
func FuzzPlain(f *testing.F) {
	f.Add("a\nb\nx\nanswer a 4\nconfirm\nregion 0 1\nregion all\nvoid noise\nrest\nrest\nhelp\nno\nstop\nquit\n")
	f.Add("answer\nregion NaN 1e999\nanswer different\nvoid\n\x1b[2J\n1\n2\n")
	f.Fuzz(func(t *testing.T, typed string) {
		for _, d := range []trials.Design{trials.ABX, trials.SameDifferent} {
			var out bytes.Buffer
			if err := Plain(context.Background(), newSeat(t, d, 2, trials.Seed{1}), strings.NewReader(typed), &out); err != nil && !strings.Contains(err.Error(), "token too long") {
				t.Fatal(err)
			}
			for line := range strings.Lines(out.String()) {
				known := false
				for _, r := range replies {
					known = known || strings.HasPrefix(line, r) || strings.HasPrefix(line, " ")
				}
				if !known {
					t.Errorf("%q: %q", typed, line)
				}
			}
		}
	})
}
