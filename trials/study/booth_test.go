package study

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
	"heardiff/trials"
)

// deck is an output whose faults the test decides.
type deck struct {
	source    playback.Source
	underruns int
	fault     error
}

func (d *deck) Opened() playback.Opened { return playback.Opened{Name: "deck"} }

func (d *deck) Underruns() int { return d.underruns }

func (d *deck) Err() error { return d.fault }

func (d *deck) Close() error { return nil }

// pull lets so many frames reach the device.
func (d *deck) pull(frames int) []float32 {
	block := make([]float32, frames*d.source.Channels())
	d.source.Fill(block)
	return block
}

type notebook struct{ entries []trials.Entry }

func (n *notebook) Append(e trials.Entry) error { n.entries = append(n.entries, e); return nil }

func (n *notebook) last() trials.Entry { return n.entries[len(n.entries)-1] }

// testBooth is a booth over two tones, with a clock that the test sets.
func testBooth(t *testing.T, seed trials.Seed, now func() time.Time) (*Booth, *deck, *notebook) {
	t.Helper()
	return designBooth(t, trials.ABX, seed, now)
}

// designBooth is testBooth for a plan of the given design.
func designBooth(t *testing.T, design trials.Design, seed trials.Seed, now func() time.Time) (*Booth, *deck, *notebook) {
	t.Helper()
	p := trials.Plan{ID: "1", Design: design, Alpha: 0.05, SmallestEffect: 0.3, Comparisons: []trials.Comparison{
		{Name: "one", A: "left", B: "right", AudioA: "aa", AudioB: "bb", Trials: 6}}}
	set := &audioSet{sources: [][2]int{{0, 1}}, frames: []int{48000, 48000}, envelopes: make([][]float64, 2)}
	var clips []pcm.Clip
	for _, hz := range []float64{440, 450} {
		c := pcm.NewClip(48000, 1, 48000)
		for i := range c.Len() {
			c.Channels[0][i] = 0.5 * math.Sin(2*math.Pi*hz*float64(i)/48000)
		}
		clips = append(clips, c)
	}
	w, err := playback.New(playback.Config{}, clips...)
	if err != nil {
		t.Fatal(err)
	}
	n := &notebook{}
	s, err := trials.Begin("s", trials.Seat{}, p, seed, n, now)
	if err != nil {
		t.Fatal(err)
	}
	d := &deck{source: w}
	b, err := newBooth(s, w, d, set, now, Closing{}, "")
	if err != nil {
		t.Fatal(err)
	}
	return b, d, n
}

func TestDeviceThatFailsVoidsTheTrialOnce(t *testing.T) {
	b, d, n := testBooth(t, trials.Seed{1}, time.Now)
	if err := b.Play(trials.LabelX); err != nil {
		t.Fatal(err)
	}
	d.pull(48000)
	d.fault = errors.New("unplugged")
	for range 3 {
		if err := b.Play(trials.LabelA); err == nil || !strings.Contains(err.Error(), "unplugged") {
			t.Errorf("a dead device: %v", err)
		}
	}
	voids := 0
	for _, e := range n.entries {
		if e.Kind == trials.EntryVoid {
			voids++
		}
	}
	if voids != 1 || b.View().Trial != 2 || b.Sound().Fault == nil {
		t.Errorf("%d trials void, now at %d", voids, b.View().Trial)
	}
}

func TestUnderrunsAreFlagged(t *testing.T) {
	b, d, n := testBooth(t, trials.Seed{1}, time.Now)
	d.underruns = 3
	b.View()
	if e := n.last(); e.Kind != trials.EntryFlag || e.Note != "underruns: 3" || e.Trial != 1 {
		t.Errorf("%+v", e)
	}
	before := len(n.entries)
	b.View()
	if len(n.entries) != before {
		t.Error("the same underruns were flagged twice")
	}
}

func TestSleepVoidsTheTrial(t *testing.T) {
	wall := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	b, _, n := testBooth(t, trials.Seed{1}, func() time.Time { return wall })
	lasted := b.lasted
	b.elapsed = func() time.Duration { return lasted }
	wall, lasted = wall.Add(time.Minute), lasted+time.Minute
	if err := b.Play(trials.LabelA); err != nil {
		t.Fatalf("a minute that both clocks saw: %v", err)
	}
	wall = wall.Add(time.Hour) // the machine slept: only the wall clock went on
	if err := b.Play(trials.LabelX); err == nil || n.last().Kind != trials.EntryVoid || !strings.Contains(n.last().Note, "slept") {
		t.Errorf("%v, %+v", err, n.last())
	}
	if err := b.Play(trials.LabelX); err != nil || b.View().Trial != 2 {
		t.Errorf("after it: trial %d, %v", b.View().Trial, err)
	}
}

// What a key sends to the device must take the same time for every assignment, and only the difference between the chains may show: sample
// counts, position, labels and the screen's data are compared over many seeds.
func TestBoothDoesTheSameWhateverIsHidden(t *testing.T) {
	for _, design := range trials.Designs() {
		t.Run(design.String(), func(t *testing.T) { boothDoesTheSame(t, design) })
	}
}

func boothDoesTheSame(t *testing.T, design trials.Design) {
	want := ""
	labels := design.Labels()
	pressed := append(slices.Clone(labels), labels...)[:4]
	for seed := range byte(24) {
		fixed := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
		b, d, n := designBooth(t, design, trials.Seed{seed, 5}, func() time.Time { return fixed })
		var log strings.Builder
		for range 3 {
			for _, l := range pressed {
				if err := b.Play(l); err != nil {
					t.Fatal(err)
				}
				block := d.pull(30_000)
				quiet := 0
				for quiet < len(block) && block[quiet] == 0 {
					quiet++
				}
				fmt.Fprintf(&log, "%v %+v %+v %d\n", l, b.View(), b.Sound(), quiet)
			}
			if err := errors.Join(b.Ask(design.Answers()[0], 2), b.Confirm()); err != nil {
				t.Fatal(err)
			}
			e := n.last()
			if e.Previous, e.Hash = "", ""; len(e.Heard) != len(labels) || e.Frames != 120_000 || e.RateHz != 48000 {
				t.Fatalf("the clock of a trial: %+v", e)
			}
			fmt.Fprintf(&log, "%+v\n", e)
		}
		if want == "" {
			want = log.String()
		}
		if log.String() != want {
			t.Fatalf("seed %d:\n%s\n%s", seed, log.String(), want)
		}
	}
}

// A loop that the listener set is there again when the session is resumed, until it has ended; a nonsensical one is not.
func TestALoopIsKeptUntilTheSessionEnds(t *testing.T) {
	b, d, _ := testBooth(t, trials.Seed{1}, time.Now)
	kept := loopFile(filepath.Join(t.TempDir(), "loops", "s.json"))
	resumed := func() trials.Sound {
		t.Helper()
		ended := func() ([]string, error) { return nil, nil }
		again, err := newBooth(b.session, b.switcher, d, b.audio, time.Now, Closing{Ended: ended}, kept)
		if err != nil {
			t.Fatal(err)
		}
		b = again
		return b.Sound()
	}
	if s := resumed(); s.From != 0 || s.To != 1 {
		t.Fatalf("a new session loops %v to %v", s.From, s.To)
	}
	if err := b.Region(0.25, 0.75); err != nil {
		t.Fatal(err)
	}
	if s := resumed(); s.From != 0.25 || s.To != 0.75 {
		t.Errorf("resumed with a loop of %v to %v", s.From, s.To)
	}
	if err := b.Region(0.3, 0.49); err == nil {
		t.Error("a loop of 190 ms was taken")
	}
	kept.write(loop{Length: 1, From: 0.9, To: 7})
	if s := resumed(); s.From != 0 || s.To != 1 {
		t.Errorf("an impossible loop of %v to %v was taken", s.From, s.To)
	}
	if _, err := b.Summary(); err != nil {
		t.Fatal(err)
	}
	if l := kept.read(); l != (loop{}) {
		t.Errorf("%+v is still there", l)
	}
}
