package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials/study"
)

// What next says is done as it is printed, from an empty study to its report: each line takes the study one step on. What the test
// adds is what no study can know: the recordings, under the names in the line, and what plays and answers.
func TestEachNextLineTakesTheStudyOn(t *testing.T) {
	dir := t.TempDir()
	at(t, dir, "bench")
	t.Chdir(dir)
	for _, chain := range []string{"direct", "other"} {
		must(t, wav.Save(chain+"-music.wav", noisy(music(4), len(chain)), ""))
		throughChain(t, dir, "jitter", chain+"-jitter.wav", 1e-5*float64(len(chain)), 0)
	}
	said, _ := command(t, 0, "study", "new", os.Getenv("HEARDIFF_STUDY"), "--title", "a way")
	var steps []string
	for line := lastLine(said); len(steps) < 20; line = lastLine(said) {
		asked, _ := command(t, 0, "next")
		if now := lastLine(asked); now != line {
			t.Fatalf("the command ended with %q, next says %q", line, now)
		}
		text, more := strings.CutPrefix(line, "next: heardiff ")
		if !more {
			break
		}
		words := strings.Fields(text)
		steps = append(steps, strings.Join(words[:min(2, len(words))], " "))
		if words[0] == "listen" {
			said = workedThrough(t, words)
			continue
		}
		if said, _ = command(t, 0, words...); words[0] == "report" {
			said, _ = command(t, 0, "next") // a report is the end of the way, and says where it was written
		}
	}
	want := "chain add; chain add; capture add; capture add; capture add; capture add; measure --study; prepare --study; plan new; listener add; listen --plan; report --out"
	if got := strings.Join(steps, "; "); got != want {
		t.Errorf("the way was\n%s\nwant\n%s", got, want)
	}
	if lastLine(said) != "nothing is missing" {
		t.Errorf("at the end: %s", said)
	}
	command(t, 0, "listener", "add", "L2")
	if again, _ := command(t, 0, "next"); !strings.HasPrefix(lastLine(again), "next: heardiff listen --plan 1 --listener L2") {
		t.Errorf("with another listener: %s", again)
	}
}

// A recording that is called after its chain is found where the README has it, next to the study's folder, as well.
func TestTheNextLineFindsTheRecording(t *testing.T) {
	dir := t.TempDir()
	at(t, dir, "clocks")
	must(t, os.Mkdir(os.Getenv("HEARDIFF_STUDY"), 0o755))
	t.Chdir(os.Getenv("HEARDIFF_STUDY"))
	t.Setenv("HEARDIFF_STUDY", ".")
	command(t, 0, "study", "new", ".", "--title", "two clocks")
	command(t, 0, "chain", "add", "hall")
	for _, tt := range []struct{ recorded, want string }{
		{"", "hall-jitter.wav"}, {"../hall-jitter.flac", "../hall-jitter.flac"}, {"../hall-jitter.wav", "../hall-jitter.wav"}, {"hall-jitter.wav", "hall-jitter.wav"},
	} {
		if tt.recorded != "" {
			must(t, os.WriteFile(tt.recorded, nil, 0o644))
		}
		said, _ := command(t, 0, "chain", "add", "attic"+fmt.Sprint(len(tt.recorded)))
		if want := nextPrefix + "heardiff capture add hall " + tt.want + " --as jitter"; lastLine(said) != want {
			t.Errorf("with %q: %s\nwant %s", tt.recorded, lastLine(said), want)
		}
	}
}

// workedThrough sits a listener down by a command, who leaves after two trials; a computation, which is quicker, goes on with the
// session. It returns what next says then.
func workedThrough(t *testing.T, words []string) string {
	t.Helper()
	left := listened(t, words, 2)
	if strings.Contains(left, nextPrefix) {
		t.Errorf("what comes next was said while the session was open: %s", left)
	}
	s := openCurrent(t)
	defer s.Close()
	seat, err := s.Sit(t.Context(), study.SitOptions{Plan: "1", Listener: "L1"})
	must(t, err)
	defer seat.Close()
	must(t, seat.Simulate(t.Context(), func([]pcm.Clip) int { return 0 }))
	said, _ := command(t, 0, "next")
	return said
}

// listened sits a listener down who says A to so many trials and leaves, and returns what was said at the end.
func listened(t *testing.T, words []string, count int) string {
	t.Helper()
	s := sitDown(t, words...)
	s.line()
	for done := range count {
		for tries := 0; ; tries++ { // until both have sounded
			s.say([]string{"a", "x"}[tries%2], "playing")
			time.Sleep(20 * time.Millisecond)
			fmt.Fprintln(s.in, "answer a")
			if strings.HasPrefix(s.line(), "asked") {
				break
			}
		}
		s.say("confirm", "saved")
		if done < count-1 {
			s.line()
		}
	}
	s.in.Close()
	var end []string
	for s.out.Scan() {
		end = append(end, s.out.Text())
	}
	return strings.Join(end, "\n")
}

func lastLine(text string) string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	return lines[len(lines)-1]
}

// The line is for people: with --json there is the object and nothing else, and none while a session is open.
func TestNextStaysOutOfJSON(t *testing.T) {
	dir, _ := emptyStudy(t)
	tone := throughChain(t, dir, "tone", "tone.wav", 1e-5, 0)
	for _, args := range []string{"chain add left", "capture add left " + tone + " --as tone", "measure", "listener add L1", "study show", "study", "chain list", "capture list", "excerpt list", "session list"} {
		out, _ := command(t, 0, append(strings.Fields(args), "--json")...)
		if strings.Count(out, "\n") != 1 || !strings.HasPrefix(out, "{") || strings.Contains(out, nextPrefix) || strings.Contains(out, "null,\"captures") {
			t.Errorf("%s --json: %s", args, out)
		}
	}
	for args, want := range map[string]string{"capture list": "yes", "chain list": "left", "study": "next: heardiff "} {
		if out, _ := command(t, 0, strings.Fields(args)...); !strings.Contains(out, want) {
			t.Errorf("%s: %s", args, out)
		}
	}
}

// While a session is open nothing says what comes next; once it was left, what comes next is to resume it.
func TestNextGoesOnWithASessionThatWasLeft(t *testing.T) {
	folder := listeningStudy(t, "abx", 3)
	var out, errs bytes.Buffer
	code := run(context.Background(), strings.Fields("listen --plan 1 --listener L1 --device null --plain"), strings.NewReader("a\nquit\n"), &out, &errs)
	if code != 0 || strings.Contains(out.String()+errs.String(), nextPrefix) {
		t.Errorf("exit %d, said %s%s", code, out.String(), errs.String())
	}
	next, _ := command(t, 0, "next")
	if !strings.Contains(next, "next: heardiff listen --plan 1 --listener L1") {
		t.Errorf("then: %s", next)
	}
	if listed, _ := command(t, 0, "session", "list"); !strings.Contains(listed, "no") {
		t.Errorf("listed: %s", listed)
	}
	ended := listened(t, strings.Fields("listen --plan 1 --listener L1"), 3)
	if want := "next: heardiff report --out " + folder + "/report.html"; !strings.Contains(ended, want) {
		t.Errorf("at the end %s\nwant in it %s", ended, want)
	}
}
