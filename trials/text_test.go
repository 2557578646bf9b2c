package trials

import (
	"strings"
	"testing"
)

// Names have 200 characters at the most, texts 1000.
func TestTextsHaveLimits(t *testing.T) {
	for n, ok := range map[int]bool{200: true, 201: false} {
		if err := CheckName("chain", strings.Repeat("é", n)); (err == nil) != ok {
			t.Errorf("a name of %d: %v", n, err)
		}
	}
	for n, ok := range map[int]bool{1000: true, 1001: false} {
		if err := CheckText("reason", strings.Repeat("é", n)); (err == nil) != ok {
			t.Errorf("a text of %d: %v", n, err)
		}
	}
}

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
