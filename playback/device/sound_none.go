//go:build !cgo || !linux

package device

import "heardiff/playback"

func openSound(string, playback.Source, Config) (playback.Output, error) { return nil, ErrNoSound }

func listSound() ([]Choice, error) { return nil, ErrNoSound }
