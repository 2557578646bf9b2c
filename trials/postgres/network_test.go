package postgres_test

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/postgres"
	"heardiff/trials/store"
	"heardiff/trials/store/storetest"
)

// road is a network between the program and the server: it can fall silent, as where a cable is pulled, without either end
// noticing.
type road struct {
	net.Listener
	silent atomic.Bool
}

func newRoad(t *testing.T, to string) *road {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &road{Listener: l}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("unix", to)
			if err != nil {
				near.Close()
				return
			}
			lost := &atomic.Bool{} // what was in transit when it fell silent stays lost
			go r.carry(far, near, lost)
			go r.carry(near, far, lost)
		}
	}()
	return r
}

func (r *road) carry(to, from net.Conn, lost *atomic.Bool) {
	block := make([]byte, 1<<16)
	for {
		n, err := from.Read(block)
		if err != nil {
			if !lost.Load() {
				to.Close()
			}
			return
		}
		if r.silent.Load() {
			lost.Store(true)
		}
		if !lost.Load() {
			if _, err := to.Write(block[:n]); err != nil && err != io.EOF {
				return
			}
		}
	}
}

// byRoad returns the test server as reached over a road.
func byRoad(t *testing.T) (*road, postgres.Server) {
	t.Helper()
	u, err := url.Parse(os.Getenv(addressEnv))
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	r := newRoad(t, filepath.Join(q.Get("host"), ".s.PGSQL."+q.Get("port")))
	host, port, err := net.SplitHostPort(r.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	q.Set("host", host)
	q.Set("port", port)
	u.RawQuery = q.Encode()
	server, err := postgres.ParseAddress(u.String())
	if err != nil {
		t.Fatal(err)
	}
	return r, server.WithSilence(2 * time.Second).WithPulse(0) // the silence is noticed by a query
}

// A network that no longer carries anything is noticed and named in the error; the lock is taken again over the next connection although
// the server still holds it for the lost one, and no second machine gets in meanwhile.
func TestASilentNetworkIsNoticedAndTheLockRegained(t *testing.T) {
	requireServer(t)
	ctx := context.Background()
	r, server := byRoad(t)
	here, err := server.Create(ctx, filepath.Join(t.TempDir(), "study"), store.Study{Title: "t"}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer here.Close()
	session := storetest.WithSession(t, here, 4)
	release, err := here.Lock(ctx, "L1")
	if err != nil {
		t.Fatal(err)
	}
	storetest.Answer(t, session)
	r.silent.Store(true)
	if _, err := here.Study(ctx); !errors.Is(err, postgres.ErrSilent) {
		t.Errorf("a silent network: %v", err)
	}
	r.silent.Store(false)
	there := elsewhere(t, here)
	storetest.Answer(t, session) // over a new connection
	keepsOthersOut(t, there, release)
}

// elsewhere opens the study of s as another machine would, with a folder of its own.
func elsewhere(t *testing.T, s *store.Store) *store.Store {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(folder, os.DirFS(s.Dir())); err != nil {
		t.Fatal(err)
	}
	there, err := open(context.Background(), folder)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { there.Close() })
	return there
}

// After a restart of the server whoever comes first has the listener; the other is refused, and none of its answers are kept.
func TestALostLockIsNotSharedAfterARestart(t *testing.T) {
	requireServer(t)
	ctx := context.Background()
	server, err := postgres.ParseAddress(os.Getenv(addressEnv))
	if err != nil {
		t.Fatal(err)
	}
	here, err := server.WithPulse(0).Create(ctx, filepath.Join(t.TempDir(), "study"), store.Study{Title: "t"}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer here.Close()
	session := storetest.WithSession(t, here, 4)
	if _, err := here.Lock(ctx, "L1"); err != nil {
		t.Fatal(err)
	}
	db := raw(t, here)
	if n := connections(t, db); n != 1 {
		t.Errorf("%d connections of one listener", n)
	}
	there := elsewhere(t, here)
	cut(t, db)
	there.Study(ctx) // finds its connection gone
	if _, err := there.Lock(ctx, "L1"); err != nil {
		t.Fatalf("nobody holds the listener: %v", err)
	}
	entries, err := there.Entries(ctx, "s1")
	if err != nil {
		t.Fatal(err)
	}
	session.Heard(trials.LabelX, 1)
	session.Heard(trials.LabelA, 1)
	if err := session.Ask(trials.AnswerA, 0); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if err := session.Confirm(); err == nil {
			t.Fatal("an answer was kept without the lock")
		}
	}
	if _, err := here.Study(ctx); !errors.Is(err, store.ErrBusy) {
		t.Errorf("the first machine went on: %v", err)
	}
	if now, err := there.Entries(ctx, "s1"); err != nil || len(now) != len(entries) {
		t.Errorf("%d entries, then %d, error %v", len(entries), len(now), err)
	}
}

// cut ends all connections of the program, as a restart of the server does.
func cut(t *testing.T, db *sql.DB) {
	t.Helper()
	if _, err := db.Exec(`SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE application_name = 'heardiff' AND usename = current_user`); err != nil {
		t.Fatal(err)
	}
}

// A listener who thinks for long between two answers does not lose the lock to a restart of the server: the lock is regained without a
// query.
func TestALostLockIsTakenAgainBeforeTheNextAnswer(t *testing.T) {
	requireServer(t)
	ctx := context.Background()
	here := newStudyAt(t, time.Now)
	db := raw(t, here)
	release, err := here.Lock(ctx, "L1")
	if err != nil {
		t.Fatal(err)
	}
	before := lockHolder(t, db, 0)
	cut(t, db)
	for end := time.Now().Add(time.Minute); lockHolder(t, db, before) == 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the lock was not taken again")
		}
	}
	there := elsewhere(t, here)
	keepsOthersOut(t, there, release)
}

// lockHolder returns the server's process, other than one, in which the program holds a lock; 0 if there is none.
func lockHolder(t *testing.T, db *sql.DB, other int) (pid int) {
	t.Helper()
	err := db.QueryRow(`SELECT COALESCE(MAX(pid), 0) FROM pg_locks JOIN pg_stat_activity USING (pid)
		WHERE locktype = 'advisory' AND granted AND application_name = 'heardiff' AND usename = current_user AND pid <> $1`, other).Scan(&pid)
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

func connections(t *testing.T, db *sql.DB) (n int) {
	t.Helper()
	if err := db.QueryRow(`SELECT COUNT(*) FROM pg_stat_activity WHERE application_name = 'heardiff'`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// A machine that a service file names is another machine all the same: the connection to it is encrypted and checked.
func TestAServiceFileDoesNotLeadIntoTheClear(t *testing.T) {
	file := filepath.Join(t.TempDir(), "services")
	text := "[far]\nhost=db.example\ndbname=c\n[near]\nhost=/run/pg\n[strict]\nhost=db.example\nsslmode=require\n[open]\nhost=db.example\nsslmode=disable\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PGSERVICEFILE", file)
	t.Setenv("PGSSLMODE", "")
	for service, clear := range map[string]bool{"far": false, "near": false, "strict": false, "open": false} {
		server, err := postgres.ParseAddress("postgres:///?service=" + service)
		if err != nil {
			t.Fatal(err)
		}
		if server.InClear() != clear {
			t.Errorf("%s: in clear %v: %s", service, server.InClear(), server)
		}
	}
	t.Setenv("PGSERVICE", "far")
	if server, err := postgres.ParseAddress("postgres:///c"); err != nil || server.InClear() || !strings.Contains(server.String(), "db.example") {
		t.Errorf("named by the environment: %s, in clear %v, %v", server, server.InClear(), err)
	}
}

// A process that is killed while it makes a study leaves a folder in which one can still be made: nothing names the study until it is
// complete.
func TestAStudyIsNamedOnceItIsComplete(t *testing.T) {
	requireServer(t)
	server, err := postgres.ParseAddress(os.Getenv(addressEnv))
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "study")
	name := filepath.Join(dir, postgres.FileName)
	looked := 0
	now := func() time.Time {
		looked++
		if _, err := os.Stat(name); err == nil {
			t.Error("named before it was whole")
		}
		return time.Now()
	}
	s, err := server.Create(context.Background(), dir, store.Study{Title: "t"}, now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := os.Stat(name); err != nil || looked == 0 {
		t.Errorf("looked %d times, then %v", looked, err)
	}
	if _, err := server.Create(context.Background(), dir, store.Study{Title: "t"}, time.Now); !errors.Is(err, store.ErrExists) {
		t.Errorf("made again: %v", err)
	}
}

// A study that could not be made leaves nothing behind, and what was there before stays.
func TestAStudyThatCouldNotBeMadeLeavesNoFolder(t *testing.T) {
	server, err := postgres.ParseAddress("postgres://nobody@127.0.0.1:1/none")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, tt := range []struct{ study, left string }{{"new", "new"}, {"a/b/c", "a"}, {"", "audio"}} {
		if _, err := server.Create(context.Background(), filepath.Join(dir, tt.study), store.Study{Title: "t"}, time.Now); err == nil {
			t.Fatal("made")
		}
		if _, err := os.Stat(filepath.Join(dir, tt.left)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%q: %s is there (%v)", tt.study, tt.left, err)
		}
	}
	if _, err := os.Stat(dir); err != nil {
		t.Error(err)
	}
}

// keepsOthersOut checks that a second machine gets no lock before it is released, and one after.
func keepsOthersOut(t *testing.T, there *store.Store, release func() error) {
	t.Helper()
	if _, err := there.Lock(t.Context(), "L1"); !errors.Is(err, store.ErrBusy) {
		t.Errorf("a second machine got in: %v", err)
	}
	if err := release(); err != nil {
		t.Error(err)
	}
	if free, err := there.Lock(t.Context(), "L1"); err != nil {
		t.Errorf("after the session: %v", err)
	} else if err := free(); err != nil {
		t.Error(err)
	}
}
