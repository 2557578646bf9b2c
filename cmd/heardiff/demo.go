package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/demo"
	"heardiff/playback/audiofile"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials"
	"heardiff/trials/store/atomicfile"
	"heardiff/trials/study"
)

// demoMark is the file that says that a folder holds an invented study, which may be made anew.
const demoMark = "INVENTED.txt"

// demoText is what it holds.
const demoText = "Everything in this folder is invented: the music, the chains, the captures and the listeners.\n"

const demoRate pcm.Rate = 48000

func (a *app) demoCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "demo [--dir DIR]",
		Short: "run the main job once on an invented bench, with simulated listeners",
		Long: `Run the main job once, with the commands that you would type. A small radio station has a clock in
the hall and one in the attic that measures worse: does it sound different? The demonstration invents
the station, a short piece of music and a bench of chains with known faults, measures and prepares
their captures, lets simulated listeners answer through the real trial engine, links, and writes the
report.

Everything in it is invented and says so. The listeners are computations.`,
		Args: exactArgs(),
		RunE: func(c *cobra.Command, _ []string) error { return a.runDemo(c.Context(), dir) },
	}
	c.Flags().StringVar(&dir, "dir", "heardiff-demo", "the `folder` to make; an earlier demonstration there is replaced")
	return c
}

// demoPlan is one plan of the demonstration, and how an ear answers its design: with the index of an answer, from what
// sounded under each label.
type demoPlan struct {
	design, other string
	trials        int
	answer        func(ear *demo.Ear, sounds []pcm.Clip) int
}

func pickX(ear *demo.Ear, sounds []pcm.Clip) int {
	if ear.PickX(sounds[0], sounds[1], sounds[2]) {
		return 0
	}
	return 1
}

func tellPair(ear *demo.Ear, sounds []pcm.Clip) int {
	if ear.SeemDifferent(sounds[0], sounds[1]) {
		return 1
	}
	return 0
}

var demoPlans = []demoPlan{
	{"abx", "spare", 40, pickX},
	{"abx", "attic", 80, pickX},
	{"abx", "isolator", 24, pickX},
	{"abx", "old-desk", 40, pickX},
	{"same-different", "spare", 48, tellPair},
}

// demoListener is one invented listener; threshold is that of its ear: the level of the difference in dB relative to the music.
type demoListener struct {
	id, group string
	threshold float64
}

var demoListeners = []demoListener{
	{"Wren", "trained", -62}, {"Owl", "trained", -56},
	{"Mole", "untrained", -34}, {"Newt", "untrained", -30},
}

func (a *app) runDemo(ctx context.Context, dir string) error {
	if err := clearDemo(dir); err != nil {
		return err
	}
	d := &demonstration{app: a, dir: dir, ears: demoListeners}
	for _, step := range []func(context.Context) error{d.study, d.capture, d.measure, d.listen, d.thresholds, d.finish} {
		if err := step(ctx); err != nil {
			return errors.Join(err, os.RemoveAll(dir)) // the folder was empty, or held an earlier demonstration
		}
	}
	return nil
}

// clearDemo removes an earlier demonstration, and refuses a folder that holds anything else, or what is no folder.
func clearDemo(dir string) error {
	atomicfile.Sweep(dir) // a mark on its way
	left, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil
	case err != nil:
		return rejected(audiofile.Named(dir, err), "name a new folder with --dir")
	case len(left) == 0:
		return nil
	}
	if mark, err := atomicfile.ReadSmall(filepath.Join(dir, demoMark), int64(len(demoText))); err != nil || string(mark) != demoText {
		return rejected(fmt.Errorf("%s: holds something that is no demonstration", dir), "name a new folder with --dir")
	}
	return os.RemoveAll(dir)
}

// markDemo writes the mark in one step: with half of one the folder would no longer be known as a demonstration.
func markDemo(dir string) error {
	mark, err := atomicfile.NewFile(dir)
	if err != nil {
		return err
	}
	defer mark.Discard()
	if _, err := mark.WriteString(demoText); err != nil {
		return err
	}
	return mark.Place(filepath.Join(dir, demoMark), false)
}

type demonstration struct {
	app  *app
	dir  string
	ears []demoListener
	seed uint64 // of the ears' noise
}

// child is the program on the demonstration's study, which is always kept in its folder.
func (d *demonstration) child() *app {
	child := *d.app
	child.study, child.json, child.ledOn, child.around = d.dir, false, true, nil
	child.getenv = func(name string) string {
		if name == study.StoreEnv {
			return ""
		}
		return d.app.getenv(name)
	}
	return &child
}

// do runs one command of heardiff as if it had been typed.
func (d *demonstration) do(ctx context.Context, args ...string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	child := d.child()
	if d.app.json {
		child.stdout = io.Discard
	}
	var shown []string
	for _, arg := range args {
		if strings.ContainsAny(arg, " –") {
			arg = strconv.Quote(arg)
		}
		shown = append(shown, arg)
	}
	fmt.Fprintf(child.stdout, "\n$ heardiff %s\n", strings.Join(shown, " "))
	root := child.rootCommand()
	root.SetArgs(append(args, "--study", d.dir))
	root.SetOut(child.stdout)
	root.SetErr(child.stderr)
	return root.ExecuteContext(ctx)
}

func (d *demonstration) study(ctx context.Context) error {
	// Marked first of all, so that a demonstration that is killed or fails can be made anew.
	if err := os.MkdirAll(d.dir, 0o777); err != nil {
		return err
	}
	if err := markDemo(d.dir); err != nil {
		return err
	}
	if err := d.do(ctx, "study", "new", d.dir, "--title", "Invented: does the attic clock of Reedmouth Radio sound different?"); err != nil {
		return err
	}
	for _, c := range demo.Bench() {
		args := []string{"chain", "add", c.Name, "--about", "invented: " + c.About, "--role", c.Role}
		if c.After != "" {
			args = append(args, "--after", c.After)
		}
		if c.Cost > 0 {
			args = append(args, "--cost", strconv.FormatFloat(c.Cost, 'f', -1, 64))
		}
		if err := d.do(ctx, args...); err != nil {
			return err
		}
	}
	return nil
}

// capture invents the captures of all chains, two at a time, and adds them.
func (d *demonstration) capture(ctx context.Context) error {
	dir := filepath.Join(d.dir, "recordings")
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	jobs, err := captureJobs()
	if err != nil {
		return err
	}
	if err := record(ctx, dir, jobs, d.app.progress("inventing captures")); err != nil {
		return err
	}
	for _, j := range jobs {
		recording := filepath.Join(dir, j.file())
		args := []string{"capture", "add", j.chain.Name, recording, "--as", j.kind}
		if j.piece {
			args = append(args, "--music", "round")
		}
		if err := d.do(ctx, args...); err != nil {
			return err
		}
		if err := os.Remove(recording); err != nil { // the study has its copy
			return err
		}
	}
	return nil
}

type captureJob struct {
	chain demo.Chain
	kind  string
	piece bool
	sent  pcm.Clip
	seed  uint64
}

func (j captureJob) file() string { return j.chain.Name + "-" + j.kind + ".wav" }

func captureJobs() ([]captureJob, error) {
	signals, err := demo.Signals(demoRate)
	if err != nil {
		return nil, err
	}
	music := demo.Music(demoRate, 15, 20300506)
	var jobs []captureJob
	for i, c := range demo.Bench() {
		for k, kind := range []study.Kind{study.Jitter, study.Tone, study.Noise, study.Music} {
			sent, isSignal := signals[kind.Signal]
			if !isSignal {
				sent = music
			}
			if kind.Piece && c.Role != "source" {
				continue
			}
			jobs = append(jobs, captureJob{c, kind.Name, kind.Piece, sent, uint64(10*i + k + 1)})
		}
	}
	return jobs, nil
}

// record invents captures on two workers, so that two cores have work.
func record(ctx context.Context, dir string, jobs []captureJob, progress func(float64)) error {
	queue := make(chan captureJob)
	var wg sync.WaitGroup
	var mu sync.Mutex
	var failures []error
	done := 0
	for range 2 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for j := range queue {
				err := j.write(ctx, dir)
				mu.Lock()
				failures = append(failures, err)
				done++
				progress(float64(done) / float64(len(jobs)+1))
				mu.Unlock()
			}
		}()
	}
	for _, j := range jobs {
		mu.Lock()
		failed := errors.Join(failures...) != nil
		mu.Unlock()
		if failed || ctx.Err() != nil {
			break
		}
		queue <- j
	}
	close(queue)
	wg.Wait()
	progress(1)
	for _, err := range append(failures, ctx.Err()) {
		if err != nil {
			return err // the others, if any, say the same
		}
	}
	return nil
}

func (j captureJob) write(ctx context.Context, dir string) error {
	clip, err := demo.Record(ctx, j.chain, j.sent, j.seed)
	if err != nil {
		return err
	}
	err = wav.Save(filepath.Join(dir, j.file()), clip, "")
	return err
}

func (d *demonstration) measure(ctx context.Context) error {
	for _, args := range [][]string{{"measure"}, {"prepare", "--music", "round", "--excerpt", "3:10"}} {
		if err := d.do(ctx, args...); err != nil {
			return err
		}
	}
	return nil
}

// listen makes the plans and lets the simulated listeners work through them.
func (d *demonstration) listen(ctx context.Context) error {
	for _, p := range demoPlans {
		err := d.do(ctx, "plan", "new", "--design", p.design, "--a", "hall", "--b", p.other, "--trials", strconv.Itoa(p.trials),
			"--positive", "12", "--negative", "8", "--smallest-effect", "0.4")
		if err != nil {
			return err
		}
	}
	for _, l := range d.ears {
		if err := d.do(ctx, "listener", "add", l.id, "--group", l.group, "--simulated"); err != nil {
			return err
		}
	}
	s, err := d.child().openStudy(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	fmt.Fprintf(d.out(), "\n%s answer %s through the real trial engine…\n", trials.Counted(len(d.ears), "simulated listener"), trials.Counted(len(demoPlans), "plan"))
	return d.simulate(ctx, s)
}

func (d *demonstration) out() io.Writer {
	if d.app.json {
		return io.Discard
	}
	return d.app.stdout
}

func (d *demonstration) simulate(ctx context.Context, s *study.Study) error {
	plans, err := s.Plans(ctx)
	if err != nil {
		return err
	}
	progress := d.app.progress("simulated listening")
	defer progress(1)
	for i, p := range plans {
		for k, l := range d.ears {
			ear := demo.NewEar(l.threshold, d.seed+uint64(100*i+k))
			if err := d.session(ctx, s, p.ID, l.id, func(sounds []pcm.Clip) int { return demoPlans[i].answer(ear, sounds) }); err != nil {
				return fmt.Errorf("plan %s, listener %s: %w", p.ID, l.id, err)
			}
			progress((float64(i) + float64(k)/float64(len(d.ears))) / float64(len(plans)))
		}
	}
	return nil
}

// session lets one ear, which answers as pick does, work through one plan.
func (d *demonstration) session(ctx context.Context, s *study.Study, plan, listener string, pick func([]pcm.Clip) int) error {
	seat, err := s.Sit(ctx, study.SitOptions{Plan: plan, Listener: listener})
	if err != nil {
		return err
	}
	defer seat.Close()
	return seat.Simulate(ctx, pick)
}

func (d *demonstration) finish(ctx context.Context) error {
	report := filepath.Join(d.dir, "report.html")
	for _, args := range [][]string{{"verify"}, {"link"}, {"report", "--out", report}} {
		if err := d.do(ctx, args...); err != nil {
			return err
		}
	}
	result := struct {
		Schema    string `json:"schema"`
		Invented  bool   `json:"invented"`
		Study     string `json:"study"`
		Report    string `json:"report"`
		Listeners int    `json:"listeners"`
	}{"heardiff.demo/1", true, d.dir, report, len(d.ears)}
	return d.app.print(result, func(w io.Writer) { d.farewell(w, report) })
}
