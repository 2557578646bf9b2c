package study

import (
	"context"
	"io"
	"os"
	"path/filepath"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/stats/wire"
	"heardiff/trials/store/atomicfile"
)

// comparer compares the presentations of a study and remembers the results. A comparison takes seconds and depends on the samples and on
// this program alone, so a result is kept in the user's cache under the hashes of all three: another version compares anew. The study's
// folder is left as it is.
type comparer struct {
	study *Study
	dir   string // of what is remembered; "" where nothing is
}

func (s *Study) comparer() comparer {
	c := comparer{study: s}
	base := s.cacheDir()
	program, err := os.Executable()
	if base == "" || err != nil {
		return c
	}
	if hash, err := hashFile(program); err == nil {
		c.dir = filepath.Join(base, "heardiff", "compared-"+hash[:16])
	}
	return c
}

// maxCompared is the largest remembered result that is read; results have a few kilobytes.
const maxCompared = 4 << 20

// compare compares two prepared files.
func (c comparer) compare(ctx context.Context, first, second Presentation) (match.Result, error) {
	var r match.Result
	// A remembered result belongs to hashes: the files in the folder must have them now, whether a result is remembered or not.
	for _, p := range []Presentation{first, second} {
		if _, err := c.study.checkRecorded(ctx, recordedFile{path: p.Path, sum: p.SHA256}); err != nil {
			return r, err
		}
	}
	kept := filepath.Join(c.dir, first.SHA256+"-"+second.SHA256+".json")
	if c.dir != "" {
		if data, err := atomicfile.ReadSmall(kept, maxCompared); err == nil && wire.Unmarshal(data, &r) == nil && r.Schema == match.Schema {
			return r, nil
		}
	}
	fa, err := c.study.openRecorded(ctx, recordedFile{path: first.Path, sum: first.SHA256})
	if err != nil {
		return r, err
	}
	defer fa.Close()
	fb, err := c.study.openRecorded(ctx, recordedFile{path: second.Path, sum: second.SHA256})
	if err != nil {
		return r, err
	}
	defer fb.Close()
	if r, err = match.Compare(pcm.Until(ctx, fa, nil), fb); err != nil {
		return r, err
	}
	if c.dir != "" {
		c.keep(kept, r)
	}
	return r, nil
}

// keep writes to the cache, and first removes what another version left there; a cache that cannot be written costs time and nothing else.
func (c comparer) keep(path string, r match.Result) {
	if _, err := os.Stat(c.dir); err != nil {
		others, _ := filepath.Glob(filepath.Join(filepath.Dir(c.dir), "compared-*"))
		for _, other := range others {
			_ = os.RemoveAll(other)
		}
	}
	data, err := wire.Marshal(r)
	if err != nil || os.MkdirAll(c.dir, 0o700) != nil {
		return
	}
	_ = atomicfile.Write(path, func(w io.Writer) error {
		_, err := w.Write(append(data, '\n'))
		return err
	})
}

// cacheDir is the user's cache folder, by the XDG Base Directory Specification; "" if there is none.
func (h *Host) cacheDir() string {
	if dir := h.getenv("XDG_CACHE_HOME"); dir != "" {
		return dir
	}
	if home := h.getenv("HOME"); home != "" {
		return filepath.Join(home, ".cache")
	}
	return ""
}
