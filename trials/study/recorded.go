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
	"heardiff/trials/store/atomicfile"
)

// recordedHint is the remedy for a file of the study that is not what was recorded.
func recordedHint() Phrase {
	return phrasef("put the file back as it was added; %v names every one that was changed", call(ToVerify))
}

// foundRight remembers the files whose content this command found to be what was recorded, so that each is read only once for this check. A
// file that was replaced or written to since is looked at again.
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

// checkRecorded refuses a file of the study whose content is not what was recorded: captures that were exchanged, or an
// excerpt that was edited, would be measured and heard under a wrong name.
func (s *Study) checkRecorded(ctx context.Context, f recordedFile) (os.FileInfo, error) {
	path := s.Path(f.path)
	key := f.sum + " " + path
	info, err := os.Stat(path)
	if err != nil {
		return nil, advised(Rejection, audiofile.Named(path, err), recordedHint())
	}
	if s.right.has(key, info) {
		return info, nil
	}
	sum, err := hashUntil(ctx, path)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, advised(Rejection, audiofile.Named(path, err), recordedHint())
	case sum != f.sum:
		return nil, advised(Rejection, fmt.Errorf("%s is not the audio that was recorded under this name: it was changed, or exchanged for another", f.path), recordedHint())
	}
	s.right.add(key, info)
	return info, nil
}

// openRecorded opens audio of the study after checking that it is what was recorded.
func (s *Study) openRecorded(ctx context.Context, f recordedFile) (audiofile.File, error) {
	was, err := s.checkRecorded(ctx, f)
	if err != nil {
		return nil, err
	}
	audio, err := audiofile.Open(ctx, s.Path(f.path))
	if err != nil {
		return nil, err
	}
	if now, err := os.Stat(s.Path(f.path)); err != nil || !unchanged(was, now) {
		audio.Close()
		return nil, advised(Rejection, fmt.Errorf("%s was changed while it was being read", f.path), recordedHint())
	}
	return audio, nil
}

func hashFile(path string) (string, error) { return hashUntil(context.Background(), path) }

// hashUntil returns the SHA-256 of a file, unless ctx ends first.
func hashUntil(ctx context.Context, path string) (string, error) {
	f, err := atomicfile.OpenRegular(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	return HashOf(ctx, f)
}

// HashOf returns the SHA-256 of what r holds, unless ctx ends first.
func HashOf(ctx context.Context, r io.Reader) (string, error) {
	h := sha256.New()
	if _, err := io.Copy(h, untilDone{ctx, r}); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// untilDone is a reader that ends with ctx.
type untilDone struct {
	ctx context.Context
	io.Reader
}

// Read implements io.Reader.
func (r untilDone) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.Reader.Read(p)
}

// placeAudio puts audio at a path within the study and records it, both or neither, while no other process does the same. A file there
// without a record was left by a process that was killed in between, and is replaced. It returns store.ErrExists, wrapped, where the path
// is taken.
func (s *Study) placeAudio(ctx context.Context, relative string, place func(path string) error, record func() error) error {
	release, err := atomicfile.Hold(ctx, s.Path("audio"))
	if err != nil {
		return fmt.Errorf("wait for the audio folder: %w", err)
	}
	defer release()
	taken, err := s.hasRecord(ctx, relative)
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
		// It may have been recorded all the same, by a server whose reply was lost: it is removed only if it is known to have no record.
		if taken, asked := s.hasRecord(context.WithoutCancel(ctx), relative); asked == nil && !taken {
			return errors.Join(err, removeUnrecorded(path))
		}
		return err
	}
	return nil
}

// dropAudio removes audio that the record no longer names, unless another process has just put it there again.
func (s *Study) dropAudio(ctx context.Context, relative string) error {
	release, err := atomicfile.Hold(ctx, s.Path("audio"))
	if err != nil {
		return fmt.Errorf("wait for the audio folder: %w", err)
	}
	defer release()
	if taken, err := s.hasRecord(ctx, relative); err != nil || taken {
		return err
	}
	return removeUnrecorded(s.Path(relative))
}

// hasRecord reports whether the record names the path, or a file below it.
func (s *Study) hasRecord(ctx context.Context, relative string) (bool, error) {
	files, err := s.recordedFiles(ctx)
	for _, f := range files {
		if f.path == relative || strings.HasPrefix(f.path, relative+"/") {
			return true, nil
		}
	}
	return false, err
}

// removeUnrecorded removes an audio file, or a folder of them, that no record names. A folder that holds anything else is left in place,
// and the error names it.
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
			return Rejected(fmt.Errorf("%s holds %s, which no study put there", path, e.Name()), "move it elsewhere")
		}
	}
	return os.RemoveAll(path)
}

// recordedFile is a file of the study and the hash it must have.
type recordedFile struct{ path, sum string }

func (s *Study) recordedFiles(ctx context.Context) ([]recordedFile, error) {
	var all []recordedFile
	captures, err := s.Captures(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range captures {
		all = append(all, recordedFile{c.Path, c.SHA256})
	}
	excerpts, err := s.Excerpts(ctx)
	if err != nil {
		return nil, err
	}
	for _, e := range excerpts {
		for _, p := range e.Presentations {
			all = append(all, recordedFile{p.Path, p.SHA256})
		}
	}
	return all, nil
}
