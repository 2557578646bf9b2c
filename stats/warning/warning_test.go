package warning_test

import (
	"encoding/json"
	"math"
	"testing"

	"heardiff/stats/warning"
)

func TestWarningsAreTextsAndDetailsInJSON(t *testing.T) {
	type result struct {
		Rate int `json:"rate"`
		warning.Warnings
	}
	r := result{Rate: 48000}
	r.Warn(warning.Newf("clipped", "channel %d is clipped", 2).In(2).During(0, 1.5).Of(7, "samples"), warning.Newf("steady", "it sways"))
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
	if !back.Warned("clipped") || back.Warned("no-signal") {
		t.Error("a code is not found, or one that is not there")
	}
}

func TestWarningsOfACopyAreItsOwn(t *testing.T) {
	var first warning.Warnings
	first.Warn(warning.Newf("no-floor", "a"), warning.Newf("no-floor", "b"), warning.Newf("no-floor", "c"))
	second := first.Clone()
	first.Warn(warning.Newf("no-floor", "d"))
	second.Warn(warning.Newf("no-floor", "e").From("floor.wav"))
	if first.Texts[3] != "d" || second.Texts[3] != "floor.wav: e" || len(second.Details) != 4 {
		t.Errorf("%q, %q", first.Texts, second.Texts)
	}
}

func TestWarningsOfACodeAreDropped(t *testing.T) {
	var w warning.Warnings
	w.Warn(warning.Newf("a", "1"), warning.Newf("b", "2"), warning.Newf("a", "3"))
	w.Drop("a")
	if len(w.Texts) != 1 || w.Texts[0] != "2" || w.Warned("a") || !w.Warned("b") {
		t.Errorf("%+v", w)
	}
}

func TestWarningsAreTheSameByTheirDataAlone(t *testing.T) {
	first := warning.Newf("a", "one").In(1).At(2).Of(3, "dB")
	for name, c := range map[string]struct {
		other warning.Warning
		same  bool
	}{
		"other words":      {warning.Newf("a", "two").In(1).At(2).Of(3, "dB"), true},
		"another code":     {warning.Newf("b", "one").In(1).At(2).Of(3, "dB"), false},
		"another channel":  {warning.Newf("a", "one").In(2).At(2).Of(3, "dB"), false},
		"another instant":  {warning.Newf("a", "one").In(1).At(4).Of(3, "dB"), false},
		"a longer stretch": {warning.Newf("a", "one").In(1).During(2, 4).Of(3, "dB"), false},
		"another value":    {warning.Newf("a", "one").In(1).At(2).Of(4, "dB"), false},
		"no value":         {warning.Newf("a", "one").In(1).At(2), false},
	} {
		if first.Same(c.other) != c.same || c.other.Same(first) != c.same || !c.other.Same(c.other) {
			t.Errorf("%s: same %v, want %v", name, !c.same, c.same)
		}
	}
}

// A result stored before there were details: texts without codes, none of which is the same as another.
func TestTextsWithoutDetailsAreWarningsWithoutCodes(t *testing.T) {
	var old warning.Warnings
	if err := json.Unmarshal([]byte(`{"warnings":["100 % is one","two"]}`), &old); err != nil {
		t.Fatal(err)
	}
	if all := old.All(); len(all) != 2 || all[0].Text != "100 % is one" || all[0].Code != "" || all[0].Same(all[0]) || !math.IsNaN(all[1].Value) {
		t.Errorf("%+v", all)
	}
}
