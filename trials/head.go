package trials

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"strings"
)

// ErrMisread is returned for the short form of a head in which a digit was misread, exchanged, omitted or added.
var ErrMisread = errors.New("the check digit does not agree: a digit was misread")

// The short form has shortDigits digits of the hash and a check digit, in groups of shortGroup.
const (
	shortDigits = 24
	shortGroup  = 5
)

// ShortHead returns the short form of a head (a SHA-256, hexadecimal), for reading out over the telephone: the hash as a
// number, modulo 10^24, and a check digit, in five groups of five digits. Forging another record with the same short form
// takes about 10^24 attempts. It returns "" if head is not such a hash.
func ShortHead(head string) string {
	raw, err := hex.DecodeString(head)
	if err != nil || len(raw) != sha256.Size {
		return ""
	}
	modulus := new(big.Int).Exp(big.NewInt(10), big.NewInt(shortDigits), nil)
	digits := fmt.Sprintf("%0*s", shortDigits, new(big.Int).Mod(new(big.Int).SetBytes(raw), modulus))
	digits += string(rune('0' + interim(digits)))
	var groups []string
	for ; digits != ""; digits = digits[shortGroup:] {
		groups = append(groups, digits[:shortGroup])
	}
	return strings.Join(groups, " ")
}

// IsHead reports whether said, a head written down in full or in its short form, with or without spaces, equals head. It
// returns ErrMisread for a short form whose check digit does not agree, and another error for what is neither form.
func IsHead(head, said string) (bool, error) {
	said = strings.Join(strings.Fields(strings.ReplaceAll(said, "-", " ")), "")
	if raw, err := hex.DecodeString(said); err == nil && len(raw) == sha256.Size {
		return strings.EqualFold(said, head), nil
	}
	if said == "" || strings.Trim(said, "0123456789") != "" {
		return false, fmt.Errorf("%q is not a head: 64 hexadecimal digits, or five groups of five decimal ones", said)
	}
	if len(said) != shortDigits+1 || interim(said) != 0 {
		return false, ErrMisread
	}
	return strings.ReplaceAll(ShortHead(head), " ", "") == said, nil
}

// damm is the table of a totally anti-symmetric quasigroup of order 10 (H. M. Damm, Total anti-symmetrische Quasigruppen,
// Marburg 2004): its check digit detects every single wrong digit and every exchange of two neighbours.
var damm = [10][10]byte{
	{0, 3, 1, 7, 5, 9, 8, 6, 4, 2},
	{7, 0, 9, 2, 1, 5, 4, 8, 6, 3},
	{4, 2, 0, 6, 8, 7, 1, 3, 5, 9},
	{1, 7, 5, 0, 9, 8, 3, 4, 2, 6},
	{6, 1, 2, 3, 0, 4, 5, 9, 7, 8},
	{3, 6, 7, 4, 2, 0, 9, 5, 8, 1},
	{5, 8, 6, 9, 7, 2, 0, 1, 3, 4},
	{8, 9, 4, 5, 3, 6, 2, 0, 1, 7},
	{9, 4, 3, 8, 6, 1, 7, 2, 0, 5},
	{2, 5, 8, 1, 4, 3, 6, 7, 9, 0},
}

// interim runs decimal digits through the table. For digits without a check digit the result is their check digit; for
// digits that end in theirs it is 0.
func interim(digits string) byte {
	at := byte(0)
	for _, d := range digits {
		at = damm[at][d-'0']
	}
	return at
}
