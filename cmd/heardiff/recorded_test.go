package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// exchange gives two files each the other's name.
func exchange(t *testing.T, a, b string) {
	t.Helper()
	must(t, os.Rename(a, a+".aside"))
	must(t, os.Rename(b, a))
	must(t, os.Rename(a+".aside", b))
}

// found returns the one file of the study that the pattern names.
func found(t *testing.T, study, pattern string) string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(study, "audio", pattern))
	if err != nil || len(all) != 1 {
		t.Fatalf("%s: %v, %v", pattern, all, err)
	}
	return all[0]
}

// altered writes a file whose last sample is another, of the same size and time.
func altered(t *testing.T, path string) (restore func()) {
	t.Helper()
	before, err := os.ReadFile(path)
	must(t, err)
	info, err := os.Stat(path)
	must(t, err)
	after := append([]byte(nil), before...)
	after[len(after)/2] ^= 1
	put := func(data []byte) {
		must(t, os.WriteFile(path, data, 0o644))
		must(t, os.Chtimes(path, info.ModTime(), info.ModTime()))
	}
	put(after)
	return func() { put(before) }
}

// Captures that were exchanged in the folder are each sound audio, and would be measured and cut under the other's name.
func TestExchangedCapturesAreRefused(t *testing.T) {
	dir, study := emptyStudy(t)
	for _, chain := range []string{"left", "right"} {
		command(t, 0, "chain", "add", chain)
		for kind, args := range map[string][]string{"tone": {"tone", "--dbfs", "-" + fmt.Sprint(len(chain))}, "music": {"level", "--seed", fmt.Sprint(len(chain))}} {
			file := filepath.Join(dir, chain+kind+".wav")
			command(t, 0, append([]string{"signal", "--seconds", "5", "--out", file}, args...)...)
			command(t, 0, "capture", "add", chain, file, "--as", kind)
		}
	}
	for _, kind := range []string{"tone", "music"} {
		exchange(t, found(t, study, "captures/left-"+kind+"-*"), found(t, study, "captures/right-"+kind+"-*"))
	}
	for _, args := range []string{"measure", "prepare --music music --excerpt 0:2", "prepare --suggest 1 --length 1", "prepare --ladder gain --from -1 --to -2 --steps 2 --excerpt 0:2 --music music"} {
		if errs := refused(t, 3, strings.Fields(args)...); !strings.Contains(errs, "exchanged") || !strings.Contains(errs, "audio/captures/") {
			t.Errorf("%s: said %q", args, errs)
		}
	}
	for _, kind := range []string{"tone", "music"} {
		exchange(t, found(t, study, "captures/left-"+kind+"-*"), found(t, study, "captures/right-"+kind+"-*"))
	}
	command(t, 0, "measure")
	command(t, 0, "verify")
}

// An excerpt that was altered is accepted by no command, and leaves nothing in the cache: restored, it gives the same figures as before.
func TestAnAlteredExcerptIsRefused(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	answerPlan(t)
	linked := func() (rows []map[string]any) {
		t.Helper()
		var r struct{ Rows []map[string]any }
		decode(t, &r, "link", "--json")
		return r.Rows
	}
	restore := altered(t, found(t, study, "excerpts/*/left.wav"))
	out := t.TempDir()
	all := []string{"link", "report --out " + out + "/r.html", "export --plan 1 --kit " + out + "/k.bundle", "export --csv " + out + "/tables",
		"listen --plan 1 --listener L1 --again --plain --device null", "prepare --ladder gain --from -1 --to -2 --steps 2 --chain left"}
	for _, args := range all {
		if errs := refused(t, 3, strings.Fields(args)...); !strings.Contains(errs, "changed") || !strings.Contains(errs, "left.wav") {
			t.Errorf("%s: said %q", args, errs)
		}
	}
	if left := files(t, out); left != "" {
		t.Errorf("%s was written", left)
	}
	restore()
	want := linked()
	restore = altered(t, found(t, study, "excerpts/*/left.wav"))
	refused(t, 3, "link") // also what is remembered
	restore()
	if got := linked(); len(want) == 0 || fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("restored:\n%v\nbefore:\n%v", got, want)
	}
	must(t, os.Remove(found(t, study, "excerpts/*/left.wav")))
	refused(t, 3, "link")
}

// The same recording is added by several at once: one is taken, its audio stays, and the others are refused.
func TestTheSameRecordingAddedAtOnce(t *testing.T) {
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "left")
	rounds := 30
	if testing.Short() {
		rounds = 5
	}
	for round := range rounds {
		file := filepath.Join(dir, fmt.Sprintf("%d.wav", round))
		command(t, 0, "signal", "level", "--seconds", "0.2", "--seed", fmt.Sprint(round+1), "--out", file)
		var all sync.WaitGroup
		codes := make([]int, 3)
		for i := range codes {
			all.Go(func() {
				cmd := process("capture", "add", "left", file, "--as", "noise")
				cmd.Run()
				codes[i] = cmd.ProcessState.ExitCode()
			})
		}
		all.Wait()
		taken := 0
		for _, code := range codes {
			switch code {
			case 0:
				taken++
			case 3:
			default:
				t.Errorf("round %d: exit codes %v", round, codes)
			}
		}
		if taken != 1 {
			t.Errorf("round %d: exit codes %v", round, codes)
		}
	}
	command(t, 0, "verify")
	if n := len(strings.Fields(files(t, filepath.Join(study, "audio", "captures")))); n != rounds {
		t.Errorf("%d files are there, %d were added", n, rounds)
	}
}

// A file that is cut while it is being added is refused, or was taken whole: it is the copy that is checked.
func TestAFileThatIsCutWhileItIsAdded(t *testing.T) {
	dir, study := emptyStudy(t)
	command(t, 0, "chain", "add", "left")
	file := filepath.Join(dir, "cut.wav")
	command(t, 0, "signal", "level", "--seconds", "20", "--out", file)
	whole, err := os.ReadFile(file)
	must(t, err)
	rounds := 40
	if testing.Short() {
		rounds = 8
	}
	refusals := 0
	for round := range rounds {
		whole[len(whole)-1-round] ^= 1 // another recording each time
		must(t, os.WriteFile(file, whole, 0o644))
		cmd := process("capture", "add", "left", file, "--as", "noise")
		must(t, cmd.Start())
		time.Sleep(time.Duration(round) * 120 * time.Millisecond / time.Duration(rounds))
		must(t, os.Truncate(file, int64(len(whole)/3)))
		cmd.Wait()
		switch code := cmd.ProcessState.ExitCode(); code {
		case 0:
		case 3:
			refusals++
		default:
			t.Errorf("round %d: exit %d", round, code)
		}
	}
	if refusals == 0 {
		t.Error("no file was cut in time: the test tests nothing")
	}
	command(t, 0, "verify")
	taken, err := filepath.Glob(filepath.Join(study, "audio", "captures", "*"))
	must(t, err)
	command(t, 0, append([]string{"inspect"}, taken...)...)
}

// What a killed "prepare" put in its place without a record makes room for the next; what is not heardiff's stays.
func TestPreparingGoesOnAfterAKill(t *testing.T) {
	study := shiftedStudy(t)
	left := filepath.Join(study, "audio", "excerpts", "one")
	must(t, os.MkdirAll(left, 0o755))
	must(t, os.WriteFile(filepath.Join(left, "a.wav"), []byte("left by a process that was killed"), 0o644))
	must(t, os.WriteFile(filepath.Join(left, "notes.txt"), []byte("my own"), 0o644))
	if errs := refused(t, 3, "prepare", "--name", "one", "--excerpt", "1:2"); !strings.Contains(errs, "notes.txt") {
		t.Errorf("said %q", errs)
	}
	must(t, os.Remove(filepath.Join(left, "notes.txt")))
	command(t, 0, "prepare", "--name", "one", "--excerpt", "1:2")
	refused(t, 3, "prepare", "--name", "one", "--excerpt", "1:2")
	command(t, 0, "verify")
}
