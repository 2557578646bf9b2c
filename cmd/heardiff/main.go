// Heardiff tells whether anybody can hear the difference between two audio chains that measure differently.
//
// It measures captures of the chains, prepares excerpts in which nothing but the chain differs, runs blind
// tests with one listener at a keyboard, does the statistics, and compares every result with the measured
// differences of the very same chains. "heardiff help" lists the commands.
//
// Flags, help and the fields of the JSON are written out for each command, for their words differ. What several commands do alike is
// one function: inStudy opens the study, listing lists, mending corrects with a reason, oneOf takes a word, readFile reads a table.
package main

import (
	"context"
	"io"
	"log"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/guide"
	"heardiff/cmd/heardiff/internal/printable"
	"heardiff/trials/study"
)

func main() {
	log.SetOutput(io.Discard) // the FLAC library writes there, a line for each block at a rate that its authors have no file of

	cobra.EnableCommandSorting = false // the order in which commands are used says more than the alphabet's
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT)
	context.AfterFunc(ctx, stop) // a second signal ends at once a command that does not react to the first
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// app is what every command needs of the outside: streams, the clock, and the flags common to all.
type app struct {
	stdin  io.Reader
	stdout io.Writer // made printable: see printable.Writer
	stderr io.Writer // likewise
	// terminal is standard error itself: progress and the full screen move its cursor.
	terminal io.Writer
	// raw is standard output itself; what is written to verbatim arrives there unchanged, as a file must.
	raw, verbatim io.Writer
	now           func() time.Time
	getenv        func(string) string

	args  []string // the command line
	json  bool     // --json
	study string   // --study
	force bool     // --force, of commands that write files
	ledOn bool     // the command that comes next comes by itself: nobody needs to see it

	line   *progressLine // on standard error, shared by copies
	around *study.Host   // nil until it is asked for
}

// host returns what a study asks of the program around it.
func (a *app) host() *study.Host {
	if a.around == nil {
		a.around = &study.Host{Now: a.now, Getenv: a.getenv, Program: "heardiff " + thisProgram().String(), Warn: func(p study.Phrase) { a.warn("%s", p.In(inCommands{})) }, Progress: a.progress}
	}
	return a.around
}

// run executes one command line and returns the exit code: 0 done, 1 could not be done, 2 the command line is
// wrong, 3 the input was rejected, 130 interrupted.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	out, errs := &yielding{ctx: ctx, to: stdout}, &yielding{ctx: ctx, to: stderr}
	a := &app{args: args, stdin: stdin, stdout: printable.Writer(out), stderr: printable.Writer(errs), terminal: stderr, raw: stdout, verbatim: out, now: time.Now, getenv: os.Getenv, line: &progressLine{}}
	root := a.rootCommand()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	c, err := root.ExecuteContextC(ctx)
	if err == nil {
		err = out.failure() // of a line that was printed on the way
	}
	if err == nil {
		return 0
	}
	return a.fail(ctx, ofCommand(c, err))
}

func (a *app) rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "heardiff",
		Short: "Two chains measure differently; can anybody hear it?",
		Long: `Two chains measure differently; can anybody hear it?

heardiff measures captures of audio chains, prepares excerpts in which nothing but the
chain differs, runs blind listening tests, and compares each listener's result with the
measured differences of the same chains.

How it is done, topic by topic: heardiff help TOPIC
Topics: ` + strings.Join(guide.Names(), ", "),
		Version:       thisProgram().String(),
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.PersistentFlags().BoolVar(&a.json, "json", false, "print one JSON object instead of text")
	root.PersistentFlags().StringVar(&a.study, "study", "", "the study's `folder` (else $HEARDIFF_STUDY, else the current folder)")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return misused(flagError(err)) })
	for _, g := range a.commands() {
		root.AddGroup(&cobra.Group{ID: g.title, Title: g.title})
		for _, c := range g.commands {
			c.GroupID = g.title
			root.AddCommand(c)
		}
	}
	explain(root, columnsOf(a.raw))
	a.completeFromStudy(root)
	return root
}
