package study

import (
	"errors"
	"syscall"

	"heardiff/playback/flac"
	"heardiff/trials/sqlite"
)

// Hints for faults of the disk, which are nobody's input.
const (
	fullHint     = "make room there and run it again; nothing half-written was left"
	roomHint     = "make room in the folder for temporary files, or name another in TMPDIR, and run it again"
	readOnlyHint = "what is there can only be read: copy the study to a disk that can be written, or write elsewhere"
	faultyHint   = "the disk, or the way to it, fails: save what is on it first"
)

// verifyHint is the remedy of a record that contradicts itself.
func verifyHint() Phrase { return phrasef("%v says more", call(ToVerify)) }

// diskFault returns the remedy of an error that comes from a disk and not from what was read.
func diskFault(err error) (hint string, ok bool) {
	switch {
	case errors.Is(err, flac.ErrRoom):
		return roomHint, true
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG), sqlite.IsFull(err):
		return fullHint, true
	case errors.Is(err, syscall.EROFS), sqlite.IsReadOnly(err):
		return readOnlyHint, true
	case errors.Is(err, syscall.EIO), sqlite.IsDiskFault(err):
		return faultyHint, true
	}
	return "", false
}

// Judge returns what to say about an error: who is to blame, and the remedy. A fault of the disk is never reported as a fault of the input,
// whatever was being read or written; a damaged record always is, wherever it was noticed.
func Judge(err error) *Fault {
	f, ok := FaultOf(err)
	if !ok {
		f = &Fault{Blame: Failure, Err: err}
	}
	if f.Blame == Misuse {
		return f
	}
	if mend, ok := diskFault(err); ok {
		return &Fault{Failure, err, phrasef("%s", mend)}
	}
	if sqlite.IsDamaged(err) {
		return &Fault{Rejection, err, phrasef("study.db was damaged, or is no study's record: put a copy of it back; %v says more", call(ToVerify))}
	}
	return f
}
