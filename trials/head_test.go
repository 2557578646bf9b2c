package trials

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math/big"
	"strings"
	"testing"
)

// The worked example of the check digit: 572 has 4 (published with the method; from memory).
func TestCheckDigitOfTheWorkedExample(t *testing.T) {
	if interim("572") != 4 || interim("5724") != 0 {
		t.Errorf("572 has the check digit %d", interim("572"))
	}
}

func head(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

func TestShortHeadIsTheHashAsANumber(t *testing.T) {
	for _, text := range []string{"", "abc", "another"} {
		full := head(text)
		short := ShortHead(full)
		n, _ := new(big.Int).SetString(full, 16)
		digits := strings.ReplaceAll(short, " ", "")
		if !strings.HasSuffix(n.String(), digits[:24]) || len(strings.Fields(short)) != 5 || len(digits) != 25 {
			t.Errorf("%s: %q", full, short)
		}
		for _, said := range []string{full, strings.ToUpper(full), short, digits, strings.ReplaceAll(short, " ", "-"), " " + short + "\n"} {
			if same, err := IsHead(full, said); !same || err != nil {
				t.Errorf("%q of %s: %v, %v", said, full, same, err)
			}
			if same, err := IsHead(head("no such text"), said); same || err != nil {
				t.Errorf("%q of another head: %v, %v", said, same, err)
			}
		}
	}
}

// Every single wrong digit and every exchange of neighbours is reported as misread, not as another head.
func TestMisreadDigitsAreFound(t *testing.T) {
	full := head("x")
	digits := strings.ReplaceAll(ShortHead(full), " ", "")
	refused := func(said string) {
		t.Helper()
		if _, err := IsHead(full, said); !errors.Is(err, ErrMisread) {
			t.Errorf("%s: error %v", said, err)
		}
	}
	for i := range digits {
		for d := byte('0'); d <= '9'; d++ {
			if d != digits[i] {
				refused(digits[:i] + string(d) + digits[i+1:])
			}
		}
		if i > 0 && digits[i] != digits[i-1] {
			refused(digits[:i-1] + digits[i:i+1] + digits[i-1:i] + digits[i+1:])
		}
		refused(digits[:i] + digits[i+1:])
	}
	for _, said := range []string{"", "abc", full[:63], full + "0"} {
		if _, err := IsHead(full, said); err == nil {
			t.Errorf("%q is accepted as a head", said)
		}
	}
	if ShortHead("") != "" || ShortHead(full[:20]) != "" {
		t.Error("a short form of something that is not a hash")
	}
}
