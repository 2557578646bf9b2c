package study

import (
	"os"
	"time"
)

// Host is the program around a study. The zero Host shows nothing and uses the system's clock and environment. A Host may be shared by
// several studies, but not by several goroutines.
type Host struct {
	Now    func() time.Time
	Getenv func(name string) string
	// Program is the name and version of the program, which bundles carry; "" where a script does not say.
	Program string
	// Warn is given a sentence that a person should read.
	Warn func(Phrase)
	// Progress is given what is being done, and returns a function that is then called with the fraction done, 0 to 1.
	Progress func(what string) func(done float64)

	right  foundRight
	warned map[string]bool // keys about which a warning was given
}

func (h *Host) now() time.Time {
	if h.Now == nil {
		return time.Now()
	}
	return h.Now()
}

func (h *Host) getenv(name string) string {
	if h.Getenv == nil {
		return os.Getenv(name)
	}
	return h.Getenv(name)
}

func (h *Host) warn(format string, args ...any) {
	if h.Warn != nil {
		h.Warn(phrasef(format, args...))
	}
}

func (h *Host) progress(what string) func(done float64) {
	if h.Progress == nil {
		return func(float64) {}
	}
	return h.Progress(what)
}
