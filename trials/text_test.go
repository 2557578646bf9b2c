package trials

import "testing"

func TestCounted(t *testing.T) {
	for n, want := range map[int]string{0: "0 void trials", 1: "1 void trial", 2: "2 void trials"} {
		if got := Counted(n, "void trial"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := Counted(2, "entry"); got != "2 entries" {
		t.Error(got)
	}
}

// What is written as an exponent is read back.
func TestExponents(t *testing.T) {
	for _, n := range []int{1, 7, 12, 305} {
		if got := Lowered(Raised(n)); got != n {
			t.Errorf("%d: %q is read as %d", n, Raised(n), got)
		}
	}
}
