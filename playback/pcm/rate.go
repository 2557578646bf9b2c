// Package pcm holds audio in memory: rates, clips, blocks of frames, decibels and dither.
//
// Words and units used throughout the project:
//   - a sample is one number, a frame is one instant over all channels;
//   - full scale is ±1.0; a level in dBFS follows AES17, so that a full-scale sine reads 0 dBFS;
//   - audio is planar float64 (channel, then frame) inside the signal processing.
//
// The package is a leaf: it imports nothing of the project and opens no file.
package pcm

import (
	"math"
	"time"
)

// Rate is a sampling rate in Hz.
type Rate int

// Lowest and highest rate that heardiff accepts, in Hz (judgement, no source; TestDamageIsRefused holds them).
const (
	MinRate Rate = 8_000
	MaxRate Rate = 768_000
)

// MaxChannels is the largest number of channels that heardiff accepts (judgement, no source; TestDamageIsRefused holds it).
const MaxChannels = 8

// Valid reports whether r lies between MinRate and MaxRate.
func (r Rate) Valid() bool { return r >= MinRate && r <= MaxRate }

// Hz returns the rate as a float64, in Hz.
func (r Rate) Hz() float64 { return float64(r) }

// Frames returns the number of whole frames nearest to d.
func (r Rate) Frames(d time.Duration) int {
	return int(math.Round(d.Seconds() * float64(r)))
}

// Duration returns how long n frames last.
func (r Rate) Duration(n int) time.Duration {
	return time.Duration(math.Round(float64(n) / float64(r) * float64(time.Second)))
}

// Seconds returns how long n frames last, in seconds.
func (r Rate) Seconds(n int) float64 { return float64(n) / float64(r) }
