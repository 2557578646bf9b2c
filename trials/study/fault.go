package study

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"heardiff/playback/audiofile"
	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// Blame says whose an error is.
type Blame int

const (
	// Failure: it could not be done (disk, device, internal).
	Failure Blame = iota + 1
	// Misuse: what was asked for is wrong.
	Misuse
	// Rejection: an input cannot be used.
	Rejection
)

// Fault is an error that says whose it is and, where there is a mend, names it.
type Fault struct {
	Blame Blame
	Err   error
	Hint  string
}

// Error implements error.
func (f *Fault) Error() string { return f.Err.Error() }

// Unwrap lets errors.Is see the cause.
func (f *Fault) Unwrap() error { return f.Err }

// Misused marks err as a wrong request. A nil err stays nil.
func Misused(err error) error { return Blamed(Misuse, err, "") }

// Misusedf is Misused of a formatted message.
func Misusedf(format string, args ...any) error { return Misused(fmt.Errorf(format, args...)) }

// Rejected marks err as an input that cannot be used, with the mend in hint, or "". A nil err stays nil.
func Rejected(err error, hint string) error { return Blamed(Rejection, err, hint) }

// Blamed makes a Fault of err. A nil err stays nil.
func Blamed(b Blame, err error, hint string) error {
	if err == nil {
		return nil
	}
	return &Fault{Blame: b, Err: err, Hint: hint}
}

// Message returns what an error says. A temporary file, whose name means nothing to anybody, appears in it as the folder that it is in.
func Message(err error) string {
	var at *fs.PathError
	if !errors.As(err, &at) {
		return err.Error()
	}
	return strings.ReplaceAll(err.Error(), at.Path, atomicfile.Visible(at.Path))
}

// FaultOf returns the Fault that err is: audio that cannot be read is rejected, too.
func FaultOf(err error) (*Fault, bool) {
	var f *Fault
	var unread *audiofile.Error
	switch {
	case errors.As(err, &f):
		return f, true
	case errors.As(err, &unread):
		return &Fault{Rejection, err, unread.Hint()}, true
	}
	return nil, false
}

// isRejected reports whether err is about an input that cannot be used.
func isRejected(err error) bool {
	f, ok := FaultOf(err)
	return ok && f.Blame == Rejection
}

// InStudy marks an error about what is, or is not, in the study as rejected input.
func InStudy(err error) error {
	switch {
	case errors.Is(err, store.ErrExists):
		return Rejected(err, "")
	case errors.Is(err, store.ErrNotFound):
		return Rejected(err, `"heardiff study show" lists what is there`)
	}
	return err
}
