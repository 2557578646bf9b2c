package study

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"

	"heardiff/stats"
	"heardiff/trials"
	"heardiff/trials/store/atomicfile"
)

// Progress says how far a study has come on the way from nothing to a report.
type Progress struct {
	// Done and Missing say in phrases what has been done and what has not, in the order in which a study is made.
	Done, Missing []string
	// Next is the call that does the first of what is missing, nil where nothing is missing. A file to be added is named in it after its
	// chain, because the study cannot know the file's name.
	Next *Call
}

// Progress returns how far the study has come. Of a session it reads only whether it has ended.
func (s *Study) Progress(ctx context.Context) (Progress, error) {
	v, err := s.survey(ctx)
	if err != nil {
		return Progress{}, err
	}
	var p Progress
	for _, step := range []step{v.chainsStep(), v.signalsStep(), v.musicStep(), v.measuredStep(), v.preparedStep(), v.planStep(), v.listenersStep()} {
		p.take(step)
	}
	for _, plan := range v.plans {
		p.take(v.sessionsStep(plan))
	}
	if p.Next == nil {
		p.take(v.outStep())
	}
	return p, nil
}

// step is one step of the way: which part of it is done, what is missing ("" for nothing), and the call that does the next part.
type step struct {
	done, missing string
	next          *Call
}

// then makes the call that a step asks for.
func then(do Action, with ...Given) *Call { return &Call{do, with} }

func (p *Progress) take(s step) {
	if s.done != "" {
		p.Done = append(p.Done, s.done)
	}
	if s.missing == "" {
		return
	}
	p.Missing = append(p.Missing, s.missing)
	if p.Next == nil {
		p.Next = s.next
	}
}

// survey holds what the steps need to know about a study.
type survey struct {
	kit       bool
	sources   []string // the source chains
	taken     []string // the names of all chains
	captures  []Capture
	due       int // captures that are not measured yet
	excerpts  []Excerpt
	plans     []trials.Plan
	listeners []Listener
	ended     map[[2]string]bool // plan and listener of every session: whether one of theirs has ended
	out       string             // the file for the results
	written   bool               // it exists and contains the current head of the record
	trials    int                // number of ABX trials that find the smallest effect of a usual plan with a power of 0.8
}

func (s *Study) survey(ctx context.Context) (survey, error) {
	v := survey{ended: map[[2]string]bool{}}
	of, err := s.Study(ctx)
	if err != nil {
		return v, err
	}
	v.kit = of.OriginKey != nil
	chains, err := s.Chains(ctx)
	if err != nil {
		return v, err
	}
	for _, c := range chains {
		v.taken = append(v.taken, c.Name)
		if c.Role == "source" {
			v.sources = append(v.sources, c.Name)
		}
	}
	meter, err := newStudyMeter(ctx, s, MeasureOptions{})
	if err != nil {
		return v, err
	}
	v.captures = meter.captures
	v.due = capturesOf(slices.DeleteFunc(meter.due(false), func(d due) bool { return d.kind.From != "" })) // a further kind may not be measurable
	if v.excerpts, err = s.Excerpts(ctx); err != nil {
		return v, err
	}
	if v.plans, err = s.Plans(ctx); err != nil {
		return v, err
	}
	if v.listeners, err = s.Listeners(ctx); err != nil {
		return v, err
	}
	if err := v.readSessions(ctx, s); err != nil {
		return v, err
	}
	usual, chance := UsualPlan(), trials.ABX.Chance()
	power, err := stats.TrialsFor(chance, chance+(1-chance)*usual.SmallestEffect, usual.Alpha, 0.8)
	if err != nil {
		return v, err
	}
	v.trials = power.Trials
	return v, v.readOut(ctx, s)
}

func (v *survey) readSessions(ctx context.Context, s *Study) error {
	sessions, err := s.Sessions(ctx)
	if err != nil {
		return err
	}
	last, err := s.record.Heads(ctx)
	if err != nil {
		return err
	}
	for _, of := range sessions {
		who := [2]string{of.Plan, of.Listener}
		v.ended[who] = v.ended[who] || last[of.ID].Kind == trials.EntryEnd
	}
	return nil
}

// readOut finds out whether a report of the record as it is now was written. What a kit sends back is not examined.
func (v *survey) readOut(ctx context.Context, s *Study) error {
	if v.kit {
		v.out = s.Path("results.bundle")
		return nil
	}
	v.out = s.Path("report.html")
	page, err := atomicfile.OpenRegular(v.out)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, atomicfile.ErrNotPlain) {
		return nil
	}
	if err != nil {
		return err
	}
	defer page.Close()
	head, err := s.Head(ctx)
	if err != nil || head.Hash == "" {
		return err
	}
	v.written, err = occursIn(untilDone{ctx, page}, head.Hash)
	return err
}

// occursIn reports whether text occurs in r. It keeps one block in memory, however long r is.
func occursIn(r io.Reader, text string) (bool, error) {
	block := make([]byte, 1<<16)
	kept := 0
	for {
		n, err := r.Read(block[kept:])
		if bytes.Contains(block[:kept+n], []byte(text)) {
			return true, nil
		}
		if err == io.EOF {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		tail := block[max(0, kept+n-len(text)+1) : kept+n] // the text may have begun here
		kept = copy(block, tail)
	}
}

// planned reports whether chains, captures and excerpts have done their work: what a plan compares is already prepared, or is connected by
// hand.
func (v survey) planned() bool { return v.kit || len(v.plans) > 0 }

func (v survey) chainsStep() step {
	s := step{done: listed("source chain", v.sources)}
	if v.planned() || len(v.sources) > 1 || len(v.ladders()) > 0 {
		return s
	}
	s.missing = "two source chains to compare"
	if len(v.sources) == 1 {
		s.missing = "a second source chain, to compare with " + v.sources[0]
	}
	names := []string{"direct", "other"}
	if len(v.sources) == 1 {
		names = names[1:]
	}
	s.next = then(ToAddChain, with(OptionName, v.freeName(names...)))
	return s
}

// freeName returns the first of the names that no chain has, else one with a number.
func (v survey) freeName(names ...string) string {
	for n := 1; ; n++ {
		for _, name := range names {
			if !slices.Contains(v.taken, name) {
				return name
			}
		}
		names = []string{fmt.Sprintf("chain-%d", n)}
	}
}

// without returns the source chains that have no capture that fits.
func (v survey) without(fits func(Capture) bool) []string {
	return slices.DeleteFunc(slices.Clone(v.sources), func(chain string) bool {
		return slices.ContainsFunc(v.captures, func(c Capture) bool { return c.Chain == chain && fits(c) })
	})
}

// captured returns the step that needs a capture from each source chain, to be filed as the given kind with the given options.
func (v survey) captured(what string, fits func(Capture) bool, kind Kind, more ...Given) step {
	var s step
	lack := v.without(fits)
	if n := len(v.sources) - len(lack); n > 0 {
		s.done = fmt.Sprintf("%s of %d of %s", what, n, trials.Counted(len(v.sources), "source chain"))
	}
	if v.planned() || len(v.ladders()) > 0 || len(lack) == 0 {
		return s
	}
	s.missing = what + " of " + strings.Join(lack, ", ")
	s.next = then(ToAddCapture, with(OptionChain, lack[0]), with(OptionFile, fmt.Sprintf("%s-%s.wav", lack[0], kind.Name)), with(OptionKind, kind.Name))
	s.next.With = append(s.next.With, more...)
	return s
}

func (v survey) signalsStep() step {
	return v.captured("a capture of the jitter signal or of another one", func(c Capture) bool { return len(measuredFrom(c.Kind)) > 0 }, Jitter)
}

func (v survey) musicStep() step {
	piece := v.piece()
	var named []Given
	if piece != defaultPiece {
		named = append(named, with(OptionMusic, piece))
	}
	s := v.captured("a capture of the same music", func(c Capture) bool { return isPiece(c.Kind) && c.Music == piece }, Music, named...)
	if len(v.excerpts) > 0 {
		s.missing = ""
	}
	return s
}

// piece returns the music of which most source chains have a capture; among equals, the earliest.
func (v survey) piece() string {
	piece, least := defaultPiece, len(v.sources)
	for _, m := range v.pieces() {
		if n := len(v.without(func(c Capture) bool { return isPiece(c.Kind) && c.Music == m })); n < least {
			piece, least = m, n
		}
	}
	return piece
}

// pieces returns the music of which source chains have captures, in the order in which it was added.
func (v survey) pieces() []string {
	var all []string
	for _, c := range v.captures {
		if isPiece(c.Kind) && slices.Contains(v.sources, c.Chain) && !slices.Contains(all, c.Music) {
			all = append(all, c.Music)
		}
	}
	return all
}

func (v survey) measuredStep() step {
	of := 0
	for _, c := range v.captures {
		if len(measuredFrom(c.Kind)) > 0 {
			of++
		}
	}
	switch {
	case v.due > 0:
		return step{missing: trials.Counted(v.due, "capture") + " to be measured", next: then(ToMeasure)}
	case of > 0:
		return step{done: trials.Counted(of, "capture") + " measured"}
	}
	return step{}
}

func (v survey) preparedStep() step {
	var names []string
	for _, e := range v.excerpts {
		names = append(names, e.Name)
	}
	s := step{done: listed("excerpt", names)}
	if v.planned() || len(v.ladders()) > 0 || v.pair() != nil {
		return s
	}
	s.missing, s.next = "an excerpt in which nothing but the chain differs", then(ToPrepare)
	if len(v.pieces()) > 1 {
		s.next.With = append(s.next.With, with(OptionMusic, v.piece()))
	}
	return s
}

// pair returns two source chains and an excerpt that holds both, nil where there is none.
func (v survey) pair() *trials.Comparison {
	for i, a := range v.sources {
		for _, b := range v.sources[i+1:] {
			for _, e := range v.excerpts {
				if c, err := compareChains(v.excerpts, a, b, e.Name); err == nil {
					return &c
				}
			}
		}
	}
	return nil
}

// ladders returns the ladders that were prepared, a presentation of each.
func (v survey) ladders() []Presentation {
	var all []Presentation
	for _, e := range v.excerpts {
		for _, p := range e.Presentations {
			d := doseOf(p)
			known := func(o Presentation) bool {
				return o.Chain == p.Chain && o.Excerpt == p.Excerpt && doseOf(o).Words == d.Words
			}
			if d != nil && !slices.ContainsFunc(all, known) {
				all = append(all, p)
			}
		}
	}
	return all
}

func (v survey) planStep() step {
	var ids []string
	for _, p := range v.plans {
		ids = append(ids, p.ID)
	}
	s := step{done: listed("plan", ids)}
	if len(v.plans) == 0 {
		s.missing, s.next = "a plan", v.newPlan()
	}
	return s
}

// newPlan returns the call that plans a comparison of two chains, or a threshold run if none are prepared.
func (v survey) newPlan() *Call {
	c := v.pair()
	if c == nil {
		for _, p := range v.ladders() {
			return then(ToPlan, with(OptionThreshold, doseOf(p).Words), with(OptionA, p.Chain), with(OptionExcerpt, p.Excerpt))
		}
		return nil
	}
	next := then(ToPlan, with(OptionDesign, trials.ABX), with(OptionA, c.A), with(OptionB, c.B))
	if _, err := compareChains(v.excerpts, c.A, c.B, ""); err != nil {
		next.With = append(next.With, with(OptionExcerpt, c.Excerpt))
	}
	next.With = append(next.With, with(OptionTrials, v.trials))
	return next
}

func (v survey) listenersStep() step {
	if len(v.listeners) > 0 {
		return step{done: trials.Counted(len(v.listeners), "listener")}
	}
	return step{missing: "a listener, under a pseudonym", next: then(ToAddListener, with(OptionListener, "L1"))}
}

// sessionsStep asks every listener to work through the plan; simulated listeners only if there are no others.
func (v survey) sessionsStep(p trials.Plan) step {
	people := slices.DeleteFunc(slices.Clone(v.listeners), func(l Listener) bool { return l.Simulated })
	if len(people) == 0 {
		people = v.listeners
	}
	var toCome []string
	for _, l := range people {
		if !v.ended[[2]string{p.ID, l.ID}] {
			toCome = append(toCome, l.ID)
		}
	}
	var s step
	if n := len(people) - len(toCome); n > 0 {
		s.done = fmt.Sprintf("plan %s worked through by %d of %s", p.ID, n, trials.Counted(len(people), "listener"))
	}
	if len(toCome) > 0 {
		s.missing = fmt.Sprintf("sessions of plan %s: %s", p.ID, strings.Join(toCome, ", "))
		s.next = then(ToSit, with(OptionPlan, p.ID), with(OptionListener, toCome[0]))
	}
	return s
}

// outStep asks for the report or, in a kit's study, for the results to send back.
func (v survey) outStep() step {
	switch {
	case v.kit:
		return step{missing: "results, sent back to where the kit came from", next: then(ToExport, with(OptionOut, v.out))}
	case v.written:
		return step{done: "report " + v.out}
	}
	return step{missing: "a report of the study as it is now", next: then(ToReport, with(OptionOut, v.out))}
}

// listed returns "2 plans: 1, 2", "" for none.
func listed(one string, names []string) string {
	if len(names) == 0 {
		return ""
	}
	return trials.Counted(len(names), one) + ": " + strings.Join(names, ", ")
}
