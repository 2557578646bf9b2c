package columns

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// compared is what these tests compare by.
func compared(metric string) bool {
	return slices.Contains([]string{"random_jitter_ps", "thd_n_db", "tdev_1_s_ns", "noise_a_weighted_db", "offset_error_us"}, metric)
}

func TestEnteredFiguresAreParsedOrRefused(t *testing.T) {
	for name, c := range map[string]struct{ text, fault string }{
		"all columns":         {"metric,value,unit,limit,source\nrandom_jitter_ps,42.5,ps,5,sheet\n", ""},
		"any order, a mark":   {"\ufeffSource,limit,unit,value,metric\nsheet,,dB,-110,thd_n_db\n", ""},
		"limit alone":         {"metric,value,unit,limit,source\nhum_db,,dB,-120,sheet\n", ""},
		"empty":               {"", "empty"},
		"head alone":          {"metric,value,unit,limit,source\n", "no rows"},
		"column missing":      {"metric,value,unit,source\nx,1,ps,s\n", `column "limit" is missing`},
		"column twice":        {"metric,value,unit,limit,source,value\nx,1,ps,,s,1\n", "twice"},
		"no number":           {"metric,value,unit,limit,source\nx,42 ps,ps,,s\n", `line 2: value "42 ps": a number is wanted`},
		"not a number":        {"metric,value,unit,limit,source\nx,NaN,ps,,s\n", "a number is wanted"},
		"endless":             {"metric,value,unit,limit,source\nx,1,ps,1e999,s\n", `limit "1e999"`},
		"neither":             {"metric,value,unit,limit,source\nx,,ps,,s\n", "neither"},
		"no source":           {"metric,value,unit,limit,source\nx,1,ps,,\n", "source is empty"},
		"a figure twice":      {"metric,value,unit,limit,source\nx,1,ps,,s\nx,2,ps,,s\n", "line 3"},
		"a cell too few":      {"metric,value,unit,limit,source\nx,1,ps\n", "wrong number of fields"},
		"another unit":        {"metric,value,unit,limit,source\nrandom_jitter_ps,0.12,ns,,s\n", `random_jitter_ps is in ps, not in "ns"`},
		"per cent":            {"metric,value,unit,limit,source\nthd_n_db,0.001,%,,s\n", `thd_n_db is in dB, not in "%"`},
		"below zero":          {"metric,value,unit,limit,source\nrandom_jitter_ps,-5,ps,,s\n", "below zero"},
		"a clock below zero":  {"metric,value,unit,limit,source\ntdev_1_s_ns,-5,,,s\n", "below zero"},
		"dBFS, no unit, µs":   {"metric,value,unit,limit,source\nnoise_a_weighted_db,-110,dBFS,,s\nthd_n_db,-99,,,s\noffset_error_us,-2,µs,,s\n", ""},
		"semicolons":          {"metric;value;unit;limit;source\nrandom_jitter_ps;42,5;ps;5;sheet\nthd_n_db;-99.5;;;a, b\n", ""},
		"tabs":                {"metric\tvalue\tunit\tlimit\tsource\nrandom_jitter_ps\t42,5\tps\t\tsheet\n", ""},
		"thousands and comma": {"metric;value;unit;limit;source\nrandom_jitter_ps;1.042,5;ps;5;sheet\n", `"1.042,5": a number is wanted`},
		"semicolons, one out": {"metric;value;unit;source\nx;1;ps;s\n", `column "limit" is missing`},
		"another alphabet":    {"metric,value,unit,limit,source\nrandom_jitter_ps,1,ps,,B\xfcro\n", "not UTF-8"},
		"a terminal's escape": {"metric,value,unit,limit,source\n\x1b[2Jx,1,ps,,s\n", "control character U+001B"},
	} {
		_, err := Figures(strings.NewReader(c.text), compared)
		if (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%s: error %v, want %q", name, err, c.fault)
		}
	}
}

// What a spreadsheet of another language writes means the same.
func TestEnteredFiguresMeanTheSameHoweverSeparated(t *testing.T) {
	want, err := Figures(strings.NewReader("metric,value,unit,limit,source\nrandom_jitter_ps,42.5,ps,0.5,sheet\nthd_n_db,-99.5,dB,,sheet\n"), compared)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{
		"metric;value;unit;limit;source\nrandom_jitter_ps;42,5;ps;0,5;sheet\nthd_n_db;-99,5;;;sheet\n",
		"metric\tvalue\tunit\tlimit\tsource\nrandom_jitter_ps\t42.5\t\t0.5\tsheet\nthd_n_db\t-99.5\tdB\t\tsheet\n",
	} {
		if got, err := Figures(strings.NewReader(text), compared); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
}

func FuzzFigures(f *testing.F) {
	f.Add("metric,value,unit,limit,source\nrandom_jitter_ps,42.5,ps,5,sheet\n")
	f.Add("\ufeffSource,limit,unit,value,metric\n\"a \"\"b\"\"\",,dB,-110,thd_n_db\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := Figures(strings.NewReader(text), compared)
		if (err == nil) != (len(list) > 0) {
			t.Fatalf("%d figures and error %v", len(list), err)
		}
		for _, e := range list {
			if e.Metric == "" || e.Source == "" || e.Value == nil && e.Limit == nil {
				t.Fatalf("incomplete: %+v", e)
			}
		}
	})
}
