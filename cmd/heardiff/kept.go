package main

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"heardiff/trials"
	"heardiff/trials/link"
	"heardiff/trials/store"
)

// keeping tells what the store keeps of a session: of one that is left, and of one that has ended. It asks the store and not
// the session, which may be in the midst of a commit.
type keeping struct {
	ctx    context.Context
	store  *store.Store
	id     string
	plan   trials.Plan
	resume string // the command that goes on with it
	loop   loopFile
	// says returns what the whole study says of the listener, once the session has ended.
	says func(r trials.Result) []link.Row
}

// keep returns what tells of a session that listen began or resumed.
func (a *app) keep(ctx context.Context, s *store.Store, session *trials.Session, o listenOptions) *keeping {
	return &keeping{ctx: ctx, store: s, id: session.ID(), plan: session.Plan(), resume: a.resumption(o), loop: a.loopFile(session.ID()),
		says: func(r trials.Result) []link.Row { return a.ownRows(ctx, s, session.ID(), r) }}
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
	for i, w := range words {
		words[i] = quoted(w)
	}
	return strings.Join(words, " ")
}

var plainWord = regexp.MustCompile(`^[A-Za-z0-9_@%+=:,./-]+$`)

// quoted returns a word as a shell takes it.
func quoted(word string) string {
	if plainWord.MatchString(word) {
		return word
	}
	return strconv.Quote(word)
}

// How long the store may take to say what it keeps: less where it has not even ended what it was asked before.
const (
	askGrace   = 2 * time.Second
	stallGrace = 250 * time.Millisecond
)

// graceBy returns which of them holds, given the lock of the booth that asks: it is taken while the store is asked.
func graceBy(busy *sync.Mutex) time.Duration {
	if !busy.TryLock() {
		return stallGrace
	}
	busy.Unlock()
	return askGrace
}

// left tells what is kept of a session that is left, and how to go on. The store has so long to say it.
func (k *keeping) left(grace time.Duration) []string {
	if err := k.store.Present(); err != nil {
		return []string{fmt.Sprintf("session %s: %v", k.id, err), "what was saved is where the study is now; where it was moved, resume there"}
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(k.ctx), grace)
	defer stop()
	entries, err := k.store.Entries(ctx, k.id)
	if err != nil {
		return []string{fmt.Sprintf("session %s: what is kept cannot be asked now (%v)", k.id, err), "every answer that was said to be saved is kept; resume with: " + k.resume}
	}
	answered, due := 0, k.plan.Trials()
	for _, e := range entries {
		switch e.Kind {
		case trials.EntryAnswer:
			answered++
		case trials.EntryVoid:
			due++
		case trials.EntryEnd:
			return append([]string{fmt.Sprintf("session %s has ended; its %d answers are kept: heardiff results %s", k.id, answered, shortID(k.id))},
				k.proof(entries)...)
		}
	}
	return []string{fmt.Sprintf("session %s: the answers to %d of %d trials are kept", k.id, answered, due), "resume with: " + k.resume}
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
	k.loop.remove()
	return append(summarize(r, k.says(r)), k.proof(entries)...), nil
}

// proof tells what fixes an ended session: its seed, from which anybody deals the order again, and the head of the study's record
// (the session's own where none is kept), which written down elsewhere shows every later change.
func (k *keeping) proof(entries []trials.Entry) []string {
	end := entries[len(entries)-1]
	head := store.Head{Hash: end.Hash, Short: trials.ShortHead(end.Hash)}
	ctx, stop := context.WithTimeout(context.WithoutCancel(k.ctx), askGrace)
	defer stop()
	if of, err := k.store.Head(ctx); err == nil && of.Hash != "" {
		head = of
	}
	return []string{"", "What to write down:",
		"seed    " + end.Note,
		"session " + end.Hash,
		"head    " + head.Hash,
		"head, to be read out over the telephone: " + head.Short,
		"From the seed anyone deals the order of the trials again, and sees that the seal held. The head stands for all that the study holds now: " +
			"write it down elsewhere, or send it to whoever made the plan, and every later change shows.",
		"Find them again: heardiff results " + shortID(k.id) + " (seed and session), heardiff verify (the newest head). Hold a head against the study: heardiff verify --head HEAD"}
}
