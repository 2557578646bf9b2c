package warning_test

import (
	"encoding/json"
	"math"
	"testing"

	"heardiff/measure"
	"heardiff/stats/warning"
)

func TestWarningsAreTextsAndDetailsInJSON(t *testing.T) {
	type result struct {
		Rate int `json:"rate"`
		warning.Warnings
	}
	r := result{Rate: 48000}
	r.Warn(warning.Newf(measure.Clipped, "channel %d is clipped", 2).In(2).During(0, 1.5).Of(7, "samples"), warning.Newf("steady", "it sways"))
	data, err := json.Marshal(r)
	const want = `{"rate":48000,"warnings":["channel 2 is clipped","it sways"],"warning_details":[` +
		`{"code":"clipped","channel":2,"from_s":0,"to_s":1.5,"value":7,"unit":"samples","text":"channel 2 is clipped"},` +
		`{"code":"steady","channel":null,"from_s":null,"to_s":null,"value":null,"unit":null,"text":"it sways"}]}`
	if err != nil || string(data) != want {
		t.Fatalf("%v\n%s\n%s", err, data, want)
	}
	var back result
	if err := json.Unmarshal(data, &back); err != nil || len(back.Texts) != 2 || back.Details[0] != r.Details[0] {
		t.Errorf("%v: read back as %+v", err, back)
	}
	if w := back.Details[1]; w.Channel != 0 || w.Unit != "" || !math.IsNaN(w.FromS+w.ToS) || !math.IsNaN(w.Value) {
		t.Errorf("what does not apply is read back as %+v", w)
	}
	if !back.Warned(measure.Clipped) || back.Warned(measure.NoSignal) {
		t.Error("a code is not found, or one that is not there")
	}
}

func TestWarningsOfACopyAreItsOwn(t *testing.T) {
	var first warning.Warnings
	first.Warn(warning.Newf(measure.NoFloor, "a"), warning.Newf(measure.NoFloor, "b"), warning.Newf(measure.NoFloor, "c"))
	second := first.Clone()
	first.Warn(warning.Newf(measure.NoFloor, "d"))
	second.Warn(warning.Newf(measure.NoFloor, "e").From("floor.wav"))
	if first.Texts[3] != "d" || second.Texts[3] != "floor.wav: e" || len(second.Details) != 4 {
		t.Errorf("%q, %q", first.Texts, second.Texts)
	}
}
