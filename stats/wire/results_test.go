package wire_test

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"testing"

	"heardiff/measure"
	"heardiff/measure/clock"
	"heardiff/measure/impair"
	"heardiff/measure/integrity"
	"heardiff/measure/jitter"
	"heardiff/measure/match"
	"heardiff/measure/tone"
	"heardiff/stats"
	"heardiff/stats/wire"
	"heardiff/trials/link"
)

// resultTypes are the results that commands print, and those that embed one.
var resultTypes = []any{
	measure.Inspection{}, jitter.Result{}, jitter.Transfer{}, clock.Result{}, integrity.Result{}, match.Result{}, match.Suggestion{}, impair.Done{},
	tone.Result{}, tone.NoiseResult{}, tone.LowToneResult{}, tone.TwoToneResult{}, tone.SweepResult{},
	stats.Score{}, stats.PairScore{}, stats.Power{}, stats.PanelPower{}, stats.Pool{}, stats.ListenerScore{}, stats.GroupScore{}, stats.SiteScore{},
	stats.Fit{}, stats.Diagnostics{}, stats.RatingCurve{}, stats.MetaAnalysis{}, stats.SiteAnalysis{}, stats.RandomEffects{}, stats.GroupDifference{},
	stats.DoseTrend{}, stats.Course{}, link.Result{}, link.Row{},
}

// With no number measurable, the standard encoder writes every result as the command prints it: byte for byte, each field once.
func TestTheStandardEncoderWritesWhatTheCommandPrints(t *testing.T) {
	for _, empty := range resultTypes {
		v := reflect.New(reflect.TypeOf(empty)).Elem()
		numbers := unmeasured(v, 0)
		got, err := standard(v.Interface())
		if err != nil {
			t.Errorf("%T: %v", empty, err)
			continue
		}
		want, err := wire.Marshal(struct{ R any }{v.Interface()})
		if err != nil || string(want) != `{"R":`+string(got)+`}` {
			t.Errorf("%T:\n%s\nthe command prints\n%s (%v)", empty, got, want, err)
		}
		byField, err := wire.Object(v.Interface())
		if err != nil || !bytes.Equal(got, byField) {
			t.Errorf("%T:\n%s\nfield by field\n%s (%v)", empty, got, byField, err)
		}
		if nulls := bytes.Count(got, []byte("null")); numbers > 0 && nulls < numbers/2 { // some are left out where they are empty
			t.Errorf("%T: %d of %d numbers are null", empty, nulls, numbers)
		}
	}
}

// standard encodes without escaping < and >, which JSON does not need.
func standard(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimRight(b.Bytes(), "\n"), err
}

// unmeasured makes every number below v NaN or infinite, gives each list one element, and counts the numbers.
func unmeasured(v reflect.Value, depth int) (numbers int) {
	if depth > 8 || !v.CanSet() {
		return 0
	}
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat([]float64{math.NaN(), math.Inf(-1)}[depth%2])
		return 1
	case reflect.String:
		v.SetString("a < b")
	case reflect.Struct:
		for i := range v.NumField() {
			numbers += unmeasured(v.Field(i), depth+1)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		numbers = unmeasured(v.Index(0), depth+1)
	case reflect.Array:
		for i := range v.Len() {
			numbers += unmeasured(v.Index(i), depth+1)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		numbers = unmeasured(v.Elem(), depth+1)
	}
	return numbers
}

// A stored result comes back by the standard decoder, with NaN for what was not measurable.
func TestTheStandardDecoderReadsNullAsNaN(t *testing.T) {
	for _, data := range []any{&jitter.Result{}, &clock.Result{}, &match.Result{}, &integrity.Result{},
		&tone.Result{}, &tone.NoiseResult{}, &tone.LowToneResult{}, &tone.TwoToneResult{}, &tone.SweepResult{}} {
		v := reflect.ValueOf(data).Elem()
		unmeasured(v, 0)
		first, err := standard(v.Interface())
		if err != nil {
			t.Fatal(err)
		}
		back := reflect.New(v.Type())
		if err := json.Unmarshal(first, back.Interface()); err != nil {
			t.Errorf("%T: %v", data, err)
			continue
		}
		again, err := standard(back.Elem().Interface())
		if err != nil || !bytes.Equal(first, again) {
			t.Errorf("%T came back as\n%s, was\n%s (%v)", data, again, first, err)
		}
	}
}

// Go promotes the method of an embedded result: the other fields of the struct around it are written all the same.
func TestWhatEmbedsAResultIsWrittenCompletely(t *testing.T) {
	type held struct {
		Name string `json:"name"`
		stats.Power
	}
	got, err := wire.Marshal([]held{{Name: "x", Power: stats.Power{Trials: 3}}})
	if err != nil || !bytes.HasPrefix(got, []byte(`[{"name":"x","trials":3,`)) {
		t.Errorf("%s, %v", got, err)
	}
}
