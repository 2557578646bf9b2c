package study

import (
	"errors"
	"io/fs"
	"strings"

	"heardiff/playback/audiofile"
	"heardiff/trials"
	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// Blame says who or what is to blame for an error.
type Blame int

const (
	// Failure: it could not be done (disk, device, internal).
	Failure Blame = iota + 1
	// Misuse: what was asked for is wrong.
	Misuse
	// Rejection: an input cannot be used.
	Rejection
)

// Fault is an error with its Blame and, if there is one, the remedy.
type Fault struct {
	Blame Blame
	Err   error
	Hint  Phrase
}

// Error implements error.
func (f *Fault) Error() string { return f.Err.Error() }

// Unwrap lets errors.Is see the cause.
func (f *Fault) Unwrap() error { return f.Err }

// Misused marks err as a wrong request. A nil err stays nil.
func Misused(err error) error { return Blamed(Misuse, err, "") }

// misusedf is Misused for a phrase.
func misusedf(format string, args ...any) error {
	return Misused(&PhrasedError{phrasef(format, args...)})
}

// checkText refuses an option whose text cannot be kept.
func checkText(o Option, text string) error { return ofOption(o, trials.CheckText(string(o), text)) }

// ofOption makes a misuse of an error that begins with the name of the option. A nil err stays nil.
func ofOption(o Option, err error) error {
	if err == nil {
		return nil
	}
	return misusedf("%v%s", o, strings.TrimPrefix(err.Error(), string(o)))
}

// Rejected marks err as an input that cannot be used, with the remedy in hint, or "". A nil err stays nil.
func Rejected(err error, hint string) error { return Blamed(Rejection, err, hint) }

// Blamed makes a Fault of err. A nil err stays nil.
func Blamed(b Blame, err error, hint string) error { return advised(b, err, phrasef("%s", hint)) }

// advised makes a Fault of err whose remedy may name options and calls. A nil err stays nil.
func advised(b Blame, err error, hint Phrase) error {
	if err == nil {
		return nil
	}
	return &Fault{Blame: b, Err: err, Hint: hint}
}

// Message returns the text of an error in the words of a vocabulary. A temporary file, whose name means nothing to a reader, is replaced by
// the folder that it is in.
func Message(err error, v Vocabulary) string {
	var at *fs.PathError
	if !errors.As(err, &at) {
		return inWords(err, v)
	}
	return strings.ReplaceAll(inWords(err, v), at.Path, atomicfile.Visible(at.Path))
}

// FaultOf returns the Fault that err is: audio that cannot be read is rejected, too.
func FaultOf(err error) (*Fault, bool) {
	var f *Fault
	var unread *audiofile.Error
	switch {
	case errors.As(err, &f):
		return f, true
	case errors.As(err, &unread):
		return &Fault{Rejection, err, phrasef("%s", unread.Hint())}, true
	}
	return nil, false
}

// InStudy marks an error about what is, or is not, in the study as rejected input.
func InStudy(err error) error {
	switch {
	case errors.Is(err, store.ErrExists):
		return Rejected(err, "")
	case errors.Is(err, store.ErrNotFound):
		return advised(Rejection, err, phrasef("%v lists what is there", call(ToList)))
	}
	return err
}
