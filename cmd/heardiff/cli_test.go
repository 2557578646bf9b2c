package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A wrong command line is exit 2, an input that cannot be used exit 3; either says what and why in one line on standard
// error, prints nothing on standard output, and leaves nothing behind.
func TestWrongInputSaysWhatAndWhy(t *testing.T) {
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "left")
	text := filepath.Join(dir, "text.wav")
	must(t, os.WriteFile(text, []byte("no audio at all, only words"), 0o644))
	t.Chdir(dir)
	wrongFiles(t)
	before := files(t, ".") + files(t, "folder")
	for _, c := range append(wrongInput(dir, study, text), wrongUses...) {
		t.Run(c.args, func(t *testing.T) {
			if c.code == 0 {
				command(t, 0, strings.Fields(c.args)...)
				return
			}
			if errs := refused(t, c.code, strings.Fields(c.args)...); !strings.Contains(errs, c.says) {
				t.Errorf("said %q, want %q in it", errs, c.says)
			}
		})
	}
	os.RemoveAll("study-keys") // a site's key is made where it is first asked for
	if after := files(t, ".") + files(t, "folder"); after != before {
		t.Errorf("%s in the folders, of %s", after, before)
	}
	left, err := filepath.Glob(filepath.Join(study, "audio", "*"))
	if err != nil || len(left) > 0 {
		t.Errorf("refused files left %v behind", left)
	}
}

// wrongCase is a command line, its exit code, and a part of what must be said.
type wrongCase struct {
	args string
	code int
	says string
}

// wrongInput returns mistakes of every kind in a study of one chain, "left"; text is a file that is no audio.
func wrongInput(dir, study, text string) []wrongCase {
	return []wrongCase{

		{"nonsense", 2, "unknown command"},
		{"study", 0, ""},
		{"study nonsense", 2, "unknown command"},
		{"study new", 2, "DIR wanted"},
		{"study new " + filepath.Join(dir, "other"), 2, "title"},
		{"study new " + study + " --title again", 3, "a study is there already"},
		{"study show --study " + dir, 3, "not a study"},
		{"chain add left", 3, "already"},
		{"chain add a/b", 2, "letters"},
		{"chain add x --role driver", 2, "--role"},
		{"chain add x --cost -1", 2, "--cost"},
		{"capture add nobody " + text + " --as jitter", 3, "not in the study"},
		{"capture add left " + text + " --as jitter", 3, "text.wav"},
		{"capture add left " + text + " --as smell", 2, "--as"},
		{"capture add left missing.wav --as jitter", 3, "missing.wav"},
		{"prepare", 3, "no source chain has a capture of music: two or more"},
		{"prepare --excerpt soon", 2, "START:LENGTH"},
		{"prepare --excerpt 5", 2, "START:LENGTH"},
		{"prepare --excerpt 5:", 2, "START:LENGTH"},
		{"prepare --excerpt 5:0", 2, "a length above 0"},
		{"prepare --excerpt 5:-3", 2, "a length above 0"},
		{"prepare --excerpt 5:inf", 2, "START:LENGTH"},
		{"prepare --excerpt -5:3", 2, "an excerpt from −5 s on"},
		{"prepare --suggest -3", 2, "--suggest -3 --length 15: 1 to 100"},
		{"prepare --suggest 3 --length 0", 2, "--length 0: 1 to 100"},
		{"plan new --a left --b left --trials 0", 2, "--trials"},
		{"plan new --design taste --a left --b left --trials 5", 2, "--design"},
		{"plan new --a left --b right --trials 5", 3, "no prepared excerpt"},
		{"plan show 7", 3, "not in the study"},
		{"listen", 2, "a plan and a listener"},
		{"listen --plan 7 --listener nobody", 3, "not in the study"},
		{"listener add L1 --years 400", 2, "--years"},
		{"listener forget nobody", 3, "not in the study"},
		{"export --out a --csv b", 2, "one of"},
		{"import " + text, 3, "bundle"},
		{"score --design abx --correct 17 --trials 16", 3, "17"},
		{"score --design abx --correct 8 --trials 16 --alpha 2", 2, "alpha"},
		{"power --design abx --p-true 0.5 --alpha 0.05 --power 0.8", 3, "out of reach"},
		{"measure " + text + " --as jitter", 3, "text.wav"},
		{"measure " + text + " --as smell", 2, "smell"},
		{"compare " + text + " " + text, 3, "text.wav"},
		{"inspect missing.wav", 3, "missing.wav"},
		{"signal tone --rate 48000 --bits 24 --seconds 1 --out " + filepath.Join(dir, "no", "such.wav"), 3, "such.wav: there is no folder " + filepath.Join(dir, "no")},
		{"signal tone --rate 48000 --bits 24 --seconds 1 --out " + dir, 3, dir + " is a folder"},
		{"signal jitter --rate 48000 --bits 12 --seconds 1 --out " + filepath.Join(dir, "j.wav"), 2, "12"},
		{"report --out " + filepath.Join(dir, "no", "such", "folder.html"), 3, "there is no folder"},
	}
}

// wrongFiles makes files in the current folder that are of the wrong kind, cut, empty, or hold what they must not; and tone.wav,
// table.csv and dose.csv, which are good.
func wrongFiles(t *testing.T) {
	t.Helper()
	for _, line := range []string{"tone --out tone.wav", "silence --dither none --out silence.wav", "tone --channels 1 --out mono.wav", "tone --rate 44100 --out rate.wav"} {
		command(t, 0, append(strings.Fields("signal --seconds 1 --bits 16"), strings.Fields(line)...)...)
	}
	tone, err := os.ReadFile("tone.wav")
	must(t, err)
	eight := float32WAV(0)
	eight[20], eight[32], eight[34] = 1, 1, 8 // PCM of one byte a sample
	copy(eight[28:], []byte{0x80, 0xbb, 0, 0})
	must(t, os.Mkdir("folder", 0o777))
	must(t, os.Mkdir("broken", 0o777))
	const head = "listener,group,correct,trials\n"
	for name, data := range map[string]string{
		"folder/keep": "x", "broken/study.db": strings.Repeat("garbage", 1000), "empty": "",
		"cut.wav": string(tone[:1044]), "nan.wav": string(float32WAV(0x7fc00000)), "eight.wav": string(eight),
		"table.csv": head + "L1,g,5,10\n", "header.csv": head, "negative.csv": head + "L1,g,-5,10\n", "above.csv": head + "L1,g,15,10\n",
		"fraction.csv": head + "L1,g,2.5,10\n", "nan.csv": head + "L1,g,NaN,10\n", "twice.csv": "listener," + head + "L1,L1,g,5,10\n",
		"ragged.csv": head + "L1,g,5\n", "latin.csv": head + "L\xe91,g,5,10\n", "dose.csv": "dose,correct,trials\n1,5,10\n2,9,10\n",
		"dose0.csv": "dose,correct,trials\n0,5,10\n2,9,10\n", "dosenan.csv": "dose,correct,trials\nNaN,5,10\n",
		"doseneg.csv": "dose,correct,trials\n1,-5,10\n", "one.csv": "dose,correct\n1,5\n",
		"many.csv": "dose,correct,trials\n1,500000000,1000000000\n2,900000000,1000000000\n",
	} {
		must(t, os.WriteFile(name, []byte(data), 0o666))
	}
}

// Every message says what and why, after the name of the program: a wrong command line is named by its command.
func TestMessagesSayWhatAndWhy(t *testing.T) {
	emptyStudy(t)
	for _, args := range [][]string{{"score"}, {"nonsense"}, {"study", "nonsense"}, {"compare", "a"}, {"power"}, {"--nope"}, {"fit", "nofile"}, {"measure", "nofile", "--as", "tone"}} {
		var out, errs bytes.Buffer
		run(t.Context(), args, strings.NewReader(""), &out, &errs)
		first, _, _ := strings.Cut(errs.String(), "\n")
		if parts := strings.SplitN(first, ": ", 3); len(parts) != 3 || parts[0] != "heardiff" || len(parts[1]) < 2 || len(parts[2]) < 5 {
			t.Errorf("%v: %q", args, first)
		}
	}
}

// A time in the output is that of an event, never the zero time.
func TestListenersAreAddedInTheirTime(t *testing.T) {
	emptyStudy(t)
	out, _ := command(t, 0, "listener", "add", "L1", "--json")
	if strings.Contains(out, "0001-01-01") {
		t.Errorf("a time in the year 1: %s", out)
	}
}
