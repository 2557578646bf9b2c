package sqlite_test

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/sqlite"
	"heardiff/trials/store"
	"heardiff/trials/store/storetest"
)

// runningStudy leaves a session half-way through, under a clock that does not move, and returns the study's folder.
func runningStudy(t *testing.T, seed trials.Seed) *store.Store {
	t.Helper()
	ctx, at := context.Background(), time.Date(2030, 1, 2, 3, 4, 5, 123456789, time.UTC)
	s, err := sqlite.Create(ctx, filepath.Join(t.TempDir(), "study"), store.Study{Title: "invented for a test"}, func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	storetest.Running(t, s, seed, 40, at)
	return s
}

// While a session runs, the folder must hold the same files of the same sizes whatever is hidden, and the seed in
// no form.
func TestFolderOfARunningSessionTellsNothing(t *testing.T) {
	var want string
	for k := range byte(6) {
		seed := trials.Seed{}
		for i := range seed {
			seed[i] = k*31 + byte(i)
		}
		s := runningStudy(t, seed)
		var listing bytes.Buffer
		err := filepath.WalkDir(s.Dir(), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if bytes.Contains(data, seed[:]) || bytes.Contains(data, []byte(hex.EncodeToString(seed[:]))) {
				t.Errorf("%s holds the seed of a running session", d.Name())
			}
			fmt.Fprintln(&listing, d.Name(), len(data))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if want == "" {
			want = listing.String()
		}
		if listing.String() != want {
			t.Errorf("the folder depends on the seed:\n%s\n%s", want, listing.String())
		}
	}
}
