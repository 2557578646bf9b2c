package main

import (
	"slices"
	"strings"
	"unicode"

	"heardiff/trials/study"
)

// inCommands words what the library says with the names of flags and commands. It is a study.Vocabulary.
type inCommands struct{}

// Option returns the flag that sets an option.
func (inCommands) Option(o study.Option) string { return "--" + flagOf(o) }

// Call returns a command in quotation marks.
func (inCommands) Call(c study.Call) string {
	return `"heardiff ` + strings.ReplaceAll(shellLine(commandWords(c)), `"`, "'") + `"`
}

// flagOf returns the name of the flag of an option: the option's own in lower case, its words joined by hyphens, but for a few.
func flagOf(o study.Option) string {
	switch o {
	case study.OptionKind:
		return "as"
	case study.OptionDir:
		return "study"
	}
	var name strings.Builder
	for i, r := range string(o) {
		if unicode.IsUpper(r) && i > 0 {
			name.WriteByte('-')
		}
		name.WriteRune(unicode.ToLower(r))
	}
	return name.String()
}

// commandForm is a command's words, and the options that it takes as arguments, in their order.
type commandForm struct {
	words     string
	arguments []study.Option
}

// formOf returns the command for an action.
func formOf(do study.Action) commandForm {
	return map[study.Action]commandForm{
		study.ToCreate:        {"study new", []study.Option{study.OptionDir}},
		study.ToList:          {"study show", nil},
		study.ToAddChain:      {"chain add", []study.Option{study.OptionName}},
		study.ToCorrectChain:  {"chain correct", []study.Option{study.OptionName}},
		study.ToRemoveChain:   {"chain remove", []study.Option{study.OptionName}},
		study.ToAddCapture:    {"capture add", []study.Option{study.OptionChain, study.OptionFile}},
		study.ToRefileCapture: {"capture refile", []study.Option{study.OptionCapture}},
		study.ToRemoveCapture: {"capture remove", []study.Option{study.OptionCapture}},
		study.ToMeasure:       {"measure", nil},
		study.ToCompare:       {"compare", []study.Option{study.OptionA, study.OptionB}},
		study.ToPrepare:       {"prepare", nil},
		study.ToSuggest:       {"prepare --suggest 4", nil},
		study.ToPrepareLadder: {"prepare --ladder", nil},
		study.ToRemoveExcerpt: {"excerpt remove", []study.Option{study.OptionExcerpt}},
		study.ToPlan:          {"plan new", nil},
		study.ToFindTrials:    {"power", nil},
		study.ToAddListener:   {"listener add", []study.Option{study.OptionListener}},
		study.ToSit:           {"listen", nil},
		study.ToReadResults:   {"results", nil},
		study.ToReport:        {"report", nil},
		study.ToVerify:        {"verify", nil},
		study.ToExport:        {"export", nil},
	}[do]
}

// commandWords returns the words of the command that makes a call, after the program's name. A value that is to be chosen is in capitals.
func commandWords(c study.Call) []string {
	form := formOf(c.Do)
	words := strings.Fields(form.words)
	for _, o := range form.arguments {
		if i := slices.IndexFunc(c.With, func(g study.Given) bool { return g.Option == o }); i >= 0 {
			words = append(words, valueOf(c.With[i]))
		}
	}
	for _, g := range c.With {
		if !slices.Contains(form.arguments, g.Option) {
			words = append(words, "--"+flagOf(g.Option), valueOf(g))
		}
	}
	return words
}

// valueOf returns the value of an option, in capitals the name of one that is to be chosen.
func valueOf(g study.Given) string {
	if g.Open {
		return strings.ToUpper(string(g.Option))
	}
	return g.Value
}

// libraries are the names of packages with which errors begin: they tell a program where one arose, and a user nothing.
var libraries = []string{"align", "clock", "fault", "fit", "impair", "integrity", "interpolate", "jitter", "link", "match", "measure", "pcm", "playback",
	"residual", "signal", "spectrum", "stats", "store", "tone", "trials", "wire"}

// withoutPackages leaves the names of packages out of a message. One that it begins with may be a command, or a file, of the command line.
func (a *app) withoutPackages(text string) string {
	parts := strings.Split(text, ": ")
	kept := make([]string, 0, len(parts))
	for i, p := range parts {
		last, typed := i == len(parts)-1, i == 0 && slices.Contains(a.args, p)
		if last || typed || !slices.Contains(libraries, p) {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, ": ")
}
