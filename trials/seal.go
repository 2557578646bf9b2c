package trials

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
)

// Key encrypts seeds while their sessions run. It is kept outside the study's folder, so that the folder alone does not
// reveal what is hidden.
type Key [32]byte

// String returns a fixed text: a key is never printed by accident.
func (Key) String() string { return "(key)" }

// Format writes String whatever the verb, numeric ones included.
func (k Key) Format(f fmt.State, _ rune) { fmt.Fprint(f, k.String()) }

// MarshalText writes String.
func (k Key) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// GoString is String, for %#v.
func (Key) GoString() string { return "(key)" }

// ErrWrongKey is returned by Open for a seed that was sealed with another key, or altered.
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

// Open decrypts what Seal made. It returns ErrWrongKey where it cannot.
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

// CheckSealingKey returns an error if raw is not a public key to which a seed can be sealed: it has another length, or is
// one of the few points of low order, with which everybody shares the same secret.
func CheckSealingKey(raw []byte) error {
	site, err := ecdh.X25519().NewPublicKey(raw)
	if err != nil {
		return fmt.Errorf("%d bytes are not a public key", len(raw))
	}
	// Any private key reveals such a point: a clamped key is a multiple of its order. ref: RFC 7748, section 6.1.
	any, err := ecdh.X25519().NewPrivateKey(bytes.Repeat([]byte{1}, 32))
	if err != nil {
		return err
	}
	if _, err := any.ECDH(site); err != nil {
		return errors.New("everybody could open what is sealed to it")
	}
	return nil
}

// SealTo encrypts a seed to another site's public key (X25519, then AES-256-GCM under a key by HKDF-SHA256), bound to the
// session's id: a session of a kit is sealed this way too, and only the site that owns the plan can open that seal.
func SealTo(site *ecdh.PublicKey, seed Seed, session string) ([]byte, error) {
	ephemeral, err := ecdh.X25519().GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	key, err := sharedKey(ephemeral, site, ephemeral.PublicKey(), site)
	if err != nil {
		return nil, err
	}
	sealed, err := key.Seal(seed, session)
	return append(ephemeral.PublicKey().Bytes(), sealed...), err
}

// OpenWith decrypts what SealTo made. It returns ErrWrongKey where it cannot.
func OpenWith(site *ecdh.PrivateKey, sealed []byte, session string) (Seed, error) {
	const publicSize = 32
	if len(sealed) < publicSize {
		return Seed{}, ErrWrongKey
	}
	ephemeral, err := ecdh.X25519().NewPublicKey(sealed[:publicSize])
	if err != nil {
		return Seed{}, ErrWrongKey
	}
	key, err := sharedKey(site, ephemeral, ephemeral, site.PublicKey())
	if err != nil {
		return Seed{}, ErrWrongKey
	}
	return key.Open(sealed[publicSize:], session)
}

func sharedKey(own *ecdh.PrivateKey, other, ephemeral, site *ecdh.PublicKey) (Key, error) {
	secret, err := own.ECDH(other)
	if err != nil {
		return Key{}, fmt.Errorf("seal: %w", err)
	}
	raw, err := hkdf.Key(sha256.New, secret, append(ephemeral.Bytes(), site.Bytes()...), "heardiff seed", len(Key{}))
	if err != nil {
		return Key{}, fmt.Errorf("seal: %w", err)
	}
	return Key(raw), nil
}
