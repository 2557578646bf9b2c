package stats_test

import (
	"testing"

	"heardiff/stats"
)

// Every value of an enumeration is read back from its name; another name is refused with those that there are, and a value that is not one
// of them prints as a number.
func TestNamesAreReadBack(t *testing.T) {
	for b := stats.OBrienFleming; b <= stats.Pocock; b++ {
		if got, err := stats.ParseBoundary(b.String()); err != nil || got != b {
			t.Errorf("%s is read as %s, %v", b, got, err)
		}
	}
	for s := stats.Weibull; s <= stats.Normal; s++ {
		if got, err := stats.ParseShape(s.String()); err != nil || got != s {
			t.Errorf("%s is read as %s, %v", s, got, err)
		}
	}
	_, noBoundary := stats.ParseBoundary("fence")
	_, noShape := stats.ParseShape("square")
	for _, c := range []struct {
		err  error
		want string
	}{
		{noBoundary, `stats: boundary "fence": obrien-fleming or pocock is wanted`},
		{noShape, `stats: shape "square": weibull, logistic or normal is wanted`},
	} {
		if c.err == nil || c.err.Error() != c.want {
			t.Errorf("%v, want %s", c.err, c.want)
		}
	}
	if got := stats.Shape(9).String(); got != "shape 9" {
		t.Errorf("an unknown shape is %q", got)
	}
}
