package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
)

// FuzzContent: any signed content is read within the limits or rejected as damaged or edited, and what is read survives
// writing and reading.
func FuzzContent(f *testing.F) {
	content, err := json.Marshal(draft(f).Content)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(content)
	f.Add([]byte(`{"plans":null,"excerpts":[{"name":"e","presentations":[]}],"sessions":[]}`))
	f.Add([]byte(`{"plans":[],"plans":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := decodeContent(bytes.NewReader(data), testMade)
		if err != nil {
			if !errors.Is(err, ErrRecord) && !errors.Is(err, ErrDamaged) {
				t.Errorf("%v", err)
			}
			return
		}
		again, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := decodeContent(bytes.NewReader(again), testMade); err != nil {
			t.Errorf("%s: %v", again, err)
		}
	})
}
