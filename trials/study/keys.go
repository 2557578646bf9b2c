package study

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
	"runtime"

	"heardiff/trials"
	"heardiff/trials/store/atomicfile"
)

// KeyFolder returns where keys are kept: $HEARDIFF_KEYS, else the user's configuration folder. A folder within a study is refused: whoever
// has the study would then also have the key that seals its seeds.
func (h *Host) KeyFolder() (string, error) {
	dir := h.getenv("HEARDIFF_KEYS")
	if dir == "" {
		base, err := os.UserConfigDir()
		if err != nil {
			return "", fmt.Errorf("find a place for the key: %w: set HEARDIFF_KEYS to a folder outside the study", err)
		}
		dir = filepath.Join(base, "heardiff")
	}
	real, err := atomicfile.Followed(dir)
	if err != nil {
		return "", fmt.Errorf("find the keys: %w", err)
	}
	for d := real; ; d = filepath.Dir(d) {
		if HoldsStudy(d) {
			return "", Blamed(Misuse, fmt.Errorf("the keys in %s are within the study in %s: whoever has it could open what they seal", dir, d),
				"move them to a folder that goes nowhere with a study, and name it in HEARDIFF_KEYS")
		}
		if d == filepath.Dir(d) {
			return dir, nil
		}
	}
}

// warnOfReaders warns about a key that others than its owner can read, once per command.
func (h *Host) warnOfReaders(path string) {
	info, err := os.Stat(path)
	if err != nil || runtime.GOOS == "windows" || info.Mode().Perm()&0o077 == 0 || h.warned[path] {
		return
	}
	if h.warned == nil {
		h.warned = map[string]bool{}
	}
	h.warned[path] = true
	h.warn("%s can be read by others (mode %04o), who could open what it seals: chmod 600 it", path, info.Mode().Perm())
}

// sealKey returns the key that hides the seeds of this machine's sessions, and makes it on first use.
func (h *Host) sealKey() (trials.Key, error) {
	dir, err := h.KeyFolder()
	if err != nil {
		return trials.Key{}, err
	}
	path := filepath.Join(dir, "session.key")
	h.warnOfReaders(path)
	key, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeKey(path)
	}
	return key, err
}

// siteKey returns the key that signs this site's bundles, and makes it on first use.
func (h *Host) siteKey() (ed25519.PrivateKey, error) {
	dir, err := h.KeyFolder()
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, "site.key")
	h.warnOfReaders(path)
	seed, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) {
		seed, err = makeKey(path)
	}
	if err != nil {
		return nil, err
	}
	return ed25519.NewKeyFromSeed(seed[:]), nil
}

// SealingKey returns the key to which the sessions of this site's kits seal their seeds. It follows from the site's
// key, so that there is one file to keep.
func (h *Host) SealingKey() (*ecdh.PrivateKey, error) {
	site, err := h.siteKey()
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
	var key trials.Key
	data, err := atomicfile.ReadSmall(path, int64(len(key)))
	if errors.Is(err, atomicfile.ErrNotPlain) || err == nil && len(data) != len(key) {
		return key, fmt.Errorf("read the key: %s is not a file of %d bytes", path, len(key))
	}
	if err != nil {
		return key, fmt.Errorf("read the key: %w", err)
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
	atomicfile.Sweep(filepath.Dir(path))
	f, err := atomicfile.NewFile(filepath.Dir(path))
	if err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	defer f.Discard()
	if err := f.Chmod(0o600); err != nil { // before there is anything to read
		return key, fmt.Errorf("keep the key: %w", err)
	}
	if _, err := f.Write(key[:]); err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	// A second process may be making one too: the first to exist is the one that counts.
	err = f.Place(path, false)
	if errors.Is(err, fs.ErrExist) {
		return readKey(path)
	}
	if err != nil {
		return key, fmt.Errorf("keep the key: %w", err)
	}
	return key, nil
}
