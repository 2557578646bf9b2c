package main

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"heardiff/cmd/heardiff/internal/guide"
)

// usageTemplate lays out the help of a command; the description of the command comes before it.
const usageTemplate = `Usage:{{if .Runnable}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} COMMAND …{{end}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableSubCommands}}{{$commands := .Commands}}{{if .Groups}}{{range $group := .Groups}}

{{$group.Title}}{{range $commands}}{{if and (eq .GroupID $group.ID) (or .IsAvailableCommand (eq .Name "help"))}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}{{end}}{{else}}

Commands:{{range $commands}}{{if .IsAvailableCommand}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableInheritedFlags}}

Flags of every command:
{{.InheritedFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

Each command's own flags: {{.CommandPath}} COMMAND --help{{end}}

` + exitCodes + "\n"

// exitCodes is the end of every help text.
const exitCodes = `Exit codes: 0 done; 1 it could not be done (disk, device, internal);
2 the command line is wrong; 3 the input was rejected; 130 interrupted.`

// explain sets the words of every help text of root and its commands, and the columns that they are set in, 0 for any number.
func explain(root *cobra.Command, columns int) {
	root.PersistentFlags().BoolP("help", "h", false, "print this text")
	root.Flags().BoolP("version", "v", false, "print the version")
	root.SetVersionTemplate("heardiff {{.Version}}\n")
	root.SetUsageTemplate(usageTemplate)
	root.SetHelpFunc(func(c *cobra.Command, _ []string) {
		text := strings.TrimRight(cmp.Or(c.Long, sentence(c.Short)), " \n")
		fmt.Fprint(c.OutOrStdout(), reflow(text+"\n\n"+c.UsageString(), columns))
	})
	root.CompletionOptions.DisableDefaultCmd = true
	for _, c := range root.Commands() {
		if c.Name() == "help" {
			root.SetHelpCommand(c)
		}
	}
}

// sentence returns what a command does in short, such as "list the plans", as a sentence.
func sentence(short string) string { return strings.ToUpper(short[:1]) + short[1:] + "." }

// helpCommand prints a page of the guide, or the help of a command. A page goes before the command of the same name, whose flags
// --help shows; two words or more can only mean a command.
func (a *app) helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [TOPIC | COMMAND…]",
		Short: "how it is done, topic by topic; or what a command takes",
		Long: `How it is done, in plain words and with sources:

` + topics() + `
For any other word, or several, the help of that command is printed.`,
		Example: "  heardiff help capture\n  heardiff help plan new",
		RunE: func(c *cobra.Command, words []string) error {
			if len(words) == 1 {
				if page, ok := guide.Page(words[0]); ok {
					_, err := io.WriteString(a.stdout, reflow(page, columnsOf(a.raw)))
					return err
				}
			}
			found, rest, err := c.Root().Find(words)
			if err != nil || len(rest) > 0 {
				return misusedf("%q is no topic and no command: topics are %s", strings.Join(words, " "), strings.Join(guide.Names(), ", "))
			}
			return found.Help()
		},
		ValidArgsFunction: func(c *cobra.Command, words []string, _ string) ([]string, cobra.ShellCompDirective) {
			return nextWords(c.Root(), words), cobra.ShellCompDirectiveNoFileComp
		},
	}
}

// topics lists the pages of the guide, one a line.
func topics() string {
	var b strings.Builder
	for _, name := range guide.Names() {
		fmt.Fprintf(&b, "  %-12s%s\n", name, guide.About(name))
	}
	return b.String()
}

// nextWords returns what may follow words after "help".
func nextWords(root *cobra.Command, words []string) []string {
	var next []string
	if len(words) == 0 {
		next = guide.Names()
	}
	c, rest, err := root.Find(words)
	if err != nil || len(rest) > 0 {
		return next
	}
	for _, sub := range c.Commands() {
		if _, topic := guide.Page(sub.Name()); sub.IsAvailableCommand() && (len(words) > 0 || !topic) {
			next = append(next, sub.Name())
		}
	}
	return next
}

// bashWords replaces the one function of the package bash-completion that the script for bash needs, where it is absent: the words of the
// command line, with those joined that bash cuts at a colon or an equals sign.
const bashWords = `if ! declare -F _get_comp_words_by_ref >/dev/null; then
    _get_comp_words_by_ref() {
        local i gap line=$COMP_LINE
        words=()
        for ((i = 0; i < ${#COMP_WORDS[@]}; i++)); do
            gap=${line%%[![:space:]]*}
            line=${line#"$gap"}
            line=${line#"${COMP_WORDS[i]}"}
            if [[ -n $gap || $i -eq 0 ]]; then
                words+=("${COMP_WORDS[i]}")
            else
                words[${#words[@]}-1]+=${COMP_WORDS[i]}
            fi
            if ((i == COMP_CWORD)); then
                cword=$((${#words[@]} - 1))
            fi
        done
        cur=${words[cword]}
        prev=${words[cword > 0 ? cword - 1 : 0]}
    }
fi

`

// completionShells are the shells for which a completion can be had.
var completionShells = []string{"bash", "zsh", "fish", "powershell"}

func (a *app) completionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "completion " + strings.Join(completionShells, "|"),
		Short: "let a shell complete commands and flags at the tab key",
		Long: `Print a script after which the shell completes, at the tab key, heardiff's commands, flags and kinds, and what the study
holds: chains, captures, excerpts, plans, listeners, sessions.

bash with the package bash-completion, zsh and fish read it at their next start from

  ~/.local/share/bash-completion/completions/heardiff
  a folder of $fpath, in a file named _heardiff
  ~/.config/fish/completions/heardiff.fish

bash without that package, and for one session, takes the first line of the examples, which may be in ~/.bashrc. PowerShell runs it from the
file that $PROFILE names.`,
		Example: "  source <(heardiff completion bash)\n" +
			"  heardiff completion fish > ~/.config/fish/completions/heardiff.fish",
		Args:                  exactArgs("SHELL"),
		ValidArgs:             completionShells,
		DisableFlagsInUseLine: true,
		RunE: func(c *cobra.Command, args []string) error {
			root := c.Root()
			switch args[0] {
			case "bash":
				fmt.Fprint(a.verbatim, bashWords)
				return root.GenBashCompletionV2(a.verbatim, true)
			case "zsh":
				return root.GenZshCompletion(a.verbatim)
			case "fish":
				return root.GenFishCompletion(a.verbatim, true)
			case "powershell":
				return root.GenPowerShellCompletionWithDesc(a.verbatim)
			}
			return misusedf("%q: %s wanted", args[0], strings.Join(completionShells, ", "))
		},
	}
}
