package bundle

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// Sizes of an archive's parts, in bytes. ref: APPNOTE.TXT 6.3.10, sections 4.3.12 and 4.3.16.
const (
	endBytes      = 22 // of the end of the directory, without its comment
	maxEntryBytes = 46 + 100 + 100
)

// checkDirectory rejects an archive whose directory could have more members than a bundle: the archive reader loads the entire
// directory into memory before its length can be checked. The directory must be where Write puts it, at the very end and
// without a comment.
func checkDirectory(r io.ReaderAt, size int64) error {
	if size < endBytes {
		return fmt.Errorf("%w: %d bytes", ErrDamaged, size)
	}
	end := make([]byte, endBytes)
	if _, err := r.ReadAt(end, size-endBytes); err != nil && err != io.EOF {
		return fmt.Errorf("%w: its end cannot be read: %w", ErrDamaged, err)
	}
	if !bytes.HasPrefix(end, []byte("PK\x05\x06")) {
		return fmt.Errorf("%w: it does not end as an archive does", ErrDamaged)
	}
	members := int(binary.LittleEndian.Uint16(end[10:]))
	bytes, start := int64(binary.LittleEndian.Uint32(end[12:])), int64(binary.LittleEndian.Uint32(end[16:]))
	if members > MaxMembers || bytes > MaxMembers*maxEntryBytes {
		return fmt.Errorf("%w: a directory of %d members in %d bytes, at most %d members are taken", ErrDamaged, members, bytes, MaxMembers)
	}
	if start+bytes != size-endBytes {
		return fmt.Errorf("%w: its directory is not where it belongs", ErrDamaged)
	}
	return nil
}
