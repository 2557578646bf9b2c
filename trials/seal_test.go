package trials_test

import (
	"bytes"
	"crypto/ecdh"
	"crypto/rand"
	"errors"
	"testing"

	"heardiff/trials"
)

func TestSealHidesAndBinds(t *testing.T) {
	key, seed := trials.Key{1, 2, 3}, trials.Seed{9, 8, 7}
	sealed, err := key.Seal(seed, "s1")
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(sealed, seed[:8]) {
		t.Error("the seed is in the clear")
	}
	if got, err := key.Open(sealed, "s1"); err != nil || got != seed {
		t.Errorf("opened with error %v", err)
	}
	for name, open := range map[string]func() (trials.Seed, error){
		"another key":     func() (trials.Seed, error) { return trials.Key{}.Open(sealed, "s1") },
		"another session": func() (trials.Seed, error) { return key.Open(sealed, "s2") },
		"cut short":       func() (trials.Seed, error) { return key.Open(sealed[:5], "s1") },
		"a bit changed": func() (trials.Seed, error) {
			changed := bytes.Clone(sealed)
			changed[20] ^= 1
			return key.Open(changed, "s1")
		},
	} {
		if _, err := open(); !errors.Is(err, trials.ErrWrongKey) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSealToASiteOpensOnlyThere(t *testing.T) {
	site, err := ecdh.X25519().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	other, err := ecdh.X25519().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	seed := trials.Seed{4, 5, 6}
	sealed, err := trials.SealTo(site.PublicKey(), seed, "s1")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := trials.OpenWith(site, sealed, "s1"); err != nil || got != seed {
		t.Errorf("the site itself: %v", err)
	}
	for name, open := range map[string]func() (trials.Seed, error){
		"another site":    func() (trials.Seed, error) { return trials.OpenWith(other, sealed, "s1") },
		"another session": func() (trials.Seed, error) { return trials.OpenWith(site, sealed, "s2") },
		"cut short":       func() (trials.Seed, error) { return trials.OpenWith(site, sealed[:40], "s1") },
		"nothing":         func() (trials.Seed, error) { return trials.OpenWith(site, nil, "s1") },
	} {
		if _, err := open(); !errors.Is(err, trials.ErrWrongKey) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
