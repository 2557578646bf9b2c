package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"heardiff/measure/match"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
)

// writtenPair names the files of "compare --out".
type writtenPair struct {
	A              string  `json:"a"`
	B              string  `json:"b"`
	Residual       string  `json:"residual"`
	Audible        string  `json:"audible"`
	AudibleGainDB  float64 `json:"audible_gain_db"`
	ResidualPeakDB float64 `json:"residual_peak_dbfs"`
	// Changes says what was done to A and B alike.
	Changes []string `json:"changes"`
}

// pairNames are the files of a pair, in the order of match.Pair, then the louder residual.
var pairNames = [4]string{"a.wav", "b.wav", "residual.wav", "residual-louder.wav"}

// pairFits refuses a folder that already holds a pair, unless it may be replaced, before any work is done.
func pairFits(dir string, overwrite bool) error {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("--out %w", err)
	case !info.IsDir():
		return misusedf("--out %s: a file stands there; name a folder", dir)
	}
	for _, name := range pairNames {
		path := filepath.Join(dir, name)
		if _, err := os.Lstat(path); err == nil && !overwrite {
			return failed(exitUsage, fmt.Errorf("--out %s: %s is there already", dir, name), "--overwrite replaces it; or name another folder")
		}
	}
	return nil
}

// writePair writes the corrected pair in two passes, since the louder residual needs its peak first. The files are made
// in a folder of their own beside dir and then put in place together.
func writePair(dir string, a, b pcm.Reader, r match.Result, overwrite bool) (*writtenPair, error) {
	if err := os.MkdirAll(filepath.Dir(filepath.Clean(dir)), 0o777); err != nil {
		return nil, fmt.Errorf("--out %w", err)
	}
	making, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".pair-*")
	if err != nil {
		return nil, fmt.Errorf("--out %s: %w", dir, err)
	}
	defer os.RemoveAll(making)
	peak := 0.0
	corrected, err := match.Correct(a, b, r, func(p match.Pair) error { peak = max(peak, p.ResidualPeak()); return nil })
	if err != nil {
		return nil, err
	}
	gain := match.AudibleGainDB(peak)
	if err := writePairFiles(making, a, b, r, gain); err != nil {
		return nil, fmt.Errorf("--out %s: %w", dir, err)
	}
	if err := pairFits(dir, overwrite); err != nil { // somebody else may have been quicker
		return nil, err
	}
	if err := putInPlace(making, dir); err != nil {
		return nil, fmt.Errorf("--out %s: %w", dir, err)
	}
	at := func(i int) string { return filepath.Join(dir, pairNames[i]) }
	return &writtenPair{A: at(0), B: at(1), Residual: at(2), Audible: at(3), AudibleGainDB: gain, ResidualPeakDB: pcm.DB(peak), Changes: corrected.Changes}, nil
}

// putInPlace moves the files of a pair from one folder to another. What they replace is kept until all are there, and
// comes back if one cannot be moved.
func putInPlace(from, to string) (err error) {
	made := os.Mkdir(to, 0o777) == nil
	var undo []func() error
	defer func() {
		if err == nil {
			return
		}
		for i := len(undo) - 1; i >= 0; i-- {
			err = errors.Join(err, undo[i]())
		}
		if made {
			os.Remove(to)
		}
	}()
	move := func(old, new string) error {
		if err := os.Rename(old, new); err != nil {
			return err
		}
		undo = append(undo, func() error { return os.Rename(new, old) })
		return nil
	}
	for _, name := range pairNames {
		target := filepath.Join(to, name)
		if _, err := os.Lstat(target); err == nil {
			if err := move(target, filepath.Join(from, "old-"+name)); err != nil {
				return err
			}
		}
		if err := move(filepath.Join(from, name), target); err != nil {
			return err
		}
	}
	return nil
}

func writePairFiles(dir string, a, b pcm.Reader, r match.Result, gainDB float64) error {
	format := pcm.Format{Rate: a.Format().Rate, Channels: a.Format().Channels, Bits: 32, Float: true}
	var files []*wav.Writer
	for _, name := range pairNames {
		f, err := wav.Create(filepath.Join(dir, name), format, nil)
		if err != nil {
			return err
		}
		defer f.Abort() // after Close it does nothing
		files = append(files, f)
	}
	_, err := match.Correct(a, b, r, func(p match.Pair) error {
		for i, block := range [][][]float64{p.A, p.B, p.Residual, p.Louder(gainDB)} {
			if err := files[i].Write(block); err != nil {
				return err
			}
		}
		return nil
	})
	for _, f := range files {
		if err == nil {
			err = f.Close()
		}
	}
	return err
}
