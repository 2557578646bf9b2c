package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"heardiff/trials/postgres"
	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/whole"
)

// storeEnv names the PostgreSQL server on which new studies are kept, and those that were made there.
const storeEnv = "HEARDIFF_STORE"

// holdsStudy reports whether the folder is a study's, wherever its record is kept.
func holdsStudy(dir string) bool {
	return isFile(filepath.Join(dir, sqlite.FileName)) || onServer(dir)
}

// onServer reports whether the record of the folder's study is kept on a server.
func onServer(dir string) bool { return isFile(filepath.Join(dir, postgres.FileName)) }

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// createStudy makes a study in dir: on the server that $HEARDIFF_STORE names, else in a file in the folder.
func (a *app) createStudy(ctx context.Context, dir string, of store.Study) (*store.Store, error) {
	if holdsStudy(dir) {
		return nil, fmt.Errorf("%q: a study is %w", dir, store.ErrExists)
	}
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return nil, rejected(fmt.Errorf("%s is no folder", dir), "name a new folder for the study")
	}
	if a.getenv(storeEnv) == "" {
		return sqlite.Create(ctx, dir, of, a.now)
	}
	server, err := a.server()
	if err != nil {
		return nil, err
	}
	s, err := server.Create(ctx, dir, of, a.now)
	return s, connecting(err)
}

// openStudy opens the study the command line means; what is no study is rejected.
func (a *app) openStudy(ctx context.Context) (*store.Store, error) {
	dir := a.studyFolder()
	if !onServer(dir) {
		s, err := sqlite.Open(ctx, dir, a.now)
		switch {
		case errors.Is(err, store.ErrNotStudy):
			return nil, rejected(err, `go to the study's folder, name it with --study DIR, or make one with "heardiff study new DIR --title T"`)
		case err != nil:
			return nil, newer(err)
		}
		sweep(dir)
		return s, nil
	}
	if a.getenv(storeEnv) == "" {
		return nil, failed(exitUsage, fmt.Errorf("%q: the record of this study is kept on a PostgreSQL server, and %s names none", dir, storeEnv),
			"set "+storeEnv+"=postgres://NAME@HOST/DATABASE")
	}
	server, err := a.server()
	if err != nil {
		return nil, err
	}
	s, err := server.Open(ctx, dir, a.now)
	switch {
	case errors.Is(err, store.ErrNotStudy):
		return nil, rejected(err, storeEnv+" must name the server and database in which the study was made")
	case err != nil:
		return nil, connecting(newer(err))
	}
	sweep(dir)
	return s, nil
}

// newer marks a study that a later version wrote as rejected.
func newer(err error) error {
	if errors.Is(err, store.ErrNewer) {
		return rejected(err, "open it with that version")
	}
	return err
}

// sweep removes what killed commands left in a study's folder, and beside it.
func sweep(dir string) {
	for _, d := range []string{filepath.Join(dir, ".."), dir, filepath.Join(dir, "audio"), filepath.Join(dir, "audio", "captures"), filepath.Join(dir, "audio", "excerpts")} {
		whole.Sweep(d)
	}
}

// server returns the server that $HEARDIFF_STORE names. The address is never printed: it may hold a password.
func (a *app) server() (postgres.Server, error) {
	server, err := postgres.ParseAddress(a.getenv(storeEnv))
	if err != nil {
		return server, failed(exitUsage, fmt.Errorf("%s: %w", storeEnv, err), "for one file in the study's folder, leave it unset")
	}
	if server.InClear() {
		a.warn("the connection to %s is not encrypted, or need not be: whoever sees the network can read and change it", server)
	}
	return server, nil
}

// connecting adds the mend to what failed on the way to a server.
func connecting(err error) error {
	var told *failure
	if err == nil || errors.Is(err, store.ErrExists) || errors.As(err, &told) {
		return err
	}
	return failed(exitFailed, err, "is the server running, and are name, password and database in "+storeEnv+" (or the PG… variables) right?")
}
