package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// added are the files of testdata/added, each an invented declaration, with the list that names it.
var added = []struct{ file, place, list, before, after string }{
	{"kind_dcdrift.go.txt", "../../trials/study/kind_dcdrift.go", "../../trials/study/kind.go", "Sweep, Integrity}", "Sweep, DCDrift, Integrity}"},
	{"design_threeinterval.go.txt", "../../trials/design_threeinterval.go", "../../trials/design.go", "TwoInterval} }", "TwoInterval, ThreeInterval} }"},
}

// A kind of measurement, or a design, is one file and its name in one list: with both added, nothing else edited, the kind is in help and
// completion, measures files and studies against a floor, is drawn and linked, and the tests of designs go all the way with the design. The
// default run compiles them; what follows needs the whole program once more, and runs with -full.
func TestAKindAndADesignAreOneFileEach(t *testing.T) {
	overlay := overlayOfAdded(t)
	goTool(t, "build", "-overlay", overlay, "heardiff/trials/study")
	if !*wide {
		t.Skip("both compile; the program is built and tested with them under -args -full")
	}
	goTool(t, "test", "-overlay", overlay, "-count=1", "-run", "Design|Screen|Page", "heardiff/trials", "heardiff/trials/study", "heardiff/cmd/heardiff/internal/screen")
	said := goTool(t, "test", "-overlay", overlay, "-count=1", "-v", "-run", "TestDesignsGoAllTheWay|TestHelpAndCompletionNameEveryKind", "heardiff/cmd/heardiff")
	if !strings.Contains(said, "PASS: TestDesignsGoAllTheWay/three-interval") {
		t.Errorf("the added design did not go all the way:\n%s", said)
	}

	program := filepath.Join(t.TempDir(), "heardiff")
	goTool(t, "build", "-overlay", overlay, "-o", program, ".")
	heardiff := func(args ...string) string { return ran(t, exec.Command(program, args...)) }
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	folder := filepath.Join(t.TempDir(), "demo")
	heardiff("demo", "--dir", folder)
	t.Setenv("HEARDIFF_STUDY", folder)
	capture := filepath.Join(t.TempDir(), "silence.wav")
	heardiff("signal", "silence", "--seconds", "5", "--out", capture)
	if text := heardiff("measure", capture, "--as", "dcdrift"); !strings.Contains(text, "drift of the mean") {
		t.Errorf("measured as %s", text)
	}
	var r struct {
		PPM   float64
		Limit float64 `json:"limit_ppm"`
	}
	must(t, json.Unmarshal([]byte(heardiff("measure", capture, "--as", "dcdrift", "--floor", capture, "--json")), &r))
	if r.PPM <= 0 || r.Limit != r.PPM {
		t.Errorf("measured against itself: %+v", r)
	}
	picture := filepath.Join(t.TempDir(), "dcdrift.svg")
	heardiff("measure", capture, "--as", "dcdrift", "--plot", picture)
	if drawn, err := os.ReadFile(picture); err != nil || !strings.Contains(string(drawn), "mean of the first channel") {
		t.Errorf("no curve in the picture (%v)", err)
	}
	if text := heardiff("link"); !strings.Contains(text, "drift of the mean") {
		t.Errorf("linked as %s", text)
	}
	page := filepath.Join(t.TempDir(), "report.html")
	heardiff("report", "--out", page)
	if text, err := os.ReadFile(page); err != nil || !strings.Contains(string(text), "dcdrift of the chains") {
		t.Errorf("no picture of the chains in the report (%v)", err)
	}
	if help := heardiff("power", "--help"); !strings.Contains(help, "three-interval") {
		t.Errorf("power takes %s", help)
	}
}

// overlayOfAdded writes what the go command takes as -overlay: the tree with all of added.
func overlayOfAdded(t *testing.T) string {
	t.Helper()
	dir, replace := t.TempDir(), map[string]string{}
	put := func(place, name, text string) {
		full, err := filepath.Abs(place)
		must(t, err)
		replace[full] = filepath.Join(dir, name)
		must(t, os.WriteFile(replace[full], []byte(text), 0o666))
	}
	for _, a := range added {
		declaration, err := os.ReadFile(filepath.Join("testdata/added", a.file))
		must(t, err)
		put(a.place, filepath.Base(a.place), string(declaration))
		list, err := os.ReadFile(a.list)
		must(t, err)
		if strings.Count(string(list), a.before) != 1 {
			t.Fatalf("%s does not list %q once", a.list, a.before)
		}
		put(a.list, filepath.Base(a.list), strings.Replace(string(list), a.before, a.after, 1))
	}
	data, err := json.Marshal(map[string]any{"Replace": replace})
	must(t, err)
	path := filepath.Join(dir, "overlay.json")
	must(t, os.WriteFile(path, data, 0o666))
	return path
}

func goTool(t *testing.T, args ...string) string {
	t.Helper()
	return ran(t, exec.Command("go", args...))
}

func ran(t *testing.T, cmd *exec.Cmd) string {
	t.Helper()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %v\n%s", cmd.Args, err, out)
	}
	return string(out)
}
