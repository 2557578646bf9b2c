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
