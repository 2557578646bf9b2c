package main

import (
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"heardiff/cmd/heardiff/internal/printable"
)

// say writes one line to standard error. Where that is a terminal it is wrapped between words; another program reads one line.
func (a *app) say(format string, args ...any) {
	a.clearLine()
	text := "heardiff: " + minus(a.withoutPackages(oneLine(fmt.Sprintf(format, args...))))
	fmt.Fprintln(a.stderr, strings.Join(wrapAround(text, columnsOf(a.terminal)), "\n"))
}

// command is one within a sentence, in quotation marks.
var quotedCommand = regexp.MustCompile(`"heardiff [^"]*"`)

// unbroken takes the place of a space within a command, of Unicode's private use as the marks of tables are.
const unbroken = "\uE005"

// wrapAround wraps a line between words, but within no command that it quotes, so that each can be copied; columns 0 is any number.
func wrapAround(line string, columns int) []string {
	if columns <= 0 || utf8.RuneCountInString(line) <= columns {
		return []string{line}
	}
	line = quotedCommand.ReplaceAllStringFunc(line, func(c string) string { return strings.ReplaceAll(c, " ", unbroken) })
	lines := printable.Wrap(line, columns)
	for i, l := range lines {
		lines[i] = strings.ReplaceAll(l, unbroken, " ")
	}
	return lines
}

// reflow sets a page of help in so many columns, 0 for any number: paragraphs of which a line is too long are filled anew, what is
// explained in a column is wrapped within it, and commands stay as they are.
func reflow(page string, columns int) string {
	if columns <= 0 {
		return page
	}
	var out, paragraph []string
	flush := func() {
		out = append(out, filled(paragraph, columns)...)
		paragraph = nil
	}
	for line := range strings.SplitSeq(page, "\n") {
		if line != "" && line[0] != ' ' {
			paragraph = append(paragraph, line)
			continue
		}
		flush()
		out = append(out, hung(line, columns)...)
	}
	flush()
	return strings.Join(out, "\n")
}

func filled(paragraph []string, columns int) []string {
	for _, line := range paragraph {
		if utf8.RuneCountInString(line) > columns {
			return wrapAround(strings.Join(paragraph, " "), columns)
		}
	}
	return paragraph
}

// explained is a line of two columns: a word of its own or a flag, and behind two spaces or more what it is.
var explained = regexp.MustCompile(`^( +\S.*?  +)(\S.*)$`)

// hung wraps an indented line that is too long; the second of two columns within itself, if half of the width is left to it.
func hung(line string, columns int) []string {
	if utf8.RuneCountInString(line) <= columns || strings.HasPrefix(strings.TrimLeft(line, " "), "heardiff ") {
		return []string{line}
	}
	two := explained.FindStringSubmatch(line)
	if two == nil {
		return wrapAround(line, columns)
	}
	width := utf8.RuneCountInString(two[1])
	if width > columns/2 { // below, further in
		width = len(line) - len(strings.TrimLeft(line, " ")) + 4
		return append([]string{strings.TrimRight(two[1], " ")}, wrapAround(strings.Repeat(" ", width)+two[2], columns)...)
	}
	lines := wrapAround(strings.Repeat(" ", width)+two[2], columns)
	lines[0] = two[1] + lines[0][width:]
	return lines
}
