package screen

import (
	"bufio"
	"context"
	"io"
	"strings"
	"time"
)

// line is a command as it was read, and when.
type line struct {
	text string
	at   time.Time
}

// lines reads commands while others are carried out, so that a session can be left although one of them stalls.
type lines struct {
	read   <-chan line  // closed where the input ends
	failed <-chan error // holds why it ended, once read is closed, unless that was its end
	queue  []line       // read and not carried out yet
}

// mostQueued is how many commands are read ahead of the one that is carried out.
const mostQueued = 1000

func readLines(ctx context.Context, in io.Reader) *lines {
	read, failed := make(chan line), make(chan error, 1)
	go func() {
		defer close(read)
		scan := bufio.NewScanner(in)
		for scan.Scan() {
			select {
			case read <- line{scan.Text(), time.Now()}:
			case <-ctx.Done():
				return
			}
		}
		failed <- scan.Err()
	}()
	return &lines{read: read, failed: failed}
}

// next returns the command that is due; more is false at the end of the input, and err is why it ended, nil at its own end.
func (l *lines) next(ctx context.Context) (text string, more bool, err error) {
	if ctx.Err() != nil {
		return "", false, ctx.Err()
	}
	if len(l.queue) > 0 {
		text, l.queue = l.queue[0].text, l.queue[1:]
		return text, true, nil
	}
	select {
	case <-ctx.Done():
		return "", false, ctx.Err()
	case c, more := <-l.read:
		if !more {
			return "", false, l.end()
		}
		return c.text, true, nil
	}
}

// end returns why the input ended.
func (l *lines) end() error {
	select {
	case err := <-l.failed:
		return err
	default:
		return nil
	}
}

// Somebody who waits for a reply that does not come types quit a while after the command that stalls; what came together with that
// command, from a file or a pipe, waits for its turn.
const (
	together = 250 * time.Millisecond
	patience = 500 * time.Millisecond // that a command has left once somebody wants to leave
)

// during carries out a command and reads on meanwhile. It returns false where the command was left under way, because somebody wants to
// leave, or ctx has ended, and it does not come to its end.
func (l *lines) during(ctx context.Context, command func()) bool {
	began, ended := time.Now(), make(chan struct{})
	go func() { defer close(ended); command() }()
	var enough <-chan time.Time
	read, stop := l.read, ctx.Done()
	for {
		if len(l.queue) == mostQueued {
			read = nil
		}
		select {
		case <-ended:
			return true
		case <-enough:
			return false
		case <-stop:
			stop, enough = nil, time.After(patience)
		case c, more := <-read:
			if !more {
				read = nil // the next read finds it closed, too
				continue
			}
			l.queue = append(l.queue, c)
			if leaves(c.text) && c.at.Sub(began) > together {
				enough = time.After(patience)
			}
		}
	}
}

// leaves reports whether a command leaves the session.
func leaves(command string) bool {
	words := strings.Fields(command)
	return len(words) > 0 && words[0] == quitWord
}
