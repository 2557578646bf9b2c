package link_test

import (
	"strings"
	"testing"

	"heardiff/trials/link"
)

// The risk of a wrong 'ruled out' over all rows is stated with them, in figures; with a single row there is nothing to add.
func TestTheRiskOfAnyRuledOutIsSaid(t *testing.T) {
	for _, c := range []struct {
		said link.FamilySummary
		want string
	}{
		{link.FamilySummary{Alpha: 0.05, Comparisons: 1, Listeners: 1}, "'Ruled out' is wrong with probability at most 0.05."},
		{link.FamilySummary{Alpha: 0.05, Comparisons: 3, Listeners: 1}, "of the 3 rows planned up to 0.14."},             // 1 − 0.95³ = 0.142625
		{link.FamilySummary{Alpha: 0.05, Comparisons: 2, Listeners: 4, Groups: 2}, "of the 14 rows planned up to 0.51."}, // 1 − 0.95¹⁴ = 0.51233
	} {
		if got := c.said.Words(); !strings.HasSuffix(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.said, got, c.want)
		}
	}
}
