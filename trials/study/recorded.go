package study

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"heardiff/playback/audiofile"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
)

// recordedHint is what to do about a file of the study that is not what was recorded.
const recordedHint = `put the file back as it was added; "heardiff verify" names every one that was changed`

// foundRight remembers the files whose content this command found to be what was recorded, so that each is read through
// once for that. A file that was replaced or written to since is looked at again.
type foundRight struct {
	mu    sync.Mutex
	files map[string]os.FileInfo // by path and SHA-256
}

// has reports whether the file was found right and is still the same; nil has none.
func (f *foundRight) has(key string, now os.FileInfo) bool {
	if f == nil {
		return false
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	then, ok := f.files[key]
	return ok && unchanged(then, now)
}

func (f *foundRight) add(key string, info os.FileInfo) {
	if f == nil {
		return
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.files == nil {
		f.files = map[string]os.FileInfo{}
	}
	f.files[key] = info
}

func unchanged(then, now os.FileInfo) bool {
	return os.SameFile(then, now) && then.Size() == now.Size() && then.ModTime().Equal(now.ModTime())
}

// CheckRecorded refuses a file of the study whose content is not what was recorded: captures that were exchanged, or an
// excerpt that was edited, would be measured and heard under a wrong name.
func (s *Study) CheckRecorded(ctx context.Context, f RecordedFile) (os.FileInfo, error) {
	path := s.Path(f.Path)
	key := f.Sum + " " + path
	info, err := os.Stat(path)
	if err != nil {
		return nil, Rejected(audiofile.Named(path, err), recordedHint)
	}
	if s.right.has(key, info) {
		return info, nil
	}
	sum, err := HashUntil(ctx, path)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, Rejected(audiofile.Named(path, err), recordedHint)
	case sum != f.Sum:
		return nil, Rejected(fmt.Errorf("%s is not the audio that was recorded under this name: it was changed, or exchanged for another", f.Path), recordedHint)
	}
	s.right.add(key, info)
	return info, nil
}

// OpenRecorded opens audio of the study that is what was recorded.
func (s *Study) OpenRecorded(ctx context.Context, f RecordedFile) (audiofile.File, error) {
	was, err := s.CheckRecorded(ctx, f)
	if err != nil {
		return nil, err
	}
	audio, err := audiofile.Open(ctx, s.Path(f.Path))
	if err != nil {
		return nil, err
	}
	if now, err := os.Stat(s.Path(f.Path)); err != nil || !unchanged(was, now) {
		audio.Close()
		return nil, Rejected(fmt.Errorf("%s was changed while it was being read", f.Path), recordedHint)
	}
	return audio, nil
}

func HashFile(path string) (string, error) { return HashUntil(context.Background(), path) }

// HashUntil returns the SHA-256 of a file, unless ctx ends first.
func HashUntil(ctx context.Context, path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	return HashOf(ctx, f)
}

// HashOf returns the SHA-256 of what r holds, unless ctx ends first.
func HashOf(ctx context.Context, r io.Reader) (string, error) {
	h := sha256.New()
	if _, err := io.Copy(h, UntilDone{ctx, r}); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// UntilDone is a reader that ends with ctx.
type UntilDone struct {
	Ctx context.Context
	io.Reader
}

// Read implements io.Reader.
func (r UntilDone) Read(p []byte) (int, error) {
	if err := r.Ctx.Err(); err != nil {
		return 0, err
	}
	return r.Reader.Read(p)
}

// PlaceAudio puts audio at a path within the study and records it, both or neither, while no other process does the same.
// What stands there without a record was left by a process that was killed in between, and makes room. It returns
// store.ErrExists, wrapped, where the path is taken.
func (s *Study) PlaceAudio(ctx context.Context, relative string, place func(path string) error, record func() error) error {
	release, err := whole.Hold(ctx, s.Path("audio"))
	if err != nil {
		return fmt.Errorf("wait for the audio folder: %w", err)
	}
	defer release()
	taken, err := s.HasRecord(ctx, relative)
	if err != nil {
		return err
	}
	if taken {
		return fmt.Errorf("%s: %w", relative, store.ErrExists)
	}
	path := s.Path(relative)
	if err := removeUnrecorded(path); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return fmt.Errorf("make the audio folder: %w", err)
	}
	if err := place(path); err != nil {
		return fmt.Errorf("move into the study: %w", err)
	}
	if err := record(); err != nil {
		// It may have been recorded all the same, by a server whose answer was lost: only what is known to have no record goes.
		if taken, asked := s.HasRecord(context.WithoutCancel(ctx), relative); asked == nil && !taken {
			return errors.Join(err, removeUnrecorded(path))
		}
		return err
	}
	return nil
}

// DropAudio removes audio that the record names no more, unless another process has just put it there again.
func (s *Study) DropAudio(ctx context.Context, relative string) error {
	release, err := whole.Hold(ctx, s.Path("audio"))
	if err != nil {
		return fmt.Errorf("wait for the audio folder: %w", err)
	}
	defer release()
	if taken, err := s.HasRecord(ctx, relative); err != nil || taken {
		return err
	}
	return removeUnrecorded(s.Path(relative))
}

// HasRecord reports whether the record names the path, or a file below it.
func (s *Study) HasRecord(ctx context.Context, relative string) (bool, error) {
	files, err := s.RecordedFiles(ctx)
	for _, f := range files {
		if f.Path == relative || strings.HasPrefix(f.Path, relative+"/") {
			return true, nil
		}
	}
	return false, err
}

// removeUnrecorded removes an audio file, or a folder of them, that no record names. A folder that holds anything else is left,
// and named.
func removeUnrecorded(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return os.Remove(path)
	}
	all, err := os.ReadDir(path)
	if err != nil {
		return err
	}
	for _, e := range all {
		if !e.Type().IsRegular() || filepath.Ext(e.Name()) != ".wav" {
			return Rejected(fmt.Errorf("%s holds %s, which heardiff did not put there", path, e.Name()), "move it elsewhere")
		}
	}
	return os.RemoveAll(path)
}

// RecordedFile is a file of the study and the hash it must have.
type RecordedFile struct{ Path, Sum string }

func (s *Study) RecordedFiles(ctx context.Context) ([]RecordedFile, error) {
	var all []RecordedFile
	captures, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range captures {
		all = append(all, RecordedFile{c.Path, c.SHA256})
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range excerpts {
		for _, p := range e.Presentations {
			all = append(all, RecordedFile{p.Path, p.SHA256})
		}
	}
	return all, nil
}
