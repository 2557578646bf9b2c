package wire_test

import (
	"encoding/json"
	"iter"
	"math"
	"testing"

	"heardiff/stats/wire"
)

type inner struct {
	P float64 `json:"p"`
}

type sample struct {
	inner
	Schema string             `json:"schema"`
	Value  float64            `json:"value"`
	Range  [2]float64         `json:"range"`
	List   []inner            `json:"list"`
	Maybe  *float64           `json:"maybe"`
	Skip   string             `json:"-"`
	Extra  []float64          `json:"extra,omitempty"`
	Map    map[string]float64 `json:"map"`
	Raw    json.RawMessage    `json:"raw"`
	secret int
}

func TestNotMeasurableIsNull(t *testing.T) {
	s := sample{Schema: "a<b", Value: math.NaN(), Range: [2]float64{0.1, math.Inf(1)}, Raw: json.RawMessage(`{"k":1}`), secret: 7}
	s.Map = map[string]float64{"z": math.Inf(-1), "a": 1}
	got, err := wire.Marshal(s)
	want := `{"p":0,"schema":"a<b","value":null,"range":[0.1,null],"list":[],"maybe":null,"map":{"a":1,"z":null},"raw":{"k":1}}`
	if err != nil || string(got) != want {
		t.Errorf("got  %s\nwant %s\nerror %v", got, want, err)
	}
}

func TestNullIsReadAsNaN(t *testing.T) {
	var s sample
	err := wire.Unmarshal([]byte(`{"value":null,"range":[1,null],"list":[{"p":null},{}]}`), &s)
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range map[string]float64{
		"a null": s.Value, "an end": s.Range[1], "within a list": s.List[0].P, "absent in a list": s.List[1].P, "absent": s.P,
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s was read as %v", name, v)
		}
	}
	if s.Range[0] != 1 || s.Maybe != nil {
		t.Errorf("existing values were changed: %+v", s)
	}
}

func TestRoundTripAgreesWithTheStandardLibrary(t *testing.T) {
	x := 2.5
	s := sample{Schema: "s/1", Value: 1e-300, List: []inner{{P: 0.25}}, Maybe: &x, Extra: []float64{1}, Map: map[string]float64{}, Raw: json.RawMessage(`1`)}
	ours, err := wire.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := json.Marshal(s)
	if err != nil || string(ours) != string(theirs) {
		t.Errorf("ours   %s\ntheirs %s\nerror %v", ours, theirs, err)
	}
}

// Named are fields that are known only at run time.
type Named []inner

func (n Named) Fields() iter.Seq2[string, any] {
	return func(yield func(string, any) bool) {
		for i, v := range n {
			if !yield(string(rune('a'+i)), v) {
				return
			}
		}
	}
}

func TestEmbeddedFieldsMayHaveTheirOwnNames(t *testing.T) {
	type holder struct {
		Before int `json:"before"`
		Named
		After int `json:"after"`
	}
	got, err := wire.Marshal(holder{1, Named{{P: 2}, {P: math.NaN()}}, 3})
	if want := `{"before":1,"a":{"p":2},"b":{"p":null},"after":3}`; err != nil || string(got) != want {
		t.Errorf("got %s, want %s, error %v", got, want, err)
	}
}
