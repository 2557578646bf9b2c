package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"heardiff/trials"
	"heardiff/trials/study"
)

// Exit codes, see exitCodes.
const (
	exitFailed      = 1
	exitUsage       = 2
	exitRejected    = 3
	exitInterrupted = 130
)

// misused marks err as a wrong command line (exit 2). A nil err stays nil.
func misused(err error) error { return study.Misused(err) }

// misusedf is misused of a formatted message.
func misusedf(format string, args ...any) error { return misused(fmt.Errorf(format, args...)) }

// rejected marks err as an input that cannot be used (exit 3), with what to do about it in hint, or "". A nil err stays nil.
func rejected(err error, hint string) error { return study.Rejected(err, hint) }

// exitCode returns the exit code for a kind of blame.
func exitCode(b study.Blame) int {
	switch b {
	case study.Misuse:
		return exitUsage
	case study.Rejection:
		return exitRejected
	}
	return exitFailed
}

// ofCommand puts the command before the error of its command line, so that the message says what and why.
func ofCommand(c *cobra.Command, err error) error {
	f, ok := study.FaultOf(err)
	if !ok || f.Blame != study.Misuse {
		return err
	}
	name, below := strings.CutPrefix(c.CommandPath(), c.Root().Name()+" ")
	if !below {
		name = "command line"
	}
	if strings.HasPrefix(f.Error(), name+": ") { // the error of a package of the same name begins so already
		return f
	}
	return &study.Fault{Blame: study.Misuse, Err: fmt.Errorf("%s: %w", name, err), Hint: f.Hint}
}

// fail prints err as one line, and its hint as a second, and returns the exit code.
func (a *app) fail(ctx context.Context, err error) int {
	fault := study.Judge(err)
	code, hint := exitCode(fault.Blame), fault.Hint.In(inCommands{})
	switch {
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		code, hint, err = exitInterrupted, "", errors.New("interrupted")
	case strings.HasPrefix(err.Error(), "unknown command"):
		// cobra has no error value for this; it arises only before any command runs.
		code, hint = exitUsage, `"heardiff help" lists the commands`
		name, _, _ := strings.Cut(strings.TrimPrefix(err.Error(), "unknown command "), " for ")
		err = fmt.Errorf("%s: unknown command", name)
	}
	a.say("%s", study.Message(err, inCommands{}))
	if hint != "" {
		a.say("hint: %s", hint)
	}
	return code
}

// flagError says in plain words what is wrong with a flag.
func flagError(err error) error {
	var value *pflag.InvalidValueError
	var missing *pflag.ValueRequiredError
	var unknown *pflag.NotExistError
	switch {
	case errors.As(err, &value):
		f := value.GetFlag()
		return fmt.Errorf("--%s %q: %s", f.Name, value.GetValue(), wanted(f, value))
	case errors.As(err, &missing):
		return fmt.Errorf("--%s: a value is wanted", missing.GetSpecifiedName())
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() == "":
		return fmt.Errorf("unknown flag --%s", unknown.GetSpecifiedName())
	case errors.As(err, &unknown):
		return fmt.Errorf("unknown flag -%s", unknown.GetSpecifiedShortnames())
	}
	return err
}

// wanted says which values a flag takes, where err refuses one.
func wanted(f *pflag.Flag, err error) string {
	kind := strings.TrimSuffix(f.Value.Type(), "Slice")
	switch {
	case errors.Is(err, strconv.ErrRange):
		return "beyond any number that is taken"
	case strings.HasPrefix(kind, "uint"):
		return "a whole number of 0 or more is wanted"
	case strings.HasPrefix(kind, "int"):
		return "a whole number is wanted"
	case strings.HasPrefix(kind, "float"):
		return "a number is wanted"
	case kind == "bool":
		return "true or false is wanted"
	}
	return errors.Unwrap(err).Error()
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// exactArgs accepts exactly the named arguments.
func exactArgs(names ...string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == len(names) {
			return nil
		}
		if len(names) == 0 {
			return misusedf("unexpected argument: %q", args[0])
		}
		return misusedf("%s given: %s wanted", arguments(len(args)), strings.Join(names, " "))
	}
}

// arguments words a number of arguments.
func arguments(n int) string {
	switch n {
	case 0:
		return "no argument"
	case 1:
		return "1 argument"
	}
	return fmt.Sprintf("%d arguments", n)
}

// minArgs accepts n arguments or more, named for the message.
func minArgs(n int, names string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) < n {
			return misusedf("%s given: %s wanted", arguments(len(args)), names)
		}
		return nil
	}
}

// oneOrNone accepts one argument or none; wanted says so in the message.
func oneOrNone(wanted string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return misusedf("%s given: %s wanted", arguments(len(args)), wanted)
		}
		return nil
	}
}

// oneOf refuses a value of a flag that is none of the words it takes.
func oneOf(flag, value string, words ...string) error {
	if slices.Contains(words, value) {
		return nil
	}
	return misusedf("--%s %q: %s is wanted", flag, value, trials.AnyOf(words))
}

// group returns a command that only holds others: it refuses unknown ones with exit code 2.
func group(use, short string, sub ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{
		Use:   use,
		Short: short,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return misusedf("unknown command %q", args[0])
			}
			return c.Help()
		},
	}
	c.AddCommand(sub...)
	return c
}
