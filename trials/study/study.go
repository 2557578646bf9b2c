// Package study is the library for working with a study: one folder with its chains, captures, plans, sessions and results.
//
// Open or Create a study; AddChain and AddCapture fill it; Measure measures what is new, Prepare cuts excerpts in which nothing but the
// chain differs; NewPlan fixes what will be run; Sit gives a listener a Seat at a plan, who is served by Play, or Simulate for a
// computation; Results, Link and Verify say what came of it; Export and Import carry it between sites. The example goes the whole way.
//
// Errors about a request or an input are *Faults: who is to blame, and the remedy. Where one names options or calls it does so in the names
// of this package; a program with names of its own has a Vocabulary. Results have JSON by the standard encoder, with null for what is not
// measurable.
//
// A script needs no study for single figures: audiofile.Open, jitter.Measure (and its neighbours), match.Compare and trials.Design.Score
// work by themselves. For link.Build, Kind.Measurement.Read turns the JSON of a result into the figures of a link.Chain, and
// trials.Summary.Result counts into a session.
package study

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"heardiff/trials/postgres"
	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/atomicfile"
)

// StoreEnv names the environment variable with the address of the PostgreSQL server: new studies are kept on it, and studies that were made
// on it are opened there.
const StoreEnv = "HEARDIFF_STORE"

// Study is an open study.
type Study struct {
	Readings
	record *store.Store
	*Host
}

// The contents of a study, as the record holds them.
type (
	About        = store.Study
	Chain        = store.Chain
	Capture      = store.Capture
	Measurement  = store.Measurement
	Entered      = store.Entered
	Correction   = store.Correction
	Excerpt      = store.Excerpt
	Presentation = store.Presentation
	Listener     = store.Listener
	Session      = store.Session
	Head         = store.Head
)

// Entries of the record, as a report carries them.
type (
	RecordEntry = store.RecordEntry
	Published   = store.Published
)

// Readers of published entries, see trials/store.
var (
	ReadRecordEntry = store.ReadRecordEntry
	Follow          = store.Follow
	FollowEnd       = store.FollowEnd
)

// Errors of the record, wrapped where they are returned.
var (
	ErrExists   = store.ErrExists
	ErrNotFound = store.ErrNotFound
)

// HoldsStudy reports whether the folder is a study's, wherever its record is kept.
func HoldsStudy(dir string) bool {
	return isFile(filepath.Join(dir, sqlite.FileName)) || OnServer(dir)
}

// OnServer reports whether the record of the folder's study is kept on a server.
func OnServer(dir string) bool { return isFile(filepath.Join(dir, postgres.FileName)) }

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// Create makes a study in dir: on the server that $HEARDIFF_STORE names, else in a file in the folder. A nil host is the zero Host.
func Create(ctx context.Context, dir string, of About, h *Host) (*Study, error) {
	if h == nil {
		h = &Host{}
	}
	if HoldsStudy(dir) {
		return nil, fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	if err := outsideOthers(dir); err != nil {
		return nil, err
	}
	for up := dir; ; up = filepath.Dir(up) { // up to the first that exists
		info, err := os.Stat(up)
		if err == nil && !info.IsDir() {
			return nil, Rejected(fmt.Errorf("%s is no folder", up), "name a new folder for the study")
		}
		if err == nil || up == filepath.Dir(up) {
			break
		}
	}
	if h.getenv(StoreEnv) == "" {
		s, err := sqlite.Create(ctx, dir, of, h.now)
		return opened(s, h, err)
	}
	server, err := h.server()
	if err != nil {
		return nil, err
	}
	s, err := server.Create(ctx, dir, of, h.now)
	return opened(s, h, connecting(err))
}

func opened(s *store.Store, h *Host, err error) (*Study, error) {
	if err != nil {
		return nil, err
	}
	return &Study{s, s, h}, nil
}

// Open opens the study in dir; a folder that is not a study is rejected. A nil host is the zero Host.
func Open(ctx context.Context, dir string, h *Host) (*Study, error) {
	if h == nil {
		h = &Host{}
	}
	s, err := h.open(ctx, dir)
	if err == nil {
		sweep(dir)
	}
	return opened(s, h, err)
}

func (h *Host) open(ctx context.Context, dir string) (*store.Store, error) {
	if !OnServer(dir) {
		s, err := sqlite.Open(ctx, dir, h.now)
		if errors.Is(err, store.ErrNotStudy) {
			return nil, advised(Rejection, err, phrasef("go to the study's folder, name it with %v DIR, or make one with %v", OptionDir, call(ToCreate, open(OptionDir), open(OptionTitle))))
		}
		return s, newer(err)
	}
	if h.getenv(StoreEnv) == "" {
		return nil, Blamed(Misuse, fmt.Errorf("%q: the record of this study is kept on a PostgreSQL server, and %s names none", dir, StoreEnv),
			"set "+StoreEnv+"=postgres://NAME@HOST/DATABASE")
	}
	server, err := h.server()
	if err != nil {
		return nil, err
	}
	s, err := server.Open(ctx, dir, h.now)
	if errors.Is(err, store.ErrNotStudy) {
		return nil, Rejected(err, StoreEnv+" must name the server and database in which the study was made")
	}
	return s, connecting(newer(err))
}

// newer marks a study that a later version wrote as rejected.
func newer(err error) error {
	if errors.Is(err, store.ErrNewer) {
		return Rejected(err, "open it with that version")
	}
	return err
}

// sweep removes what killed processes left in a study's folder and in its parent.
func sweep(dir string) {
	for _, d := range []string{filepath.Join(dir, ".."), dir, filepath.Join(dir, "audio"), filepath.Join(dir, "audio", "captures"), filepath.Join(dir, "audio", "excerpts")} {
		atomicfile.Sweep(d)
	}
}

// server returns the server that $HEARDIFF_STORE names. The address is never printed: it may hold a password.
func (h *Host) server() (postgres.Server, error) {
	server, err := postgres.ParseAddress(h.getenv(StoreEnv))
	if err != nil {
		return server, Blamed(Misuse, fmt.Errorf("%s: %w", StoreEnv, err), "for one file in the study's folder, leave it unset")
	}
	if server.InClear() {
		h.warn("the connection to %s is not encrypted, or need not be: whoever sees the network can read and change it", server)
	}
	return server, nil
}

// connecting adds the remedy to an error of the connection to a server.
func connecting(err error) error {
	if _, known := FaultOf(err); err == nil || known || errors.Is(err, store.ErrExists) {
		return err
	}
	return Blamed(Failure, err, "is the server running, and are name, password and database in "+StoreEnv+" (or the PG… variables) right?")
}
