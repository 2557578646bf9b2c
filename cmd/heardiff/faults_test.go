package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"heardiff/cmd/heardiff/internal/screen"
	"heardiff/playback"
	"heardiff/trials"
	"heardiff/trials/study"
)

// A clock that is set while a trial runs voids it; the command that met it is answered with an error, which is no refusal, and
// the next trial is announced.
func TestAStepOfTheClockIsReportedInPlainWords(t *testing.T) {
	ctx, folder := context.Background(), listeningStudy(t, "abx", 6)
	for i, command := range []string{"x", "stop", "answer a", "confirm", "no", "void lorry", "rest", "region 0 1"} {
		now, stepped := time.Now(), false
		s, err := study.Open(ctx, folder, &study.Host{Now: func() time.Time {
			if stepped {
				return now.Add(time.Hour)
			}
			return now
		}})
		must(t, err)
		listener := fmt.Sprintf("clock-%d", i)
		must(t, s.AddListener(ctx, study.Listener{ID: listener}))
		seat, err := s.Sit(ctx, study.SitOptions{Plan: "1", Listener: listener})
		must(t, err)
		d := &deck{}
		open := func(src playback.Source) (playback.Output, error) { d.source = src; return d, nil }
		b, err := seat.Play(ctx, open, func(*trials.Session) study.Closing {
			return study.Closing{Left: func(bool) []string { return []string{"all"} }}
		})
		must(t, err)
		must(t, b.Play(trials.LabelX))
		d.pull(30000)
		must(t, b.Play(trials.LabelA))
		d.pull(30000)
		var out bytes.Buffer
		in := &atRead{strings.NewReader(command + "\nquit\n"), func() { stepped = true }}
		must(t, screen.Plain(ctx, b, in, &out))
		lines := strings.Split(strings.TrimSpace(out.String()), "\n")
		last := lines[len(lines)-3:]
		if !strings.HasPrefix(last[0], "error the clock jumped by 3600 s") || !strings.HasPrefix(last[1], "ready 2 of 7") || !strings.HasPrefix(last[2], "stopped") {
			t.Errorf("%s: %q", command, lines)
		}
		must(t, errors.Join(b.Close(), seat.Close(), s.Close()))
	}
}

// deck is an output that plays what is pulled from it.
type deck struct{ source playback.Source }

func (d *deck) Opened() playback.Opened { return playback.Opened{Name: "deck"} }
func (d *deck) Underruns() int          { return 0 }
func (d *deck) Err() error              { return nil }
func (d *deck) Close() error            { return nil }

// pull plays frames.
func (d *deck) pull(frames int) {
	d.source.Fill(make([]float32, frames*d.source.Channels()))
}

// atRead does something before it is read.
type atRead struct {
	io.Reader
	do func()
}

func (r *atRead) Read(p []byte) (int, error) {
	r.do()
	return r.Reader.Read(p)
}

// A study that disappears while a session runs ends the session: nothing is said to be saved any more.
func TestASessionEndsWhereItsStudyIsGone(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	s := sit(t, study)
	s.line()
	s.hear("a")
	s.hear("x")
	s.say("answer a", "asked")
	must(t, os.Rename(study, study+" moved"))
	s.say("confirm", "error")
	if s.out.Scan() {
		t.Errorf("the session goes on: %s", s.out.Text())
	}
	if code := <-s.ended; code != exitFailed {
		t.Errorf("exit %d", code)
	}
	var r resultsJSON
	if inStudyFolder(t, study+" moved", &r, "results"); r.Sessions[0].State != "running" {
		t.Errorf("where it was moved: %+v", r.Sessions)
	}
}

// A device that cannot be opened leaves nothing behind: there is no session that nobody began.
func TestADeviceThatDoesNotOpenBeginsNoSession(t *testing.T) {
	study := listeningStudy(t, "abx", 3)
	command(t, 3, "listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "file:"+filepath.Join(study, "no", "such", "folder", "x.wav"))
	command(t, 1, "listen", "--plan", "1", "--listener", "L1", "--plain", "--device", "file:")
	var r resultsJSON
	if inStudyFolder(t, study, &r, "results"); len(r.Sessions) != 0 {
		t.Errorf("%d sessions", len(r.Sessions))
	}
}

// A listener who leaves is shown what the store keeps and the command that resumes the session; at the end, seed and head are shown.
func TestLeavingTellsWhatIsKeptAndHowToGoOn(t *testing.T) {
	folder := listeningStudy(t, "abx", 2)
	s := sit(t, folder)
	s.line()
	s.oracle()
	s.line()
	last := s.say("quit", "stopped")
	for _, want := range []string{"the answers to 1 of 2 trials are kept", "resume with: heardiff listen --plan 1 --listener L1 --study " + folder, "--device file:", "--plain"} {
		if !strings.Contains(last, want) {
			t.Errorf("%q does not say %q", last, want)
		}
	}
	<-s.ended
	s = sit(t, folder)
	s.line()
	s.oracle()
	var said strings.Builder
	for s.out.Scan() {
		fmt.Fprintln(&said, s.out.Text())
	}
	var r struct {
		Sessions []struct{ Head string }
		Record   study.Head
	}
	inStudyFolder(t, folder, &r, "verify")
	for _, want := range []string{"\nseed    ", "\nsession " + r.Sessions[0].Head + "\n", "\nhead    " + r.Record.Hash + "\n", "telephone: " + r.Record.Short + "\n"} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("the end does not tell %q:\n%s", want, said.String())
		}
	}
}

// Where the store does not answer, nothing is claimed of what it keeps.
func TestNothingIsClaimedWhereTheStoreDoesNotAnswer(t *testing.T) {
	ctx, dir := context.Background(), playedStudy(t, trials.Independent)
	s, err := study.Open(ctx, dir, nil)
	must(t, err)
	k := &keeping{ctx: ctx, store: s, id: "begun", resume: "heardiff listen"}
	if got := strings.Join(k.left(askGrace), "\n"); !strings.Contains(got, "the answers to 1 of 0 trials are kept") {
		t.Errorf("while it answers: %q", got)
	}
	must(t, s.Close())
	if got := strings.Join(k.left(askGrace), "\n"); !strings.Contains(got, "cannot be asked now") || strings.Contains(got, "trials are kept") {
		t.Errorf("when it does not: %q", got)
	}
}
