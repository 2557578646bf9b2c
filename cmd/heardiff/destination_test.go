//go:build unix

package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"heardiff/trials/sqlite"
)

// writer is a command that writes a file, given without its last argument: where to write.
type writer struct {
	name string
	args []string
	file string // a name of the kind it writes
}

// writers returns every command that writes one file, on the study that is set.
func writers(t *testing.T, dir string) []writer {
	t.Helper()
	tone := filepath.Join(dir, "tone.wav")
	command(t, 0, "signal", "tone", "--seconds", "2", "--out", tone)
	jitter := filepath.Join(dir, "jitter.wav")
	command(t, 0, "signal", "jitter", "--seconds", "2", "--out", jitter)
	return []writer{
		{"report", []string{"report", "--out"}, "new.html"},
		{"export", []string{"export", "--out"}, "new.bundle"},
		{"kit", []string{"export", "--plan", "1", "--kit"}, "new.bundle"},
		{"signal", []string{"signal", "tone", "--seconds", "1", "--out"}, "new.wav"},
		{"impair", []string{"impair", tone, "--gain-db", "-1", "--out"}, "new.wav"},
		{"picture", []string{"power", "--p-true", "0.8", "--plot"}, "new.svg"},
		{"picture of a measurement", []string{"measure", tone, "--as", "tone", "--plot"}, "new.png"},
		{"picture of a transfer", []string{"measure", "transfer", jitter, jitter, "--plot"}, "new.svg"},
	}
}

// A file at the destination is replaced only if it is of the kind that is written and --force asks for it.
func TestWhatStandsThereIsNotWrittenOver(t *testing.T) {
	dir, study := answered(t)
	for _, w := range writers(t, dir) {
		t.Run(w.name, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), w.file)
			run := func(want int, to string, more ...string) string {
				t.Helper()
				_, errs := command(t, want, append(append(w.args, to), more...)...)
				return errs
			}
			holds := func(path, text string) {
				t.Helper()
				if got, err := os.ReadFile(path); err != nil || string(got) != text {
					t.Errorf("%s holds %.40q now, %v", path, got, err)
				}
			}
			must(t, os.WriteFile(to, []byte("my own notes, of years"), 0o644))
			if errs := run(2, to); !strings.Contains(errs, "already") || !strings.Contains(errs, "--force") {
				t.Errorf("said %q", errs)
			}
			run(2, to, "--force") // not of the kind that is written here
			holds(to, "my own notes, of years")

			// A file of its own kind is replaced only when asked for.
			must(t, os.Remove(to))
			run(0, to)
			first, err := os.Stat(to)
			must(t, err)
			run(2, to)
			if now, err := os.Stat(to); err != nil || !os.SameFile(first, now) {
				t.Errorf("an earlier one was replaced: %v", err)
			}
			run(0, to, "--force")
			if now, err := os.Stat(to); err != nil || os.SameFile(first, now) {
				t.Errorf("--force did not replace it: %v", err)
			}

			// A study's files are never written, whether they exist or not and by whatever path.
			link := filepath.Join(t.TempDir(), w.file)
			must(t, os.Symlink(filepath.Join(study, sqlite.FileName), link))
			for _, inside := range []string{link, filepath.Join(study, "audio", w.file), filepath.Join(study, "study."+filepath.Ext(w.file))} {
				run(2, inside, "--force")
			}
			command(t, 0, "verify")
			if left, _ := filepath.Glob(filepath.Join(study, "audio", "new*")); len(left) > 0 {
				t.Errorf("%v is among the study's audio", left)
			}
			run(3, filepath.Join(dir, "no folder", w.file))
		})
	}
}

// A link is followed: what it leads to is written, and it stays.
func TestALinkIsFollowed(t *testing.T) {
	dir := t.TempDir()
	target, link := filepath.Join(dir, "target.svg"), filepath.Join(dir, "link.svg")
	must(t, os.WriteFile(target, []byte("<svg/>"), 0o644))
	must(t, os.Symlink(target, link))
	command(t, 0, "power", "--p-true", "0.8", "--plot", link, "--force")
	if got, err := os.ReadFile(target); err != nil || len(got) < 100 {
		t.Errorf("the file behind the link holds %q, %v", got, err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is %v, %v", info, err)
	}
	must(t, os.Remove(target))
	command(t, 2, "power", "--p-true", "0.8", "--plot", link)
}

// A pipe and a device are written to, and stay what they are.
func TestAPipeIsWrittenToAndStays(t *testing.T) {
	dir, _ := answered(t)
	for _, w := range writers(t, dir) {
		t.Run(w.name, func(t *testing.T) {
			dir := t.TempDir()
			file, pipe := filepath.Join(dir, w.file), filepath.Join(dir, "pipe"+filepath.Ext(w.file))
			if err := syscall.Mkfifo(pipe, 0o600); err != nil {
				t.Skipf("NOT TESTED: no pipes here: %v", err)
			}
			came := make(chan []byte)
			go func() {
				data, _ := os.ReadFile(pipe)
				came <- data
			}()
			command(t, 0, append(w.args, pipe)...)
			got := <-came
			command(t, 0, append(w.args, file)...)
			want, err := os.ReadFile(file)
			must(t, err)
			if len(got) == 0 || math.Abs(float64(len(got)-len(want))) > 64 || !bytes.Equal(got[:4], want[:4]) {
				t.Errorf("%d bytes came through the pipe, a file has %d", len(got), len(want))
			}
			if info, err := os.Lstat(pipe); err != nil || info.Mode()&os.ModeNamedPipe == 0 {
				t.Errorf("the pipe is %v now, %v", info, err)
			}
			for _, name := range strings.Fields(files(t, dir)) {
				if name != filepath.Base(pipe) && name != w.file && name != w.file+".json" {
					t.Errorf("%s is there", name)
				}
			}
		})
	}
	if _, errs := command(t, 1, "signal", "tone", "--seconds", "1", "--out", "/dev/full"); !strings.Contains(errs, "space") {
		t.Errorf("said %q of a device that is full", errs)
	}
}

// Where nobody reads the pipe, an interrupt ends the wait.
func TestAnInterruptEndsTheWaitForAReader(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe.svg")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skipf("NOT TESTED: no pipes here: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(100*time.Millisecond, cancel)
	var errs bytes.Buffer
	if code := run(ctx, []string{"power", "--p-true", "0.8", "--plot", pipe}, nil, io.Discard, &errs); code != 130 {
		t.Errorf("exit %d: %s", code, errs.String())
	}
}

// What is written to /dev/stdout is not mixed with what is said of it.
func TestStandardOutputHoldsTheFileAlone(t *testing.T) {
	for _, to := range []string{"pipe", "file"} {
		cmd := process("signal", "tone", "--seconds", "1", "--out", "/dev/stdout")
		var errs bytes.Buffer
		cmd.Stderr = &errs
		var got []byte
		var err error
		if to == "pipe" {
			got, err = cmd.Output()
		} else {
			out, created := os.Create(filepath.Join(t.TempDir(), "out.wav"))
			must(t, created)
			cmd.Stdout = out
			err = cmd.Run()
			out.Close()
			got, _ = os.ReadFile(out.Name())
		}
		if err != nil || !wavFile.is(got) || bytes.Contains(got, []byte("holds")) || !strings.Contains(errs.String(), "holds") {
			t.Errorf("into a %s: %v, %d bytes, said %q", to, err, len(got), errs.String())
		}
	}
}

// A listener's tape replaces an earlier one, and nothing else.
func TestATapeReplacesOnlyATape(t *testing.T) {
	_, study := answered(t)
	for _, path := range []string{filepath.Join(study, sqlite.FileName), filepath.Join(study, "audio", "tape.wav")} {
		command(t, 2, "listen", "--plan", "1", "--listener", "L1", "--again", "--plain", "--device", "file:"+path)
	}
	command(t, 0, "verify")
	if said := refused(t, exitRejected, "listen", "--plan", "1", "--listener", "L1", "--again", "--plain", "--device", "file:nowhere/tape.wav"); !strings.Contains(said, "there is no folder nowhere") {
		t.Errorf("said %q", said)
	}
	own := filepath.Join(t.TempDir(), "own.wav")
	saveWAV(t, own, music(1))
	before, err := os.ReadFile(own)
	must(t, err)
	command(t, 2, "listen", "--plan", "1", "--listener", "L1", "--again", "--plain", "--device", "file:"+own)
	if after, err := os.ReadFile(own); err != nil || !bytes.Equal(before, after) {
		t.Errorf("a recording was replaced by a tape: %v", err)
	}
}

// Tables and pairs of files come into a folder under the same rules.
func TestTablesAreNotWrittenOver(t *testing.T) {
	dir, study := answered(t)
	to := filepath.Join(dir, "tables")
	must(t, os.Mkdir(to, 0o755))
	must(t, os.WriteFile(filepath.Join(to, "trials.csv"), []byte("my own table\n"), 0o644))
	command(t, 2, "export", "--csv", to)
	command(t, 2, "export", "--csv", to, "--force")
	if got := files(t, to); got != "trials.csv" {
		t.Errorf("%s are there", got)
	}
	must(t, os.Remove(filepath.Join(to, "trials.csv")))
	command(t, 0, "export", "--csv", to)
	command(t, 2, "export", "--csv", to)
	command(t, 0, "export", "--csv", to, "--force")
	command(t, 2, "export", "--csv", filepath.Join(study, "audio"))
	command(t, 2, "export", "--csv", filepath.Join(study, "audio", "new"))
	command(t, 0, "verify")
}

func TestAFileIsWrittenWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "note.json")
	a := &app{force: true}
	broken := errors.New("the disk is full")
	write := func(text string, fails error) error {
		d, err := a.destination(path, noteFile)
		must(t, err)
		return d.write(context.Background(), func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return errors.Join(err, fails)
		})
	}
	const old = `{"schema":"heardiff.old"}`
	must(t, write(old, nil))
	if err := write("new, but cut", broken); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != old || files(t, dir) != "note.json" {
		t.Errorf("after the failure: %q, %v; %s are there", data, err, files(t, dir))
	}
	must(t, write("new", nil))
	if data, err := os.ReadFile(path); err != nil || string(data) != "new" || files(t, dir) != "note.json" {
		t.Errorf("replaced: %q, %v; %s are there", data, err, files(t, dir))
	}
}

// A file that appears at the place between the check and the writing stays.
func TestWhatComesMeanwhileIsNotWrittenOver(t *testing.T) {
	path := filepath.Join(t.TempDir(), "note.json")
	d, err := (&app{}).destination(path, noteFile)
	must(t, err)
	must(t, os.WriteFile(path, []byte("somebody else's"), 0o644))
	if err := d.write(context.Background(), func(w io.Writer) error { return nil }); err == nil {
		t.Error("no error")
	}
	if data, _ := os.ReadFile(path); string(data) != "somebody else's" || files(t, filepath.Dir(path)) != "note.json" {
		t.Errorf("it holds %q now; %s are there", data, files(t, filepath.Dir(path)))
	}
}

// A file that a command writes has the permissions that the umask leaves: with a restrictive one nobody else can read it.
func TestAClosedUmaskIsObeyed(t *testing.T) {
	old := syscall.Umask(0o077)
	defer syscall.Umask(old)
	dir, _ := answered(t)
	out := filepath.Join(dir, "out")
	must(t, os.Mkdir(out, 0o755))
	for _, w := range writers(t, dir) {
		command(t, 0, append(w.args, filepath.Join(out, w.name+filepath.Ext(w.file)))...)
	}
	command(t, 0, "export", "--csv", filepath.Join(out, "tables"))
	command(t, 0, "import", filepath.Join(out, "kit.bundle"), "--study", filepath.Join(dir, "kit"))
	must(t, filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		must(t, err)
		info, err := e.Info()
		must(t, err)
		if path != dir && path != out && info.Mode().Perm()&0o077 != 0 && info.Mode()&os.ModeSymlink == 0 {
			t.Errorf("%s has mode %v", path, info.Mode())
		}
		return nil
	}))
}

// A file in the place of a folder that is to be made stays.
func TestAFileInTheWayOfAFolderStays(t *testing.T) {
	dir, _ := answered(t)
	kit, file := filepath.Join(dir, "kit.bundle"), filepath.Join(dir, "notes.txt")
	command(t, 0, "export", "--plan", "1", "--kit", kit)
	must(t, os.WriteFile(file, []byte("my own"), 0o644))
	own := filepath.Join(dir, "own")
	must(t, os.MkdirAll(filepath.Join(own, "letters"), 0o755))
	before := files(t, dir)
	for _, to := range []string{file, own} {
		refused(t, 3, "demo", "--dir", to)
		refused(t, 2, "import", kit, "--study", to)
		refused(t, 2, "compare", filepath.Join(dir, "left.wav"), filepath.Join(dir, "right.wav"), "--out", file)
		refused(t, 2, "export", "--csv", file)
		command(t, map[string]int{file: 3, own: 0}[to], "study", "new", to, "--title", "a test")
	}
	if data, err := os.ReadFile(file); err != nil || string(data) != "my own" {
		t.Errorf("the file holds %q, %v", data, err)
	}
	if after := files(t, dir); after != before || files(t, own) != "audio letters study.db" {
		t.Errorf("now %s, before %s; in the folder %s", after, before, files(t, own))
	}
}

// A study, or a kit's, is not made among the files of another; nor over one.
func TestAStudyIsNotMadeAmongTheFilesOfAnother(t *testing.T) {
	home := listeningStudy(t, "abx", 3)
	kit := filepath.Join(t.TempDir(), "kit.bundle")
	command(t, 0, "export", "--plan", "1", "--kit", kit)
	before := listing(t, home)
	inside := filepath.Join(home, "audio", "captures", "inner")
	for _, args := range [][]string{{"study", "new", inside, "--title", "t"}, {"import", kit, "--study", inside}} {
		if said := refused(t, exitUsage, args...); !strings.Contains(said, "a place for a study's own files") {
			t.Errorf("%q: said %q", args, said)
		}
	}
	command(t, exitUsage, "demo", "--dir", inside)
	if said := refused(t, exitRejected, "study", "new", home, "--title", "t"); !strings.Contains(said, home+": a study is there already") {
		t.Errorf("said %q", said)
	}
	if after := listing(t, home); after != before {
		t.Errorf("there is now:\n%s\nthere was:\n%s", after, before)
	}
}
