package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"heardiff/playback/wav"
)

// The walk through the README is followed as printed, line by line, by somebody who has the recordings that it speaks of. What the
// test adds are these recordings, and what plays and answers.
func TestTheWayOfTheReadmeLeadsToAReport(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	must(t, err)
	dir := t.TempDir()
	at(t, dir, "keeper")
	t.Setenv("HEARDIFF_STUDY", "")
	t.Chdir(dir)
	for k, chain := range []string{"hall", "attic", "loop"} {
		must(t, wav.Save(chain+"-music.wav", noisy(music(4), k), ""))
		throughChain(t, dir, "jitter", chain+"-jitter.wav", 1e-5*float64(k+1), 0)
	}
	throughChain(t, dir, "tone", "attic-tone.wav", 1e-5, 0)
	must(t, os.Remove("jitter.wav"))                                                       // the README makes it
	shorter := strings.NewReplacer("5:10", "1:2", "--suggest 4", "--suggest 4 --length 1") // music, which is matched sooner
	commands := commandLines("    ", string(data))
	for _, line := range commands {
		if strings.HasPrefix(line, "chain ") {
			t.Chdir(filepath.Join(dir, "clocks")) // "cd clocks"
		}
		typed(t, shellWords(shorter.Replace(line)))
	}
	if _, err := os.Stat("report.html"); err != nil || len(commands) < 30 {
		t.Errorf("after %d commands: %v", len(commands), err)
	}
}

// typed does what a shell does with one command of the README.
func typed(t *testing.T, words []string) {
	t.Helper()
	switch {
	case words[0] == "listen":
		sitThrough(t, words[2], words[4], alwaysFirst)
	case words[len(words)-1] == "lisa": // at another site
		keys := os.Getenv("HEARDIFF_KEYS")
		t.Setenv("HEARDIFF_KEYS", keys+"-lisa")
		defer t.Setenv("HEARDIFF_KEYS", keys)
		command(t, 0, words...)
	default:
		command(t, 0, words...)
	}
}

// The pictures of the README are in the repository, and small.
func TestThePicturesOfTheReadmeAreThere(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	must(t, err)
	pictures := regexp.MustCompile(`<img src="([^"]+)" alt="[^"]+`).FindAllStringSubmatch(string(data), -1)
	if len(pictures) != 2 {
		t.Fatalf("%d pictures", len(pictures))
	}
	for _, p := range pictures {
		if info, err := os.Stat(filepath.Join("../..", p[1])); err != nil || info.Size() > 150_000 {
			t.Errorf("%s: %v, more than 150 kB or not there", p[1], err)
		}
	}
}
