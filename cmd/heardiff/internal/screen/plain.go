package screen

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"

	"heardiff/trials"
)

// Plain runs a session line by line: it reads one command a line from in and answers each with one line on out,
// whose first word is fixed; a "ready" line follows wherever another trial is due. It returns nil at the end of the session,
// of the input, or on quit, and an error that wraps trials.ErrOver where nothing can be kept any more. A command that stalls, at a server that
// does not answer, say, does not keep whoever types quit.
func Plain(ctx context.Context, b Booth, in io.Reader, out io.Writer) error {
	p := &plain{booth: b, out: out}
	p.ready()
	input := readLines(ctx, in)
	for !p.done {
		text, more, err := input.next(ctx)
		if !more {
			p.leave()
			return err
		}
		if !input.during(ctx, func() { p.obey(strings.Fields(text)) }) {
			p.abandon()
			return ctx.Err()
		}
	}
	return p.over
}

type plain struct {
	booth Booth
	mu    sync.Mutex // of out, where a command is left under way
	out   io.Writer
	done  bool
	trial int   // that was announced last
	over  error // why the session was left at once
}

func (p *plain) say(format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintf(p.out, format+"\n", args...)
}

// abandon leaves while a command is under way, for which nobody waits any more.
func (p *plain) abandon() {
	last := p.left()
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintln(p.out, last)
	p.out = io.Discard
}

// quitWord is the command that leaves the session.
const quitWord = "quit"

// ready announces the trial that is due.
func (p *plain) ready() {
	v := p.booth.View()
	p.trial = v.Trial
	if v.Phase == trials.Done || v.Phase == trials.GivenUp {
		p.finish()
		return
	}
	if v.Phase == trials.Resting {
		p.say("resting — rest again to go on")
		return
	}
	note := ""
	if v.Explained != "" {
		note = " " + v.Explained
	}
	if f := feedbackLine(v); f != "" {
		note += "; " + f
	}
	if v.Practice {
		note += "; this one is practice and does not count"
	}
	if v.RestDue {
		note += "; a rest is due: rest"
	}
	p.say("ready %d of %d: %s%s", v.Trial, v.Trials, v.Design.Question(), note)
}

func (p *plain) finish() {
	p.done = true
	lines, err := p.booth.Summary()
	if err != nil {
		p.say("error %v", err)
		return
	}
	p.say("done")
	for _, l := range lines {
		p.say("%s", l)
	}
}

func (p *plain) obey(words []string) {
	if len(words) == 0 {
		p.say("refused an empty line: help lists the commands")
		return
	}
	arguments := words[1:]
	switch words[0] {
	case "stop":
		p.reply(p.booth.Stop(), "stopped")
	case "region":
		p.region(arguments)
	case "answer":
		p.answer(arguments)
	case "confirm":
		p.confirm()
	case "no":
		p.takeBack()
	case "void":
		p.void(arguments)
	case "rest":
		p.rest()
	case "help":
		p.help()
	case quitWord:
		p.done = true
		p.leave()
	default:
		p.play(words[0])
	}
}

// leave says what is kept, in one line.
func (p *plain) leave() { p.say("%s", p.left()) }

func (p *plain) left() string {
	kept := slices.DeleteFunc(p.booth.Kept(), func(line string) bool { return line == "" })
	return "stopped — " + strings.Join(kept, "; ")
}

// reply says done, or why not.
func (p *plain) reply(err error, done string) {
	if err != nil {
		p.refuse(err)
		return
	}
	p.say("%s", done)
}

// refuse says why a command was not carried out. Where that was no fault of the command, because the trial became void under
// it or nothing can be kept any more, it is an error, and what is due now follows. It is one line whatever the error holds.
func (p *plain) refuse(err error) {
	why := strings.Join(strings.Fields(err.Error()), " ")
	switch {
	case errors.Is(err, trials.ErrOver):
		p.done, p.over = true, err
		p.say("error %s", why)
	case errors.Is(err, trials.ErrVoid), p.booth.View().Trial != p.trial:
		p.say("error %s", why)
		p.ready()
	default:
		p.say("refused %s", why)
	}
}

func (p *plain) play(word string) {
	var l trials.Label
	if err := l.UnmarshalText([]byte(word)); err != nil || !offers(p.booth.View().Design, l) {
		p.say("refused %q: help lists the commands", word)
		return
	}
	if p.booth.View().Phase == trials.Resting { // whoever plays a label has ended the rest
		if err := p.booth.Wake(); err != nil {
			p.refuse(err)
			return
		}
	}
	p.reply(p.booth.Play(l), "playing "+l.String())
}

func offers(d trials.Design, l trials.Label) bool { return slices.Contains(d.Labels(), l) }

func (p *plain) region(arguments []string) {
	s := p.booth.Sound()
	from, to := 0.0, s.Length
	switch {
	case len(arguments) == 1 && arguments[0] == "all":
	case len(arguments) == 2:
		var err1, err2 error
		from, err1 = strconv.ParseFloat(arguments[0], 64)
		to, err2 = strconv.ParseFloat(arguments[1], 64)
		if err1 != nil || err2 != nil {
			p.say("refused region %s: two numbers of seconds", strings.Join(arguments, " "))
			return
		}
	default:
		p.say("refused region: region START END in seconds, or region all")
		return
	}
	if err := p.booth.Region(from, to); err != nil {
		p.refuse(err)
		return
	}
	s = p.booth.Sound()
	p.say("region %.1f to %.1f s of %.1f", s.From, s.To, s.Length)
}

func (p *plain) answer(arguments []string) {
	if len(arguments) < 1 || len(arguments) > 2 {
		p.say("refused answer: answer %s, and a confidence 1 to 4 if you like", trials.AnyOf(p.booth.View().Design.AnswerNames()))
		return
	}
	var a trials.Answer
	if err := a.UnmarshalText([]byte(arguments[0])); err != nil {
		p.say("refused answer %q: %s", arguments[0], trials.AnyOf(p.booth.View().Design.AnswerNames()))
		return
	}
	confidence := 0
	if len(arguments) == 2 {
		n, err := strconv.Atoi(arguments[1])
		if err != nil || n < 1 || n > trials.MaxConfidence {
			p.say("refused confidence %q: 1 to 4", arguments[1])
			return
		}
		confidence = n
	}
	err := p.booth.Ask(a, confidence)
	note := ""
	if line := hurryLine(p.booth.View()); line != "" {
		note = " — " + line
	}
	p.reply(err, fmt.Sprintf("asked %s? confirm or no%s", p.booth.View().Design.Claim(a), note))
}

func (p *plain) confirm() {
	trial := p.booth.View().Trial
	if err := p.booth.Confirm(); err != nil {
		p.refuse(err)
		return
	}
	p.say("saved %d", trial)
	p.ready()
}

func (p *plain) takeBack() {
	if err := p.booth.TakeBack(); err != nil {
		p.refuse(err)
		return
	}
	p.ready()
}

func (p *plain) void(arguments []string) {
	if err := p.booth.Void(strings.Join(arguments, " ")); err != nil {
		p.refuse(err)
		return
	}
	p.say("saved — this trial is void; one like it comes at the end")
	p.ready()
}

// rest pauses the session, or ends the pause.
func (p *plain) rest() {
	if p.booth.View().Phase != trials.Resting {
		p.reply(p.booth.Rest(), "resting — play, or rest again, to go on")
		return
	}
	if err := p.booth.Wake(); err != nil {
		p.refuse(err)
		return
	}
	p.ready()
}

func (p *plain) help() {
	d := p.booth.View().Design
	var labels []string
	for _, l := range d.Labels() {
		labels = append(labels, l.String())
	}
	p.say("help — %s play; stop; region START END; region all; answer %s [1-4]; confirm; no; void REASON; rest; quit",
		strings.Join(labels, " "), strings.Join(d.AnswerNames(), "|"))
}
