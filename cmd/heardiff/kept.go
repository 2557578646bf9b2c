package main

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/study"
)

// keeping reports what the store keeps of a session that is left, or that has ended. It asks the store and not
// the session, which may be in the midst of a commit.
type keeping struct {
	ctx    context.Context
	store  *study.Study
	id     string
	plan   trials.Plan
	resume string // the command that resumes it
	next   func(ctx context.Context) []string
	// says returns what the whole study says of the listener, once the session has ended, and how it shares its risk.
	says func(r trials.Result) ([]link.Row, link.FamilySummary)
}

// keep returns the keeping of a session that listen began or resumed.
func (a *app) keep(ctx context.Context, s *study.Study, session *trials.Session, o listenOptions) *keeping {
	return &keeping{ctx: ctx, store: s, id: session.ID(), plan: session.Plan(), resume: a.resumption(o),
		next: func(ctx context.Context) []string { return a.nextLines(ctx, s) },
		says: func(r trials.Result) ([]link.Row, link.FamilySummary) { return s.OwnRows(ctx, session.ID(), r) }}
}

// closing returns the text that the listener sees at the end.
func (k *keeping) closing() study.Closing {
	return study.Closing{Ended: k.revealed, Left: func(busy bool) []string { return k.left(grace(busy)) }}
}

// resumption is the command that resumes what these flags began.
func (a *app) resumption(o listenOptions) string {
	words := []string{"heardiff", "listen", "--plan", o.plan, "--listener", o.listener}
	if dir := a.studyFolder(); dir != "." {
		words = append(words, "--study", dir)
	}
	if o.device != "" && o.device != "default" {
		words = append(words, "--device", o.device)
	}
	if o.plain {
		words = append(words, "--plain")
	}
	return shellLine(words)
}

var plainWord = regexp.MustCompile(`^[A-Za-z0-9_@%+=:,./-]+$`)

// quoted returns a word as a shell takes it.
func quoted(word string) string {
	if plainWord.MatchString(word) {
		return word
	}
	return strconv.Quote(word)
}

// How long the store may take to say what it keeps: less where it has not even finished what it was asked before.
const (
	askGrace   = 2 * time.Second
	stallGrace = 250 * time.Millisecond
)

// grace returns which of them holds.
func grace(busy bool) time.Duration {
	if busy {
		return stallGrace
	}
	return askGrace
}

// resumePrefix begins the line with the command that resumes a session, which is not wrapped either.
const resumePrefix = "resume with: "

// left returns what is kept of a session that is left, and how to resume it. The store may take so long to say it.
func (k *keeping) left(grace time.Duration) []string {
	if err := k.store.Present(); err != nil {
		return []string{fmt.Sprintf("session %s: %v", k.id, err), "what was saved is where the study is now; where it was moved, resume there"}
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(k.ctx), grace)
	defer stop()
	entries, err := k.store.Entries(ctx, k.id)
	if err != nil {
		return []string{fmt.Sprintf("session %s: what is kept cannot be asked now (%v)", k.id, err), "every answer that was said to be saved is kept", resumePrefix + k.resume}
	}
	answered, due := 0, k.plan.Trials()
	for _, e := range entries {
		switch e.Kind {
		case trials.EntryAnswer:
			answered++
		case trials.EntryVoid:
			due++
		case trials.EntryEnd:
			return append([]string{fmt.Sprintf("session %s has ended, and %s kept: \"heardiff results %s\"", k.id, trials.Counted(answered, "answer"), study.ShortID(k.id))},
				k.proof(entries)...)
		}
	}
	return []string{fmt.Sprintf("session %s: the answers to %d of %s are kept", k.id, answered, trials.Counted(due, "trial")), resumePrefix + k.resume}
}

// revealed returns the summary of a session that has ended, and what to write down of it.
func (k *keeping) revealed() ([]string, error) {
	entries, err := k.store.Entries(k.ctx, k.id)
	if err != nil {
		return nil, err
	}
	r, err := trials.Reveal(k.plan, entries)
	if err != nil {
		return nil, err
	}
	rows, family := k.says(r)
	return append(summarize(r, rows, family), k.proof(entries)...), nil
}

// proof returns what fixes an ended session: its seed, from which anybody deals the order again, and the head of the study's record
// (the session's own where none is kept), which written down elsewhere shows every later change. The command that comes next follows.
func (k *keeping) proof(entries []trials.Entry) []string {
	end := entries[len(entries)-1]
	head := study.Head{Hash: end.Hash, Short: trials.ShortHead(end.Hash)}
	ctx, stop := context.WithTimeout(context.WithoutCancel(k.ctx), askGrace)
	defer stop()
	if of, err := k.store.Head(ctx); err == nil && of.Hash != "" {
		head = of
	}
	return append([]string{"", "What to write down:",
		"seed    " + end.Note,
		"session " + end.Hash,
		"head    " + head.Hash,
		"head, to be read out over the telephone: " + head.Short,
		"From the seed anyone deals the order of the trials again, and sees that the seal held. The head is a fingerprint of all that the study holds now: " +
			"write it down elsewhere, or send it to whoever made the plan, and every later change shows.",
		fmt.Sprintf(`Find them again: "heardiff results %s" (seed and session), "heardiff verify" (the newest head). Hold a head against the study: "heardiff verify --head HEAD"`, study.ShortID(k.id))}, k.next(ctx)...)
}
