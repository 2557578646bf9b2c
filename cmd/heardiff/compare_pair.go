package main

import (
	"fmt"
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

// pairDestination checks the folder for a pair.
func (a *app) pairDestination(dir string) (folderDestination, error) {
	var files []folderFile
	for _, name := range pairNames {
		files = append(files, folderFile{name: name, kind: wavFile})
	}
	return a.folderDestination(dir, files)
}

// writePair writes the corrected pair in two passes, since the louder residual needs its peak first.
func (d folderDestination) writePair(a, b pcm.Reader, r match.Result) (*writtenPair, error) {
	peak := 0.0
	corrected, err := match.Correct(a, b, r, func(p match.Pair) error { peak = max(peak, p.ResidualPeak()); return nil })
	if err != nil {
		return nil, err
	}
	gain := match.AudibleGainDB(peak)
	if err := d.write(func(dir string) error { return writePairFiles(dir, a, b, r, gain) }); err != nil {
		return nil, fmt.Errorf("--out %s: %w", d.named, err)
	}
	at := func(i int) string { return filepath.Join(d.named, pairNames[i]) }
	return &writtenPair{A: at(0), B: at(1), Residual: at(2), Audible: at(3), AudibleGainDB: gain, ResidualPeakDB: pcm.DB(peak), Changes: corrected.Changes}, nil
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
