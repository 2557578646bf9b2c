// Package atomicfile writes files and folders that appear in one step, complete or not at all.
//
// Until then they are temporaries in the same folder, locked by the process that makes them: Sweep removes those of killed processes
// and nothing else. Their permissions follow the process's umask, like those of any new file.
package atomicfile

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
)

const prefix = ".heardiff-"

// temporaries are the names of what Sweep may remove: those of this package, and of earlier versions.
var temporaries = regexp.MustCompile(`^\.(heardiff|incoming|kit|line)-[0-9a-f]+$`)

// audioPart are the names that audio files have until they are complete: see wav.Create.
var audioPart = regexp.MustCompile(`^\..+\.[0-9a-f]+\.part$`)

// claim holds a temporary for as long as this process lives; see claimed.
type claim struct{ file *os.File }

// release gives the claim up.
func (c claim) release() {
	if c.file != nil {
		c.file.Close()
	}
}

// temporary makes something new in dir with create, which returns fs.ErrExist for a name that is taken, and claims it.
func temporary(dir string, create func(path string) error) (string, claim, error) {
	for {
		var salt [8]byte
		rand.Read(salt[:]) // crypto/rand does not fail
		path := filepath.Join(dir, prefix+hex.EncodeToString(salt[:]))
		if err := create(path); errors.Is(err, fs.ErrExist) {
			continue
		} else if err != nil {
			return "", claim{}, inPlaceOf(err, dir)
		}
		c, ours, err := claimed(path, true)
		if err != nil {
			return "", claim{}, errors.Join(inPlaceOf(err, dir), os.RemoveAll(path))
		}
		if ours {
			return path, c, nil
		} // else it was swept between its making and the claim
	}
}

// inPlaceOf names dir in an error about a temporary in it, whose own name means nothing to a reader.
func inPlaceOf(err error, dir string) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return &fs.PathError{Op: "write in", Path: dir, Err: p.Err}
	}
	return err
}

// File is a file on its way to its place.
type File struct {
	*os.File
	claim claim
	done  bool
}

// NewFile makes an empty temporary file, for reading and writing, that will get its name in dir.
func NewFile(dir string) (*File, error) {
	f := &File{}
	var err error
	_, f.claim, err = temporary(dir, func(path string) (err error) {
		f.File, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		return err
	})
	if err != nil {
		if f.File != nil {
			f.File.Close()
		}
		return nil, err
	}
	return f, nil
}

// Place puts the file on disk and then at path, which must be on the same file system. Where something is there it returns
// fs.ErrExist, wrapped, unless it is to be replaced. Whatever fails, the file is gone.
func (f *File) Place(path string, replace bool) error {
	if err := f.Seal(); err != nil {
		return err
	}
	return f.Rename(path, replace)
}

// Seal puts the file on disk and closes it; it keeps its temporary name, and is removed if that fails.
func (f *File) Seal() error {
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		f.Discard()
		return inPlaceOf(err, filepath.Dir(f.Name()))
	}
	return nil
}

// Rename is Place of a file that was sealed.
func (f *File) Rename(path string, replace bool) error {
	defer f.Discard()
	if replace {
		if err := os.Rename(f.Name(), path); err != nil {
			return err
		}
	} else if err := Take(f.Name(), path); err != nil {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// Discard removes the file, unless it was put in its place. It can be deferred.
func (f *File) Discard() {
	if f.done {
		return
	}
	f.done = true
	f.Close()
	os.Remove(f.Name())
	f.claim.release()
}

// Take gives the file at from the name to, in the same folder. Where that name is taken it returns fs.ErrExist, wrapped, and
// changes nothing: of two processes that take a name at once, one has it.
func Take(from, to string) error {
	err := os.Link(from, to)
	switch {
	case err == nil:
		return os.Remove(from)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s: %w", to, fs.ErrExist)
	}
	// A file system without links. An existing file is noticed, unless it appears at this very moment.
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%s: %w", to, fs.ErrExist)
	}
	return os.Rename(from, to)
}

// Write puts what write writes at path, in place of what is there: all of it or nothing.
func Write(path string, write func(w io.Writer) error) error {
	f, err := NewFile(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer f.Discard()
	if err := write(f); err != nil {
		return err
	}
	return f.Place(path, true)
}

// Folder is a folder on its way to its place.
type Folder struct {
	// Path is the temporary folder.
	Path   string
	claim  claim
	unmake func() // removes the parents that were made for it
	done   bool
}

// NewFolder makes an empty temporary folder that will get its name in dir.
func NewFolder(dir string) (*Folder, error) {
	path, c, err := temporary(dir, func(path string) error { return os.Mkdir(path, 0o777) })
	if err != nil {
		return nil, err
	}
	return &Folder{Path: path, claim: c, unmake: func() {}}, nil
}

// NewFolderWithParents is NewFolder where dir and folders above it may be missing: they are made.
func NewFolderWithParents(dir string) (*Folder, error) {
	unmake, err := MakeFolders(dir)
	if err != nil {
		unmake()
		return nil, err
	}
	d, err := NewFolder(dir)
	if err != nil {
		unmake()
		return nil, err
	}
	d.unmake = unmake
	return d, nil
}

// Place puts the folder at path, in the folder for which it was made. An empty folder may be there; where anything else
// does, it returns fs.ErrExist, wrapped, and nothing is changed.
func (d *Folder) Place(path string) error {
	if info, err := os.Lstat(path); err == nil {
		if !info.IsDir() || os.Remove(path) != nil {
			return fmt.Errorf("%s: %w", path, fs.ErrExist)
		}
	}
	if err := os.Rename(d.Path, path); err != nil {
		return err
	}
	d.done = true
	d.claim.release()
	syncFolder(filepath.Dir(path))
	return nil
}

// Discard removes the folder and what is in it, and parents that were made for it if they are empty, unless it was put in its place. It
// can be deferred.
func (d *Folder) Discard() {
	if d.done {
		return
	}
	d.done = true
	os.RemoveAll(d.Path)
	d.claim.release()
	d.unmake()
}

// syncFolder puts a folder's list of names on disk, where the system can: the files in it are there already.
func syncFolder(dir string) {
	if f, err := os.Open(dir); err == nil {
		f.Sync()
		f.Close()
	}
}

// Visible returns the path, cut before the first temporary in it: the folder that a person knows.
func Visible(path string) string {
	visible := path
	for p := path; p != filepath.Dir(p); p = filepath.Dir(p) {
		if name := filepath.Base(p); temporaries.MatchString(name) || audioPart.MatchString(name) {
			visible = filepath.Dir(p)
		}
	}
	return visible
}

// Sweep removes from dir the temporaries of processes that are dead. What cannot be removed, as on read-only media, stays.
func Sweep(dir string) {
	folder, err := os.Open(dir)
	if err != nil {
		return
	}
	defer folder.Close()
	for {
		names, err := folder.Readdirnames(1000)
		for _, name := range names {
			if temporaries.MatchString(name) {
				sweepOne(filepath.Join(dir, name))
			}
		}
		if err != nil {
			return
		}
	}
}

func sweepOne(path string) {
	if info, err := os.Lstat(path); err != nil || !info.IsDir() && !info.Mode().IsRegular() {
		return
	}
	if c, ours, err := claimed(path, false); err == nil && ours {
		os.RemoveAll(path)
		c.release()
	}
}
