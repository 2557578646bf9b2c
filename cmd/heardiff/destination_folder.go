package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"heardiff/playback/audiofile"
	"heardiff/trials/store/atomicfile"
	"heardiff/trials/study"
)

// folderDestination is where a command was asked to write several files: they are put in place together, under the rules
// of destination for each.
type folderDestination struct {
	named string
	path  string // with links followed
	files []folderFile
	there bool // the folder exists
}

// folderFile is one of the files that come into a folder.
type folderFile struct {
	name   string // may begin with a folder in the folder
	kind   outputKind
	exists bool
}

// folderDestination checks the folder in which the files are to be written.
func (a *app) folderDestination(dir string, files []folderFile) (folderDestination, error) {
	d := folderDestination{named: dir, files: files}
	info, err := os.Stat(dir)
	switch {
	case err == nil && !info.IsDir():
		return d, misusedf("%s: a file is there; name a folder", dir)
	case errors.Is(err, errNotFolder):
		return d, folderThere(dir)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return d, audiofile.Named(dir, err)
	}
	d.there = err == nil
	if d.path, err = atomicfile.Followed(dir); err != nil {
		return d, misused(err)
	}
	if study.OwnPlace(d.path) {
		return d, study.Blamed(study.Misuse, fmt.Errorf("%s is a place for a study's own files", dir), "name a folder elsewhere")
	}
	if !d.there {
		return d, nil
	}
	for i, f := range d.files {
		path := filepath.Join(dir, f.name)
		if _, err := os.Stat(filepath.Dir(path)); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		one, err := a.destination(path, f.kind)
		if err != nil {
			return d, err
		}
		if one.stream {
			return d, misusedf("%s is a pipe or a device; a file of that name is to be written", one.named)
		}
		d.files[i].exists = one.exists
	}
	return d, nil
}

// write puts the files that write makes in a folder in their places in one step, or none of them.
func (d folderDestination) write(write func(dir string) error) error {
	making, err := d.begin()
	if err != nil {
		return err
	}
	defer making.Discard()
	if err := write(making.Path); err != nil {
		return err
	}
	return d.commit(making)
}

// begin makes a folder for the files on their way, with the folders that they need in it.
func (d folderDestination) begin() (*atomicfile.Folder, error) {
	in := filepath.Dir(d.path)
	if d.there {
		in = d.path
	}
	atomicfile.Sweep(in)
	making, err := atomicfile.NewFolderWithParents(in)
	if err != nil {
		return nil, err
	}
	for _, f := range d.files {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(making.Path, f.name)), 0o777); err != nil {
			making.Discard()
			return nil, err
		}
	}
	return making, nil
}

// commit puts the files that were made in from in their places, or none of them.
func (d folderDestination) commit(from *atomicfile.Folder) error {
	defer from.Discard()
	var err error
	if d.there {
		err = d.putInPlace(from.Path)
	} else {
		err = from.Place(d.path)
	}
	if errors.Is(err, fs.ErrExist) {
		return study.Blamed(study.Misuse, fmt.Errorf("%s: something else wrote there meanwhile", d.named), "name another folder")
	}
	return err
}

// putInPlace moves the files. The files that they replace are kept until all are moved, and are put back if one cannot be.
func (d folderDestination) putInPlace(from string) (err error) {
	var undo []func() error
	defer func() {
		for i := len(undo) - 1; i >= 0 && err != nil; i-- {
			err = errors.Join(err, undo[i]())
		}
	}()
	move := func(old, new string) error {
		if err := atomicfile.Take(old, new); err != nil {
			return placed(new, err)
		}
		undo = append(undo, func() error { return os.Rename(new, old) })
		return nil
	}
	for _, f := range d.files {
		target := filepath.Join(d.path, f.name)
		unmake, err := atomicfile.MakeFolders(filepath.Dir(target))
		undo = append(undo, func() error { unmake(); return nil })
		if err != nil {
			return err
		}
		if f.exists {
			if err := move(target, filepath.Join(from, f.name+".old")); err != nil {
				return err
			}
		}
		if err := move(filepath.Join(from, f.name), target); err != nil {
			return err
		}
	}
	return nil
}

// placed names in an error the file that could not be put in its place, instead of the one on its way, of which nobody knows.
func placed(path string, err error) error {
	var l *os.LinkError
	if errors.As(err, &l) {
		return &fs.PathError{Op: "put in place", Path: path, Err: l.Err}
	}
	return err
}

// leaves refuses to replace what a command reads.
func (d folderDestination) leaves(inputs ...string) error {
	for _, f := range d.files {
		for _, in := range inputs {
			if sameFile(filepath.Join(d.path, f.name), in) {
				return misusedf("--out %s would replace %s, which is read", d.named, in)
			}
		}
	}
	return nil
}
