package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// rooms says which packages of the project each package may import, beyond tests. A room that is not here may
// not exist: adding one is a decision about the whole picture, to be explained in DEVELOPERS.md.
var rooms = map[string][]string{
	"stats":            {"stats/warning", "stats/wire"},
	"stats/wire":       {},
	"stats/warning":    {"stats/wire"},
	"playback/pcm":     {},
	"measure/spectrum": {},

	"playback":           {"playback/pcm"},
	"playback/wav":       {"playback/pcm"},
	"playback/flac":      {"playback/pcm"},
	"playback/audiofile": {"playback/pcm", "playback/wav", "playback/flac"},
	"playback/device":    {"playback", "playback/pcm", "playback/wav"},
	"playback/sinktest":  {"playback", "playback/pcm"},

	"measure":                   {"playback/pcm", "measure/spectrum", "stats/warning", "stats/wire"},
	"measure/interpolate":       {"playback/pcm", "measure/spectrum"},
	"measure/signal":            {"playback/pcm", "measure/spectrum", "measure"},
	"measure/jitter":            {"playback/pcm", "measure/spectrum", "measure", "stats/warning", "stats/wire"},
	"measure/clock":             {"playback/pcm", "measure/spectrum", "measure", "stats/warning", "stats/wire"},
	"measure/jitter/jittertest": {"playback/pcm", "measure/spectrum"},
	"measure/tone":              {"playback/pcm", "measure/spectrum", "measure", "measure/signal", "stats/warning", "stats/wire"},
	"measure/integrity":         {"playback/pcm", "measure/spectrum", "measure", "measure/signal", "stats/warning", "stats/wire"},
	"measure/match":             {"playback/pcm", "measure/spectrum", "measure", "measure/interpolate", "measure/match/align", "measure/match/audible", "measure/match/residual", "measure/match/fault", "stats/warning", "stats/wire"},
	"measure/match/fit":         {},
	"measure/match/audible":     {"playback/pcm", "measure/spectrum", "measure/interpolate"},
	"measure/match/align":       {"playback/pcm", "measure/spectrum", "measure/interpolate", "measure/match/fit", "measure/match/audible"},
	"measure/match/residual":    {"playback/pcm", "measure/spectrum", "measure", "measure/interpolate", "measure/match/fit", "measure/match/audible", "measure/match/align"},
	"measure/match/fault":       {"playback/pcm", "measure/spectrum", "measure", "measure/match/fit", "measure/match/audible", "measure/match/align", "measure/match/residual", "stats/warning"},
	"measure/impair":            {"playback/pcm", "measure/spectrum", "measure", "measure/interpolate", "stats/warning", "stats/wire"},

	"trials":                  {"stats"},
	"trials/store":            {"trials"},
	"trials/store/atomicfile": {},
	"trials/sqlite":           {"trials/store", "trials/store/atomicfile"},
	"trials/postgres":         {"trials/store", "trials/store/atomicfile"},
	"trials/store/storetest":  {"trials", "trials/store"},
	"trials/bundle":           {"trials"},
	"trials/link":             {"trials", "stats", "stats/warning", "stats/wire"},
	"trials/ledger":           {"trials", "trials/store/atomicfile"},
	"trials/study": {"playback", "playback/audiofile", "playback/flac", "playback/pcm", "playback/wav", "measure", "measure/clock", "measure/impair", "measure/integrity", "measure/jitter",
		"measure/match", "measure/signal", "measure/tone", "stats", "stats/warning", "stats/wire", "trials", "trials/bundle", "trials/ledger", "trials/link", "trials/postgres", "trials/sqlite",
		"trials/store", "trials/store/atomicfile"},

	"cmd/heardiff/internal/plot":           {},
	"cmd/heardiff/internal/screen":         {"trials", "cmd/heardiff/internal/printable", "cmd/heardiff/internal/screen/unasked"},
	"cmd/heardiff/internal/screen/unasked": {},
	"cmd/heardiff/internal/printable":      {},
	"cmd/heardiff/internal/guide":          {},
	"cmd/heardiff/internal/columns":        {"stats", "trials/study"},
	"cmd/heardiff/internal/report":         {"trials", "trials/link", "trials/study", "stats", "cmd/heardiff/internal/plot", "stats/wire"},
	"cmd/heardiff/internal/demo":           {"playback/pcm", "measure/signal", "measure/impair"},
}

// owners says which package alone may import a technology from outside, beyond tests; "" is none.
var owners = map[string]string{
	"github.com/go-audio/":              "", // tests of playback/wav alone
	"github.com/mewkiz/":                "playback/flac",
	"github.com/hajimehoshi/oto":        "playback/device",
	"modernc.org/sqlite":                "trials/sqlite",
	"github.com/charmbracelet/bubble":   "cmd/heardiff/internal/screen", // bubbletea, bubbles
	"github.com/charmbracelet/lipgloss": "cmd/heardiff/internal/screen", // x/ansi, the width of text, is anybody's
	"github.com/spf13/":                 "cmd/heardiff",
	"golang.org/x/image":                "cmd/heardiff/internal/plot",
	"golang.org/x/net/":                 "cmd/heardiff/internal/report",
	"github.com/jackc/pgx":              "trials/postgres",
	"github.com/chromedp/":              "", // tests of the report alone
}

// The command asks the study, which alone reads and writes its record.
func TestTheCommandReadsNoRecord(t *testing.T) {
	seen := 0
	for _, p := range listPackages(t) {
		if !strings.HasPrefix(p.ImportPath, "heardiff/cmd/") {
			continue
		}
		seen++
		for _, room := range []string{"heardiff/trials/store", "heardiff/trials/sqlite", "heardiff/trials/postgres"} {
			if slices.Contains(p.Imports, room) {
				t.Errorf("%s imports %s: ask trials/study", p.ImportPath, room)
			}
		}
	}
	if seen < 3 {
		t.Errorf("only %d packages of the command were seen", seen)
	}
}

type listed struct {
	ImportPath string
	Imports    []string
}

func TestRoomsImportOnlyWhatTheDesignAllows(t *testing.T) {
	for _, p := range listPackages(t) {
		room := strings.TrimPrefix(p.ImportPath, "heardiff/")
		allowed, known := rooms[room]
		if !known && room != "cmd/heardiff" {
			t.Errorf("%s is not in the table of rooms", room)
		}
		for _, imported := range p.Imports {
			checkOutside(t, room, imported)
			inner, ours := strings.CutPrefix(imported, "heardiff/")
			if ours && room != "cmd/heardiff" && !slices.Contains(allowed, inner) {
				t.Errorf("%s imports %s, which its room may not", room, inner)
			}
		}
	}
}

func checkOutside(t *testing.T, room, imported string) {
	t.Helper()
	for prefix, owner := range owners {
		if strings.HasPrefix(imported, prefix) && room != owner {
			t.Errorf("%s imports %s, which belongs to %q", room, imported, owner)
		}
	}
}

// listPackages asks the go command without cgo, so that the guard runs on any machine.
func listPackages(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", "heardiff/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := dec.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) < 3 {
		t.Fatalf("go list named only %d packages", len(all))
	}
	return all
}
