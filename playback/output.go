package playback

import "heardiff/playback/pcm"

// Source fills blocks of interleaved frames; Switcher is one. Fill may be called from any goroutine.
type Source interface {
	Rate() pcm.Rate
	Channels() int
	Fill(dst []float32)
}

// Opened says what an output got from the device.
type Opened struct {
	Name string `json:"name"`
	// Rate is what the device runs at, in Hz; 0 where it cannot be known.
	Rate pcm.Rate `json:"rate_hz"`
	// Channels of the device, 0 where unknown.
	Channels int `json:"channels"`
	// Format is the device's sample format in the words of its driver, "" where it cannot be known.
	Format string `json:"format"`
	// Silent says that nothing sounds there: whoever answers has heard nothing.
	Silent bool `json:"silent"`
	// Notes say what can and cannot be promised about the way to the device, in plain sentences.
	Notes []string `json:"notes"`
}

// Output plays a Source. It begins to pull as soon as it is opened, so that silence runs before any sound.
type Output interface {
	// Opened returns what the device gave.
	Opened() Opened
	// Underruns returns how many times so far the source or the system came too late for the device.
	Underruns() int
	// Err returns why the output stopped: nil while it runs.
	Err() error
	// Close stops pulling and releases the device. After it returns, Fill is not called any more.
	Close() error
}
