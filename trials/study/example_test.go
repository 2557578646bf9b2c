package study_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"

	"heardiff/measure/impair"
	"heardiff/measure/match"
	"heardiff/measure/signal"
	"heardiff/playback/pcm"
	"heardiff/playback/wav"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// A script goes the whole way: two invented chains, one with jitter and noise of its own, a computation as the listener, and what the study
// concludes.
func Example() {
	ctx, dir := context.Background(), scratch()
	defer os.RemoveAll(dir)
	s, err := study.Create(ctx, filepath.Join(dir, "bench"), study.About{Title: "Does the second link sound different?"}, hostIn(dir))
	check(err)
	defer s.Close()
	for i, chain := range []string{"direct", "optical"} {
		check(s.AddChain(ctx, study.Chain{Name: chain, Role: "source"}))
		for _, kind := range []study.Kind{study.Jitter, study.Music} {
			_, err = s.AddCapture(ctx, study.CaptureOptions{Chain: chain, Kind: kind.Name}, record(dir, kind, [2]float64{100, 2000}[i]))
			check(err)
		}
	}
	_, err = s.Measure(ctx, false, study.MeasureOptions{})
	check(err)
	_, err = s.Prepare(ctx, study.PrepareOptions{Excerpt: match.Excerpt{StartS: 1, LengthS: 6}})
	check(err)
	plan := study.UsualPlan()
	plan.A, plan.B, plan.Trials = "direct", "optical", 20
	_, _, err = s.NewPlan(ctx, plan)
	check(err)
	check(s.AddListener(ctx, study.Listener{ID: "sharp", Simulated: true}))
	seat, err := s.Sit(ctx, study.SitOptions{Plan: "1", Listener: "sharp"})
	check(err)
	defer seat.Close()
	check(seat.Simulate(ctx, func(sounds []pcm.Clip) int { return nearer(sounds[2], sounds[0], sounds[1]) })) // X, A, B
	results, err := s.Results(ctx, "")
	check(err)
	row := results.Sessions[0].Rows[0]
	fmt.Printf("%s: %d of %d right\n", row.Comparison.Name, row.Correct, row.Trials)
	linked, err := s.Link(ctx)
	check(err)
	verdict := linked.Result.Rows[0]
	fmt.Printf("%s; random jitter %+.1f ns\n", verdict.Verdict, verdict.Measured.Of(link.RandomJitter).Difference/1000)
	proof, err := s.Verify(ctx, "")
	fmt.Println("as it was recorded:", proof.OK, err)
	// Output:
	// direct – optical: 20 of 20 right
	// heard; random jitter +1.9 ns
	// as it was recorded: true <nil>
}

// record is a capture of one kind through an invented chain.
func record(dir string, kind study.Kind, jitterPs float64) string {
	played := signal.Config{Kind: kind.Signal, Rate: 48000, Bits: 24, Channels: 1, Seconds: 8}
	if kind.Piece {
		played.Kind = signal.Level // for music
	}
	clean, err := signal.Make(played)
	check(err)
	out := pcm.NewClip(clean.Rate, 1, 0)
	_, err = impair.Apply(context.Background(), clean, impair.Dose{Seed: uint64(jitterPs), Jitter: []impair.Jitter{{Kind: impair.Random, RMSPS: jitterPs, LowHz: 10, HighHz: 10_000}},
		Noise: []impair.Noise{{DBFS: -110}}}, func(block [][]float64) error {
		out.Channels[0] = append(out.Channels[0], block[0]...)
		return nil
	})
	check(err)
	path := filepath.Join(dir, fmt.Sprintf("%s-%g.wav", kind.Name, jitterPs))
	check(wav.Save(path, out, ""))
	return path
}

// nearer returns 0 where x is nearer to a than to b, else 1.
func nearer(x, a, b pcm.Clip) int {
	var toA, toB float64
	for i, v := range x.Channels[0] {
		da, db := v-a.Channels[0][i], v-b.Channels[0][i]
		toA, toB = toA+da*da, toB+db*db
	}
	if toA < toB {
		return 0
	}
	return 1
}

// hostIn keeps keys and cache in a folder.
func hostIn(dir string) *study.Host {
	places := map[string]string{"HEARDIFF_KEYS": filepath.Join(dir, "keys"), "XDG_CACHE_HOME": filepath.Join(dir, "cache")}
	return &study.Host{Getenv: func(name string) string { return places[name] }}
}

func scratch() string {
	dir, err := os.MkdirTemp("", "study-*")
	check(err)
	return dir
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
