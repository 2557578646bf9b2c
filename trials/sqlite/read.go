package sqlite

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	driver "modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"

	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// header is what an SQLite file begins with, see "Database File Format", sections 1.3 and 1.3.15: the user version is the
// big-endian word at byte 60.
const (
	header    = "SQLite format 3\x00"
	versionAt = 60
)

// looksLikeStudy reads only the head of the file, so that a file of another program is not touched.
func looksLikeStudy(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("no %s in it", FileName)
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is no file", FileName)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, versionAt+4)
	if _, err := io.ReadFull(f, head); err != nil || string(head[:len(header)]) != header {
		return fmt.Errorf("%s is no database", FileName)
	}
	if version := int32(binary.BigEndian.Uint32(head[versionAt:])); version < 1 {
		return fmt.Errorf("%s is not of heardiff: its version is %d", FileName, version)
	}
	return nil
}

// identify reads the study's row and changes nothing. It returns store.ErrNotStudy, wrapped, if there is none.
func identify(ctx context.Context, db *sql.DB) error {
	var id string
	err := db.QueryRowContext(ctx, `SELECT id FROM study WHERE one = 1`).Scan(&id)
	var e *driver.Error
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("%w: its record says of none", store.ErrNotStudy)
	case errors.As(err, &e) && e.Code() == codes.SQLITE_ERROR: // no such table, or column
		return fmt.Errorf("%w: %w", store.ErrNotStudy, err)
	}
	return err
}

// openToRead opens a study in a folder that cannot be written. If the log of a writer that has died, or an older schema, prevents that, it
// reads a copy of the record, which is removed when the study is closed.
func openToRead(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	ways := []url.Values{{"mode": {"ro"}}} // with a log and its index, as while a writer is running
	if log, err := os.Stat(filepath.Join(dir, FileName+"-wal")); err != nil || log.Size() == 0 {
		ways = append(ways, url.Values{"mode": {"ro"}, "immutable": {"1"}})
	}
	for _, way := range ways {
		s, err := openAsIs(ctx, dir, dir, way, now)
		if err == nil || errors.Is(err, store.ErrNotStudy) || errors.Is(err, store.ErrNewer) || IsDamaged(err) {
			return s, err
		}
	}
	return openCopy(ctx, dir, now)
}

// openAsIs opens the database in the folder record, for the study in dir, read-only. It fails if the schema is not up to date.
func openAsIs(ctx context.Context, record, dir string, way url.Values, now func() time.Time) (*store.Store, error) {
	q := url.Values{"_pragma": {"busy_timeout(10000)", "foreign_keys(1)", "query_only(1)"}}
	for k, v := range way {
		q[k] = v
	}
	c, err := configWith(record, dir, q, now)
	if err != nil {
		return nil, err
	}
	c.ReadOnly = true
	if err := identify(ctx, c.DB); err != nil {
		return nil, errors.Join(fmt.Errorf("open the study in %q: %w", dir, err), c.DB.Close())
	}
	return store.Open(ctx, c)
}

// openCopy opens a copy of the record, brought up to date, in the folder for temporary files.
func openCopy(ctx context.Context, dir string, now func() time.Time) (*store.Store, error) {
	atomicfile.Sweep(os.TempDir())
	aside, err := atomicfile.NewFolder(os.TempDir())
	if err != nil {
		return nil, fmt.Errorf("read the study in %q: %w", dir, err)
	}
	s, err := copyInto(ctx, aside.Path, dir, now)
	if err != nil {
		aside.Discard()
		return nil, err
	}
	s.WhenClosed(aside.Discard)
	return s, nil
}

// copyInto copies the record of the study in dir into the folder aside, brings it up to date there, and opens it to be read.
func copyInto(ctx context.Context, aside, dir string, now func() time.Time) (*store.Store, error) {
	for _, name := range []string{FileName, FileName + "-wal"} {
		if err := copyFile(filepath.Join(aside, name), filepath.Join(dir, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("read the study in %q: %w", dir, err)
		}
	}
	s, err := open(ctx, aside, now)
	if err != nil {
		return nil, err
	}
	if err := s.Close(); err != nil {
		return nil, err
	}
	return openAsIs(ctx, aside, dir, url.Values{"mode": {"ro"}, "immutable": {"1"}}, now)
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// writable reports whether the file can be opened for writing.
func writable(path string) bool {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return false
	}
	return f.Close() == nil
}

// primary returns the primary result code of an error of SQLite, see "Result and Error Codes", or −1.
func primary(err error) int {
	var e *driver.Error
	if !errors.As(err, &e) {
		return -1
	}
	return e.Code() & 0xff
}

// isReadOnly reports whether err says that the database or its log cannot be written.
func isReadOnly(err error) bool {
	return primary(err) == codes.SQLITE_READONLY || primary(err) == codes.SQLITE_CANTOPEN
}

// IsDamaged reports whether err says that the file is no database, or one that was damaged.
func IsDamaged(err error) bool {
	return primary(err) == codes.SQLITE_CORRUPT || primary(err) == codes.SQLITE_NOTADB
}

// IsFull reports whether err says that the disk of the record is full: for the record, or for the index of its log.
func IsFull(err error) bool {
	var e *driver.Error
	return errors.As(err, &e) && (e.Code() == codes.SQLITE_FULL || e.Code() == codes.SQLITE_IOERR_SHMSIZE)
}

// IsReadOnly reports whether err says that the record can only be read.
func IsReadOnly(err error) bool { return primary(err) == codes.SQLITE_READONLY }

// IsDiskFault reports whether err says that the disk, or the way to it, failed.
func IsDiskFault(err error) bool {
	return primary(err) == codes.SQLITE_IOERR || primary(err) == codes.SQLITE_CANTOPEN
}
