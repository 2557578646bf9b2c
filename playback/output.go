package playback

import "heardiff/playback/pcm"

// Source fills blocks of interleaved frames; Switcher is one. Fill may be called from any goroutine.
type Source interface {
	Rate() pcm.Rate
	Channels() int
	Fill(dst []float32)
}

// Opened describes the device as it was opened.
type Opened struct {
	Name string `json:"name"`
	// Rate is the rate at which the device runs, in Hz; 0 where unknown.
	Rate pcm.Rate `json:"rate_hz"`
	// Channels of the device, 0 where unknown.
	Channels int `json:"channels"`
	// Format is the device's sample format as its driver names it, "" where unknown.
	Format string `json:"format"`
	// Silent says that the output makes no sound: whoever answers has heard nothing.
	Silent bool `json:"silent"`
	// Notes say in plain sentences what is and is not known about the path to the device.
	Notes []string `json:"notes"`
}

// Output plays a Source. It pulls from the moment it is opened, so that silence precedes any sound.
type Output interface {
	// Opened describes the device as it was opened.
	Opened() Opened
	// Underruns returns how many times so far the source or the system was too late for the device.
	Underruns() int
	// Err returns why the output stopped: nil while it runs.
	Err() error
	// Close stops pulling and releases the device. After it returns, Fill is not called any more.
	Close() error
}
