package main

import (
	"errors"
	"syscall"

	"heardiff/playback/flac"
	"heardiff/trials/sqlite"
	"heardiff/trials/study"
)

// Hints for faults of the disk, which are nobody's input.
const (
	fullHint     = "make room there and run it again; nothing half-written was left"
	roomHint     = "make room in the folder for temporary files, or name another in TMPDIR, and run it again"
	readOnlyHint = "what stands there can only be read: copy the study to a disk that can be written, or write elsewhere"
	faultyHint   = "the disk, or the way to it, fails: save what is on it first"
	damagedHint  = `study.db was damaged, or is no record of heardiff: put a copy of it back; "heardiff verify" tells more`
)

// diskFault returns what to do about an error that comes from a disk and not from what was read.
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

// judge returns the exit code of an error and its hint. A fault of the disk is never told as one of the input, whatever read or
// wrote it; a damaged record is, whichever command met it.
func judge(err error) (code int, hint string) {
	code = exitFailed
	if f, ok := study.FaultOf(err); ok {
		code, hint = exitCode(f.Blame), f.Hint
	}
	if code == exitUsage {
		return code, hint
	}
	if mend, ok := diskFault(err); ok {
		return exitFailed, mend
	}
	if sqlite.IsDamaged(err) {
		return exitRejected, damagedHint
	}
	return code, hint
}
