package main

import (
	"crypto/ecdh"
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"heardiff/trials"
)

// keyFolder returns where keys are kept: $HEARDIFF_KEYS, else the user's configuration folder. It is never the
// study's own folder.
func (a *app) keyFolder() (string, error) {
	if dir := a.getenv("HEARDIFF_KEYS"); dir != "" {
		return dir, nil
	}
	base, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("find a place for the key: %w: set HEARDIFF_KEYS to a folder outside the study", err)
	}
	return filepath.Join(base, "heardiff"), nil
}

// sealKey returns the key that hides the seeds of this machine's sessions, and makes it on first use.
func (a *app) sealKey() (trials.Key, error) {
	dir, err := a.keyFolder()
	if err != nil {
		return trials.Key{}, err
	}
	path := filepath.Join(dir, "session.key")
	key, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeKey(path)
	}
	return key, err
}

// siteKey returns the key that signs this site's bundles, and makes it on first use.
func (a *app) siteKey() (ed25519.PrivateKey, error) {
	dir, err := a.keyFolder()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, "site.key")
	seed, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) {
		seed, err = makeKey(path)
	}
	if err != nil {
		return nil, err
	}
	return ed25519.NewKeyFromSeed(seed[:]), nil
}

// sealingKey returns the key to which the sessions of this site's kits seal their seeds. It follows from the site's
// key, so that there is one file to keep.
func (a *app) sealingKey() (*ecdh.PrivateKey, error) {
	site, err := a.siteKey()
	if err != nil {
		return nil, err
	}
	raw, err := hkdf.Key(sha256.New, site.Seed(), nil, "heardiff sealing key", 32)
	if err != nil {
		return nil, fmt.Errorf("make the sealing key: %w", err)
	}
	return ecdh.X25519().NewPrivateKey(raw)
}

func readKey(path string) (trials.Key, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return trials.Key{}, fmt.Errorf("read the key: %w", err)
	}
	if len(data) != len(trials.Key{}) {
		return trials.Key{}, fmt.Errorf("read the key: %s holds %d bytes, not %d", path, len(data), len(trials.Key{}))
	}
	return trials.Key(data), nil
}

func makeKey(path string) (trials.Key, error) {
	var key trials.Key
	if _, err := rand.Read(key[:]); err != nil {
		return key, fmt.Errorf("make a key: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".key-*")
	if err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(key[:])
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	// A second process may be making one too: the first to exist is the one that counts, and a link appears whole.
	err = os.Link(f.Name(), path)
	if errors.Is(err, fs.ErrExist) {
		return readKey(path)
	}
	if err != nil { // a file system without links
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	return key, nil
}
