package wire

import (
	"encoding/json"
	"testing"
)

// FuzzUnmarshal: whatever is stored as a result, reading it ends in a value that can be written and read again, or in an error.
func FuzzUnmarshal(f *testing.F) {
	f.Add([]byte(`{"name":"a","level":null,"bands":[{"low":1e308,"db":null}],"more":{"k":-0}}`))
	f.Add([]byte(`{"bands":[[],{}],"level":"1"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var v struct {
			Name  string  `json:"name"`
			Level float64 `json:"level"`
			Bands []struct {
				Low float64 `json:"low"`
				DB  float64 `json:"db"`
			} `json:"bands"`
			More map[string]float64 `json:"more"`
		}
		if Unmarshal(data, &v) != nil {
			return
		}
		again, err := Marshal(v)
		if err != nil || !json.Valid(again) {
			t.Fatalf("%s: %v", again, err)
		}
		if err := Unmarshal(again, &v); err != nil {
			t.Errorf("%s: %v", again, err)
		}
	})
}
