package main

import (
	"archive/zip"
	"bytes"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"heardiff/playback/wav"
	"heardiff/trials/sqlite"
	"heardiff/trials/store/storetest"
	"heardiff/trials/study"
)

var wide = flag.Bool("full", false, "run the whole grids")

// luck is a place to try every command that writes: a study, what is put into it, and a folder for what comes out.
type luck struct{ dir, study, in, out string }

// newLuck makes a study with something left to do for every command: a capture that is not measured, music that is not cut, a
// session that has ended; and next to it recordings, a kit and another site's results.
func newLuck(t *testing.T) luck {
	t.Helper()
	study := listeningStudy(t, "abx", 3)
	l := luckAt(filepath.Dir(study))
	must(t, os.MkdirAll(l.in, 0o755))
	must(t, os.MkdirAll(l.out, 0o755))
	in := func(name string) string { return filepath.Join(l.in, name) }
	command(t, 0, "signal", "tone", "--seconds", "2", "--out", in("tone.wav"))
	command(t, 0, "signal", "silence", "--seconds", "1", "--out", in("noise.wav"))
	command(t, 0, "signal", "level", "--seconds", "4", "--out", in("music.wav"))
	command(t, 0, "impair", in("music.wav"), "--noise-dbfs", "-90", "--out", in("same.wav"))
	command(t, 0, "capture", "add", "left", in("tone.wav"), "--as", "tone")
	command(t, 0, "listener", "add", "L3")
	must(t, os.Rename(awayAndBack(t), in("results.bundle")))
	command(t, 0, "export", "--plan", "1", "--kit", in("kit.bundle"))
	answerPlan(t)
	return l
}

func luckAt(dir string) luck {
	return luck{dir: dir, study: filepath.Join(dir, "study"), in: filepath.Join(dir, "in"), out: filepath.Join(dir, "out")}
}

// copyTo copies the place, and makes its study the current one.
func (l luck) copyTo(t *testing.T, dir string) luck {
	t.Helper()
	to := luckAt(dir)
	for _, d := range []string{"study", "in"} {
		must(t, os.CopyFS(filepath.Join(dir, d), os.DirFS(filepath.Join(l.dir, d))))
	}
	must(t, os.MkdirAll(to.out, 0o755))
	t.Setenv("HEARDIFF_STUDY", to.study)
	return to
}

// writing is a command that writes; whole checks what it wrote under out, where anything is there.
type writing struct {
	name  string
	args  []string
	whole func(t *testing.T, path string)
	typed string // on its standard input
	// long marks a command that takes longer than all others together: it is killed, and given a full disk, fewer times.
	long bool
}

// process is the command as a process of its own.
func (w writing) process() *exec.Cmd {
	cmd := process(w.args...)
	cmd.Stdin = strings.NewReader(w.typed)
	return cmd
}

// succeeds runs the command, and fails the test where it does not succeed.
func (w writing) succeeds(t *testing.T) {
	t.Helper()
	var said bytes.Buffer
	if code := run(t.Context(), w.args, strings.NewReader(w.typed), &said, &said); code != 0 {
		t.Fatalf("%s: exit %d: %s", w.name, code, said.String())
	}
}

func (l luck) writings() []writing {
	in := func(name string) string { return filepath.Join(l.in, name) }
	out := func(name string) string { return filepath.Join(l.out, name) }
	all := []writing{
		{"study new", []string{"study", "new", out("study"), "--title", "a test"}, isStudy, "", false},
		{"chain add", []string{"chain", "add", "third"}, nil, "", false},
		{"capture add", []string{"capture", "add", "left", in("noise.wav"), "--as", "noise"}, nil, "", false},
		{"measure", []string{"measure"}, nil, "", false},
		{"prepare", []string{"prepare", "--name", "two", "--excerpt", "1:1"}, nil, "", false},
		{"ladder", []string{"prepare", "--ladder", "gain", "--from", "-1", "--to", "-3", "--steps", "3", "--of", "e", "--chain", "left"}, nil, "", false},
		{"plan new", []string{"plan", "new", "--design", "abx", "--a", "left", "--b", "right", "--trials", "5"}, nil, "", false},
		{"listener add", []string{"listener", "add", "L2"}, nil, "", false},
		{"export", []string{"export", "--out", out("results.bundle")}, isBundle, "", false},
		{"kit", []string{"export", "--plan", "1", "--kit", out("kit.bundle")}, isBundle, "", false},
		{"tables", []string{"export", "--csv", out("tables")}, nil, "", false},
		{"import of a kit", []string{"import", in("kit.bundle"), "--study", out("kit")}, isStudy, "", false},
		{"import of results", []string{"import", in("results.bundle")}, nil, "", false},
		{"report", []string{"report", "--out", out("report.html")}, endsWith("</html>"), "", false},
		{"signal", []string{"signal", "tone", "--seconds", "2", "--out", out("tone.wav")}, isWAV, "", false},
		{"impair", []string{"impair", in("tone.wav"), "--gain-db", "-1", "--out", out("tone.wav")}, isWAV, "", false},
		{"compare", []string{"compare", in("music.wav"), in("same.wav"), "--out", out("pair")}, func(t *testing.T, path string) {
			for _, name := range pairNames {
				isWAV(t, filepath.Join(path, name))
			}
		}, "", false},
		{"picture", []string{"power", "--p-true", "0.8", "--plot", out("power.svg")}, endsWith("</svg>"), "", false},
		{"listen", []string{"listen", "--plan", "1", "--listener", "L3", "--device", "null", "--plain"}, nil, "void a lorry\nrest\nrest\nvoid a door\nquit\n", false},
	}
	if *wide {
		all = append(all, writing{"demo", []string{"demo", "--dir", out("demo")}, isDemonstration, "", true},
			writing{"retitle", []string{"study", "retitle", "another title"}, nil, "", false},
			writing{"correct", []string{"chain", "correct", "left", "--about", "the one on the left"}, nil, "", false},
			writing{"man", []string{"man", "--dir", out("man")}, isManual, "", false})
	}
	return all
}

// isManual demands the pages of both sections.
func isManual(t *testing.T, path string) {
	t.Helper()
	for _, section := range []string{"man1", "man7"} {
		if _, err := os.Stat(filepath.Join(path, section)); err != nil {
			t.Error(err)
		}
	}
}

// isDemonstration demands a whole study, or one that "demo" makes anew.
func isDemonstration(t *testing.T, path string) {
	t.Helper()
	if study.HoldsStudy(path) {
		isStudy(t, path)
		return
	}
	must(t, clearDemo(path))
}

func isStudy(t *testing.T, path string) {
	t.Helper()
	command(t, 0, "verify", "--study", path)
}

func isBundle(t *testing.T, path string) {
	t.Helper()
	r, err := zip.OpenReader(path)
	if err != nil {
		t.Errorf("%s: %v", path, err)
		return
	}
	r.Close()
}

func endsWith(text string) func(t *testing.T, path string) {
	return func(t *testing.T, path string) {
		t.Helper()
		if data, err := os.ReadFile(path); err != nil || !bytes.HasSuffix(bytes.TrimSpace(data), []byte(text)) {
			t.Errorf("%s is cut, %v", path, err)
		}
	}
}

func isWAV(t *testing.T, path string) {
	t.Helper()
	if strings.HasSuffix(path, ".json") {
		endsWith("}")(t, path)
		return
	}
	f, err := wav.Open(path)
	if err != nil {
		t.Errorf("%s: %v", path, err)
		return
	}
	f.Close()
}

// check demands that all that is there is whole, and that the study is as it was recorded.
func (w writing) check(t *testing.T, l luck) {
	t.Helper()
	command(t, 0, "verify")
	all, err := os.ReadDir(l.out)
	must(t, err)
	for _, e := range all {
		if w.whole != nil && !strings.HasPrefix(e.Name(), ".") && !(e.IsDir() && emptyOfStudies(filepath.Join(l.out, e.Name()))) {
			w.whole(t, filepath.Join(l.out, e.Name()))
		}
	}
}

// emptyOfStudies reports whether a folder in which a study was being made holds none yet.
func emptyOfStudies(dir string) bool {
	visible, err := filepath.Glob(filepath.Join(dir, "[a-z]*"))
	return err == nil && (len(visible) == 0 || len(visible) == 1 && filepath.Base(visible[0]) == "audio")
}

// listing is every name below a folder, except the files that come and go with the database, the folder of captures, and the lock of the
// first session.
func listing(t *testing.T, dir string) string {
	t.Helper()
	var all []string
	must(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		must(t, err)
		if !strings.HasSuffix(path, "-wal") && !strings.HasSuffix(path, "-shm") && !strings.HasSuffix(path, "study.lock") && path != filepath.Join(dir, "study", "audio", "captures") {
			all = append(all, strings.TrimPrefix(path, dir))
		}
		return nil
	}))
	return strings.Join(all, "\n")
}

// A command is killed at a random moment. The study is whole, what came out is whole or not there, the same command can be given again,
// and afterwards nothing shows that it was killed.
func TestCommandsThatAreKilled(t *testing.T) {
	rounds := 1
	if *wide {
		rounds = 18
	}
	l := newLuck(t)
	random := rand.New(rand.NewPCG(14, 5))
	for i, w := range l.writings() {
		t.Run(w.name, func(t *testing.T) {
			rounds := rounds
			w := l.copyTo(t, t.TempDir()).writings()[i]
			began := time.Now()
			if said, err := w.process().CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, said)
			}
			takes := float64(time.Since(began))
			if w.long {
				rounds = min(rounds, 8)
			}
			for round := range rounds {
				part := (float64(round) + random.Float64()) / float64(rounds) // random, and yet from the beginning to the end
				t.Run(strconv.Itoa(round), func(t *testing.T) { l.killed(t, i, time.Duration(1.1*takes*part), round == rounds-1) })
			}
		})
	}
}

// killed kills a command after the given time. A long command is run again only in the last round: in the others it must be able to
// clear what is left, which it does first, so that it finds the folder as it found it the first time.
func (l luck) killed(t *testing.T, i int, after time.Duration, last bool) {
	l = l.copyTo(t, t.TempDir())
	w := l.writings()[i]
	before := listing(t, l.dir)
	cmd := w.process()
	must(t, cmd.Start())
	time.Sleep(after)
	cmd.Process.Kill()
	cmd.Wait()
	w.check(t, l)
	if w.long && !last {
		must(t, clearDemo(filepath.Join(l.out, w.name)))
		if now := listing(t, l.dir); now != before {
			t.Errorf("left behind:\n%s\nthere was:\n%s", now, before)
		}
		return
	}

	again := w.process()
	said, _ := again.CombinedOutput()
	switch code := again.ProcessState.ExitCode(); {
	case code == 0:
	case (code == 2 || code == 3) && cameToItsEnd(string(said)):
	default:
		t.Errorf("given again: exit %d: %s", code, said)
	}
	w.check(t, l)
	// Where the killed run had come to its end, the second one was refused before it swept its folder.
	command(t, 0, "power", "--p-true", "0.8", "--plot", filepath.Join(l.out, "last.svg"))
	if names := listing(t, l.dir); strings.Contains(names, "/.") {
		t.Errorf("left behind:\n%s", names)
	}
}

// cameToItsEnd reports whether a command is refused because an earlier one had done it.
func cameToItsEnd(said string) bool {
	for _, text := range []string{"already", "the same audio is in the study", "a kit makes a study of its own"} {
		if strings.Contains(said, text) {
			return true
		}
	}
	return false
}

// The disk fills up at each write of a command in turn: the command says so, as a fault of the disk, the study is whole and nothing is
// left behind; with more room the same command succeeds.
func TestADiskThatIsFull(t *testing.T) {
	steps := 3
	if *wide {
		steps = 40
	}
	l := newLuck(t)
	for i, w := range l.writings() {
		t.Run(w.name, func(t *testing.T) { l.fills(t, i, steps) })
	}
}

// withoutWarnings returns the lines of a command's messages that are not warnings.
func withoutWarnings(said string) (rest string) {
	for line := range strings.Lines(said) {
		if !strings.HasPrefix(line, "heardiff: warning: ") {
			rest += line
		}
	}
	return rest
}

// parts returns how much room a command is given, of the room that it needs: spread evenly over steps, so that the disk fills up at one
// write after the other. A long command gets six sizes, ever closer to all that it needs, because it writes little near its end.
func (w writing) parts(needs, steps int) (parts []int) {
	if !w.long {
		for step := range steps {
			parts = append(parts, needs*step/steps)
		}
		return parts
	}
	parts = []int{0, needs / 3}
	for _, halved := range []int{1, 2, 5, 9} {
		parts = append(parts, needs-needs>>halved)
	}
	return parts
}

func (l luck) fills(t *testing.T, i, steps int) {
	const room = 1 << 30 // only what is used of it is taken
	// How much is written, so that the sizes to try are spread over it.
	disk, _ := storetest.Disk(t, room)
	on := l.copyTo(t, disk)
	before := storetest.Used(t, disk)
	on.writings()[i].succeeds(t)
	needs := storetest.Used(t, disk) - before + 256<<10 // the log comes and goes

	disk, _ = storetest.Disk(t, room)
	on = l.copyTo(t, disk)
	w := on.writings()[i]
	stood, used, failed, done := listing(t, disk), storetest.Used(t, disk), 0, false
	for step, part := range w.parts(needs, steps) {
		storetest.Resize(t, disk, used+part/4096*4096)
		var said bytes.Buffer // the demonstration prints each of its steps
		code := run(t.Context(), w.args, strings.NewReader(w.typed), io.Discard, &said)
		storetest.Resize(t, disk, room)
		if done = code == 0; done {
			break
		}
		failed++
		text := withoutWarnings(said.String())
		if code != exitFailed || !strings.Contains(text, "hint: make room") || strings.Count(text, "\n") != 2 {
			t.Errorf("step %d: exit %d: %s", step, code, text)
		}
		if strings.Contains(text, "/.") || strings.Contains(text, "damaged") {
			t.Errorf("step %d: a temporary file is named, which nobody knows, or the bundle blamed: %s", step, text)
		}
		if now := listing(t, disk); now != stood {
			t.Fatalf("step %d: %s\nleft:\n%s\nthere was:\n%s", step, text, now, stood)
		}
		command(t, 0, "verify")
	}
	if failed == 0 {
		t.Error("the disk was never full: the test tests nothing")
	}
	if !done {
		w.succeeds(t)
	}
	w.check(t, on)
}

// A lack of room for what is unpacked on the way is no fault of the file.
func TestAMissingFolderForTemporaryFilesIsNoFaultOfTheFile(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "audio")
	all, err := filepath.Glob(filepath.Join(file, "*.flac"))
	if err != nil || len(all) == 0 {
		t.Fatalf("no FLAC file to read: %v", err)
	}
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "nowhere"))
	if errs := refused(t, 1, "inspect", all[0]); !strings.Contains(errs, "TMPDIR") {
		t.Errorf("said %q", errs)
	}
	disk, _ := storetest.Disk(t, 4096)
	t.Setenv("TMPDIR", disk)
	if errs := refused(t, 1, "inspect", all[0]); !strings.Contains(errs, "TMPDIR") {
		t.Errorf("said %q", errs)
	}
}

// A study on read-only media serves every command that only reads, including what a killed command left in the log; a command that would
// write says why it cannot.
func TestAStudyOnReadOnlyMedia(t *testing.T) {
	l := newLuck(t)
	for _, log := range []bool{false, true} {
		disk, readOnly := storetest.Disk(t, 64<<20)
		on := l.copyTo(t, disk)
		if log { // a kill leaves the last entries there
			s, err := (&app{stderr: io.Discard, now: time.Now, getenv: os.Getenv}).openStudy(t.Context())
			must(t, err)
			must(t, s.AddListener(t.Context(), study.Listener{ID: "L9"}))
			must(t, os.CopyFS(filepath.Join(disk, "killed"), os.DirFS(on.study)))
			must(t, s.Close())
			t.Setenv("HEARDIFF_STUDY", filepath.Join(disk, "killed"))
		}
		readOnly()
		out := t.TempDir()
		for _, args := range []string{"verify", "study show", "plan list", "plan show 1", "listener list", "results", "pool", "link",
			"report --out " + out + "/r.html", "export --out " + out + "/b.bundle", "export --plan 1 --kit " + out + "/k.bundle", "export --csv " + out + "/t",
			"prepare --suggest 1 --length 1"} {
			said, _ := command(t, 0, strings.Fields(args)...)
			if args == "listener list" && strings.Contains(said, "L9") != log {
				t.Errorf("log %v: %s", log, said)
			}
		}
		for _, args := range []string{"chain add third", "measure", "listener add L3", "prepare --name two --excerpt 1:1", "capture add left " + on.in + "/noise.wav --as noise",
			"report --out " + disk + "/r.html"} {
			if errs := refused(t, 1, strings.Fields(args)...); !strings.Contains(errs, "hint: what is there can only be read") {
				t.Errorf("%s: said %q", args, errs)
			}
		}
	}
}

// A file that is no record of a study, or a damaged record, gives one line and exit 3, whichever command meets it.
func TestADamagedRecordIsReported(t *testing.T) {
	_, study := answered(t)
	path := filepath.Join(study, sqlite.FileName)
	db, err := sql.Open("sqlite", path)
	must(t, err)
	_, err = db.Exec(`VACUUM`) // a page that holds nothing can be zeroed and nothing is lost
	must(t, err)
	must(t, db.Close())
	sound, err := os.ReadFile(path)
	must(t, err)
	zeroed := func(page int) []byte {
		data := bytes.Clone(sound)
		clear(data[4096*page : 4096*(page+1)])
		return data
	}
	cases := map[string][]byte{"garbage": bytes.Repeat([]byte("garbage "), 4096), "empty": {}, "no version": append(bytes.Clone(sound[:60]), append(make([]byte, 4), sound[64:]...)...),
		"version to come": append(bytes.Clone(sound[:60]), append([]byte{0, 9, 9, 9}, sound[64:]...)...), "cut": sound[:len(sound)/2]}
	for page := range len(sound) / 4096 {
		cases[fmt.Sprintf("page %d zeroed", page+1)] = zeroed(page)
	}
	for name, data := range cases {
		for _, companion := range []string{"-wal", "-shm"} {
			os.Remove(path + companion)
		}
		must(t, os.WriteFile(path, data, 0o644))
		// "verify" prints what the database's own check finds, and then the line of every command.
		if _, errs := command(t, 3, "verify"); strings.Count(errs, "\n") > 2 {
			t.Errorf("%s: said %q", name, errs)
		}
	}
	for _, companion := range []string{"-wal", "-shm"} {
		os.Remove(path + companion)
	}
	must(t, os.WriteFile(path, sound, 0o644))
	command(t, 0, "verify")
}
