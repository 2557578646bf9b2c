// Package unasked keeps the libraries that draw the screen from asking the terminal for its background colour. They ask when
// the program starts, whatever it is to do, and wait five seconds for a terminal that does not answer. The screen speaks in
// weight, not in colour: it has no use for the answer.
//
// They ask no terminal that calls itself dumb. This package imports nothing that needs the package os, and so is initialised
// before all that do: of packages that are ready the first by name comes first (the Go specification, "Program
// initialization"), and "heardiff" sorts before "os". Whoever imports the libraries calls Restore once they are initialised.
package unasked

import "syscall"

var name, named = syscall.Getenv("TERM")

func init() {
	if named {
		_ = syscall.Setenv("TERM", "dumb") // where that fails the terminal is asked
	}
}

// Restore gives the terminal its own name back.
func Restore() {
	if named {
		_ = syscall.Setenv("TERM", name)
	}
}
