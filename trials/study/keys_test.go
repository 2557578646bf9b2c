package study

import (
	"sync"
	"testing"

	"heardiff/trials"
)

// Many processes that begin at the same moment, as on a machine of many users, get the same complete key.
func TestTheFirstKeyIsMadeOnce(t *testing.T) {
	for range 50 {
		t.Setenv("HEARDIFF_KEYS", t.TempDir())
		keys, errs := make([]trials.Key, 8), make([]error, 8)
		var wait sync.WaitGroup
		for i := range keys {
			wait.Go(func() {
				keys[i], errs[i] = (&Host{}).sealKey()
			})
		}
		wait.Wait()
		for i := range keys {
			if errs[i] != nil || keys[i] != keys[0] {
				t.Fatalf("key %d: error %v, the same as the first: %v", i, errs[i], keys[i] == keys[0])
			}
		}
	}
}
