package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials"
)

// command runs one command line in-process and fails the test unless it exits with want.
func command(t *testing.T, want int, args ...string) (stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	if got := run(context.Background(), args, strings.NewReader(""), &out, &errs); got != want {
		t.Fatalf("heardiff %s: exit %d, want %d\n%s%s", strings.Join(args, " "), got, want, out.String(), errs.String())
	}
	return out.String(), errs.String()
}

// decode runs a command, decodes its JSON into v, and returns it.
func decode(t *testing.T, v any, args ...string) string {
	t.Helper()
	out, _ := command(t, 0, args...)
	must(t, json.Unmarshal([]byte(out), v))
	return out
}

// music is synthetic: many decaying partials, the same for everyone.
func music(seconds float64) pcm.Clip {
	c := pcm.NewClip(48000, 2, int(48000*seconds))
	random := rand.New(rand.NewPCG(7, 7))
	for range 60 {
		hz, start, pan := 80*math.Exp2(6*random.Float64()), random.Float64()*seconds, random.Float64()
		for i := int(start * 48000); i < c.Len(); i++ {
			s := float64(i)/48000 - start
			v := 0.05 * math.Exp(-2*s) * math.Sin(2*math.Pi*hz*s)
			c.Channels[0][i] += pan * v
			c.Channels[1][i] += (1 - pan) * v
		}
	}
	return c
}

// noisy adds a little noise to a clip, another for each chain.
func noisy(c pcm.Clip, chain int) pcm.Clip {
	random := rand.New(rand.NewPCG(uint64(chain), 9))
	for _, ch := range c.Channels {
		for i := range ch {
			ch[i] += 1e-4 * random.NormFloat64()
		}
	}
	return c
}

// emptyStudy makes a study, the current one, with keys of its own, and returns its parent folder and its own.
func emptyStudy(t *testing.T) (dir, study string) {
	t.Helper()
	dir = t.TempDir()
	at(t, dir, "study")
	study = filepath.Join(dir, "study")
	command(t, 0, "study", "new", study, "--title", "a test")
	return dir, study
}

// listeningStudy makes a study with two chains that differ by a little noise, an excerpt of two seconds and a plan,
// and returns its folder.
func listeningStudy(t *testing.T, design string, count int) string {
	t.Helper()
	dir, study := emptyStudy(t)
	for k, chain := range []string{"left", "right"} {
		c := noisy(music(4), k)
		file := filepath.Join(dir, chain+".wav")
		w, err := wav.Create(file, pcm.Format{Rate: 48000, Channels: 2, Bits: 24}, nil)
		must(t, err)
		must(t, w.Write(c.Channels))
		must(t, w.Close())
		command(t, 0, "chain", "add", chain)
		command(t, 0, "capture", "add", chain, file, "--as", "music")
	}
	command(t, 0, "prepare", "--excerpt", "1:2", "--name", "e")
	command(t, 0, "listener", "add", "L1")
	command(t, 0, "plan", "new", "--design", design, "--a", "left", "--b", "right", "--trials", fmt.Sprint(count))
	return study
}

// sitting is a running "listen --plain" whose device writes a file.
type sitting struct {
	t      *testing.T
	in     *io.PipeWriter
	out    *bufio.Scanner
	file   string
	chains map[string]pcm.Clip
	ended  chan int
}

func sit(t *testing.T, study string, extra ...string) *sitting {
	t.Helper()
	s := sitDown(t, append([]string{"listen", "--plan", "1", "--listener", "L1"}, extra...)...)
	for _, chain := range []string{"left", "right"} {
		s.chains[chain] = loadWAV(t, filepath.Join(study, "audio", "excerpts", "e", chain+".wav"))
	}
	return s
}

// sitDown begins a sitting that knows no chain's audio yet.
func sitDown(t *testing.T, listen ...string) *sitting {
	t.Helper()
	s := &sitting{t: t, file: filepath.Join(t.TempDir(), "heard.wav"), chains: map[string]pcm.Clip{}, ended: make(chan int, 1)}
	inRead, inWrite := io.Pipe()
	outRead, outWrite := io.Pipe()
	s.in, s.out = inWrite, bufio.NewScanner(outRead)
	args := append(listen, "--plain", "--device", "file:"+s.file)
	go func() {
		code := run(context.Background(), args, inRead, outWrite, io.Discard)
		outWrite.Close()
		s.ended <- code
	}()
	t.Cleanup(func() { inWrite.Close() })
	return s
}

// loadWAV reads a file front to back, so that one that grows meanwhile is never shorter than its header says.
func loadWAV(t *testing.T, path string) pcm.Clip {
	t.Helper()
	data, err := os.ReadFile(path)
	must(t, err)
	f, err := wav.New(bytes.NewReader(data), int64(len(data)))
	if errors.Is(err, pcm.ErrEmpty) || errors.Is(err, wav.ErrUnfinished) { // before the first flush
		return pcm.Clip{}
	}
	must(t, err)
	c, err := pcm.Load(f, 0, -1)
	must(t, err)
	return c
}

func (s *sitting) line() string {
	s.t.Helper()
	if !s.out.Scan() {
		s.t.Fatal("the session ended early")
	}
	return s.out.Text()
}

func (s *sitting) say(command, word string) string {
	s.t.Helper()
	fmt.Fprintln(s.in, command)
	line := s.line()
	if !strings.HasPrefix(line, word) {
		s.t.Fatalf("%q was answered %q, want %s", command, line, word)
	}
	return line
}

// hear plays a label and returns which chain's audio has reached the device since, sample for sample.
func (s *sitting) hear(label string) string {
	s.t.Helper()
	s.say(label, "playing")
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); {
		time.Sleep(120 * time.Millisecond)
		heard := loadWAV(s.t, s.file)
		const window = 2400 // 50 ms: well past the 5 ms of a fade, once enough time has gone by
		if heard.Len() < window {
			continue
		}
		tail := heard.Slice(heard.Len()-window, heard.Len())
		if name := s.find(tail); name != "" {
			return name
		}
	}
	s.t.Fatal("nothing recognisable reached the device")
	return ""
}

// find returns the chain whose excerpt contains tail, bit for bit.
func (s *sitting) find(tail pcm.Clip) string {
	for name, c := range s.chains {
		for from := 0; from+tail.Len() <= c.Len(); from++ {
			if same(c, tail, from) {
				return name
			}
		}
	}
	return ""
}

func same(c, part pcm.Clip, from int) bool {
	for k, ch := range part.Channels {
		for i, v := range ch {
			if v != c.Channels[k][from+i] {
				return false
			}
		}
	}
	return part.Channels[0][0] != 0
}

// results reads the tally of the only ended session.
func results(t *testing.T) trials.Tally {
	t.Helper()
	var r struct {
		Sessions []struct {
			Comparisons []trials.Tally `json:"comparisons"`
		} `json:"sessions"`
	}
	out := decode(t, &r, "results", "--json")
	for _, s := range r.Sessions {
		if len(s.Comparisons) > 0 {
			return s.Comparisons[0]
		}
	}
	t.Fatalf("no ended session in %s", out)
	return trials.Tally{}
}

// A listener who reads what reaches the device, and nothing else, must get every answer right: the file holds the
// excerpts sample for sample, and X is what the result says it was.
func TestOracleAtTheDeviceIsAlwaysRight(t *testing.T) {
	const n = 6
	s := sit(t, listeningStudy(t, "abx", n))
	if line := s.line(); !strings.HasPrefix(line, "ready 1 of 6") {
		t.Fatal(line)
	}
	for i := range n {
		s.oracle()
		if line := s.line(); i < n-1 && !strings.HasPrefix(line, fmt.Sprintf("ready %d of 6", i+2)) {
			t.Fatal(line)
		}
	}
	s.end()
	if r := results(t); r.Correct != n || r.Trials != n {
		t.Errorf("the oracle was right %d times of %d", r.Correct, r.Trials)
	}
	command(t, 0, "verify")
}

// oracle answers one ABX trial by what reaches the device.
func (s *sitting) oracle() {
	s.t.Helper()
	if got := s.hear("a"); got != "left" {
		s.t.Fatalf("A played %s", got)
	}
	answer := "a"
	if s.hear("x") == "right" {
		answer = "b"
	}
	s.say("answer "+answer, "asked")
	s.say("confirm", "saved")
}

// end reads what is left to be said.
func (s *sitting) end() {
	s.t.Helper()
	for s.out.Scan() {
	}
	if code := <-s.ended; code != 0 {
		s.t.Errorf("exit %d", code)
	}
}

func TestPairOracleIsAlwaysRight(t *testing.T) {
	const n = 4
	study := listeningStudy(t, "same-different", n)
	s := sit(t, study)
	s.line()
	for range n {
		answer := "different"
		if s.hear("1") == s.hear("2") {
			answer = "same"
		}
		s.say("answer "+answer, "asked")
		s.say("confirm", "saved")
		s.line()
	}
	for s.out.Scan() {
	}
	<-s.ended
	if r := results(t); r.Correct != n {
		t.Errorf("the oracle was right %d times of %d", r.Correct, r.Trials)
	}
}

// Leaving and coming back must not change what is hidden, and a second listener is kept out meanwhile.
func TestSessionIsLeftAndResumed(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	s := sit(t, study)
	s.line()
	first := s.hear("x")
	_, errs := command(t, 1, "listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "null")
	if !strings.Contains(errs, "another session") {
		t.Errorf("a second copy: %s", errs)
	}
	s.say("quit", "stopped")
	if code := <-s.ended; code != 0 {
		t.Fatalf("exit %d", code)
	}
	s = sit(t, study)
	if line := s.line(); !strings.HasPrefix(line, "ready 1 of 3") {
		t.Fatal(line)
	}
	if again := s.hear("x"); again != first {
		t.Errorf("X was %s and is %s after resuming", first, again)
	}
	s.say("void a lorry went by", "saved")
	if line := s.line(); !strings.HasPrefix(line, "ready 2 of 4") {
		t.Errorf("after a void trial: %s", line)
	}
	s.say("quit", "stopped")
	<-s.ended
	out, _ := command(t, 0, "results", "--json")
	if strings.Contains(out, `"truth"`) {
		t.Errorf("results of a running session are shown: %s", out)
	}
}
