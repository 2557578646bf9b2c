package trials

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"errors"
	"fmt"
)

// Key encrypts seeds while their sessions run. It is kept outside the study's folder, so that nobody who has the
// folder can read what is hidden.
type Key [32]byte

// String returns a fixed text: a key is never printed by accident.
func (Key) String() string { return "(key)" }

// Format writes String under every verb, the numeric ones too.
func (k Key) Format(f fmt.State, _ rune) { fmt.Fprint(f, k.String()) }

// MarshalText writes String.
func (k Key) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// GoString is String, for %#v.
func (Key) GoString() string { return "(key)" }

// ErrWrongKey is returned by Open for a seed that was sealed with another key, or changed.
var ErrWrongKey = errors.New("the seed was sealed with another key")

// Seal encrypts a seed with AES-256-GCM, bound to the session's id.
func (k Key) Seal(seed Seed, session string) ([]byte, error) {
	gcm, err := k.gcm()
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, gcm.NonceSize())
	if _, err := rand.Read(nonce); err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	return gcm.Seal(nonce, nonce, seed[:], []byte(session)), nil
}

// Open decrypts what Seal made. It returns ErrWrongKey where that cannot be done.
func (k Key) Open(sealed []byte, session string) (Seed, error) {
	gcm, err := k.gcm()
	if err != nil {
		return Seed{}, err
	}
	if len(sealed) < gcm.NonceSize() {
		return Seed{}, ErrWrongKey
	}
	plain, err := gcm.Open(nil, sealed[:gcm.NonceSize()], sealed[gcm.NonceSize():], []byte(session))
	if err != nil || len(plain) != len(Seed{}) {
		return Seed{}, ErrWrongKey
	}
	return Seed(plain), nil
}

func (k Key) gcm() (cipher.AEAD, error) {
	block, err := aes.NewCipher(k[:])
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	return cipher.NewGCM(block)
}
