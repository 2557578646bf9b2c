package main

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"heardiff/trials"
	"heardiff/trials/bundle"
	"heardiff/trials/study"
)

// The size that a collection must bear: 1 000 000 trials. What it cost through the commands as built (processor time, user and system, on two
// busy cores; elapsed with one of them free; the most memory; in brackets the limit that was asked for):
//
//	import, 200 bundles   43 s   37.6 s (60 s)    45 MB
//	pool --comparison     1.6 s   1.1 s (3 s)     70 MB
//	link                  1.7 s   1.9 s (3 s)    290 MB
//	report                2.4 s   1.9 s (5 s)    350 MB, a page of 1.8 MB
//	link --json           5.8 s                  360 MB, 69 MB of text
//	export --csv          27 s   24 s            325 MB
//
// results, verify and export --csv deal every session again, because they show, or prove, single trials.
const (
	scaleSites     = 200
	scaleListeners = 50 // a site
	scaleTrials    = 100
)

// scalePlan is what every site worked through: two comparisons, so that p are corrected.
func scalePlan() trials.Plan {
	return trials.Plan{ID: "1", Design: trials.ABX, Alpha: 0.05, SmallestEffect: 0.3, Comparisons: []trials.Comparison{
		{Name: "direct – optical", A: "direct", B: "optical", Excerpt: "opening", AudioA: "aa", AudioB: "bb", Trials: scaleTrials / 2},
		{Name: "direct – isolator", A: "direct", B: "isolator", Excerpt: "opening", AudioA: "aa", AudioB: "cc", Trials: scaleTrials / 2}}}
}

// collection makes an empty study of the plan in dir/study, and the bundles of the sites in dir. Everything is invented.
func collection(t testing.TB, dir string, sites, listeners int) (folder string, bundles []string) {
	t.Helper()
	t.Setenv("HEARDIFF_KEYS", filepath.Join(dir, "keys"))
	folder = filepath.Join(dir, "study")
	ctx := context.Background()
	a := &app{stdout: io.Discard, stderr: io.Discard, now: time.Now, getenv: os.Getenv}
	s, err := study.Create(ctx, folder, study.About{Title: "Invented: can ten thousand hear it?"}, a.host())
	must(t, err)
	defer s.Close()
	for _, name := range []string{"direct", "optical", "isolator"} {
		err = errors.Join(err, s.AddChain(ctx, study.Chain{Name: name, About: "invented", Role: "source"}))
	}
	of, found := s.Study(ctx)
	record := openRecord(t, folder)
	must(t, errors.Join(err, found, record.AddPlan(ctx, scalePlan()), record.Close()))
	for site := range sites {
		path := filepath.Join(dir, fmt.Sprintf("site-%03d.bundle", site))
		writeSite(t, a, path, of, site, listeners)
		bundles = append(bundles, path)
	}
	return folder, bundles
}

// writeSite writes what one site sends: each listener one session, one in eight of whom hears the first comparison.
func writeSite(t testing.TB, a *app, path string, of study.About, site, listeners int) {
	t.Helper()
	signer := sha256.Sum256(fmt.Appendf(nil, "invented site %d", site))
	key := ed25519.NewKeyFromSeed(signer[:])
	home, err := a.host().SealingKey()
	must(t, err)
	p := scalePlan()
	content := bundle.Content{Plans: []trials.Plan{p}}
	for k := range listeners {
		random := rand.New(rand.NewPCG(uint64(site), uint64(k)))
		var seed trials.Seed
		binary.BigEndian.PutUint64(seed[:], random.Uint64())
		v := bundle.Session{ID: fmt.Sprintf("%03d-%02d", site, k) + bundle.SessionSuffix(key.Public().(ed25519.PublicKey)),
			Plan: p.HashText(), Listener: fmt.Sprintf("L%02d", k), Device: "invented"}
		v.Entries = simulated(t, v.ID, p, seed, random, map[bool]float64{true: 0.7, false: 0.5}[k%8 == 0])
		if v.Escrow, err = trials.SealTo(home.PublicKey(), seed, v.ID); err != nil {
			t.Fatal(err)
		}
		content.Sessions = append(content.Sessions, v)
		content.Listeners = append(content.Listeners, bundle.Listener{ID: v.Listener, Group: []string{"trained", "untrained"}[k%2], Simulated: true})
	}
	f, err := os.Create(path)
	must(t, err)
	err = bundle.Write(f, bundle.Draft{Kind: bundle.Results, Study: of.ID, Title: of.Title, Created: time.Now(), Content: content}, key)
	must(t, errors.Join(err, f.Close()))
}

// simulated returns the entries of a session whose listener is right with the given probability in the first comparison,
// and guesses in the others.
func simulated(t testing.TB, id string, p trials.Plan, seed trials.Seed, random *rand.Rand, right float64) []trials.Entry {
	t.Helper()
	j, at := &notebook{}, time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	s, err := trials.Begin(id, trials.Seat{}, p, seed, j, func() time.Time { at = at.Add(7 * time.Second); return at })
	must(t, err)
	for s.View().Phase != trials.Done {
		s.Heard(trials.LabelX, 1)
		s.Heard(trials.LabelA, 1)
		cue, err := s.Route(trials.LabelX)
		must(t, err)
		said := int(cue.Source()) // what was true
		if known := 2*right - 1; cue.Comparison() > 0 || random.Float64() > known {
			said = random.IntN(2)
		}
		must(t, errors.Join(s.Ask(p.Design.Answers()[said], 1+random.IntN(4)), s.Confirm()))
	}
	return j.entries
}

// timed runs the built program and returns how long it took, in seconds, and the most memory it held, in MB.
func timed(t testing.TB, binary, study string, args ...string) (seconds, mb float64) {
	t.Helper()
	c := exec.Command(binary, append(args, "--study", study)...)
	begun := time.Now()
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%.2000s", args, err, out)
	}
	return time.Since(begun).Seconds(), peakMB(c.ProcessState)
}

// BenchmarkTenThousandListeners runs the commands, as built, on a million trials from two hundred sites. What is reported
// is the time of each and the most memory that any held.
func BenchmarkTenThousandListeners(b *testing.B) {
	dir := b.TempDir()
	binary := filepath.Join(dir, "heardiff")
	if out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	study, bundles := collection(b, dir, scaleSites, scaleListeners)
	most := 0.0
	step := func(name string, args ...string) {
		seconds, mb := timed(b, binary, study, args...)
		b.ReportMetric(seconds, name+"-s")
		most = max(most, mb)
	}
	b.ResetTimer()
	for range b.N {
		total := 0.0
		for _, path := range bundles {
			seconds, mb := timed(b, binary, study, "import", path)
			total, most = total+seconds, max(most, mb)
		}
		b.ReportMetric(total, "import-s")
		step("pool", "pool", "--comparison", scalePlan().Comparisons[0].Name)
		step("link", "link")
		step("results", "results")
		step("report", "report", "--force", "--out", filepath.Join(dir, "page.html"))
		step("tables", "export", "--force", "--csv", filepath.Join(dir, "tables"))
		step("verify", "verify")
		b.ReportMetric(most, "MB")
	}
}

// notebook is a journal in memory.
type notebook struct{ entries []trials.Entry }

func (n *notebook) Append(e trials.Entry) error { n.entries = append(n.entries, e); return nil }
