package main

import (
	"go/ast"
	"regexp"
	"slices"
	"testing"
)

// speakers are the functions that make text for people.
var speakers = []string{"Sprintf", "Sprint", "Errorf", "New", "Fprintf", "Fprintln", "Fprint", "Newf", "warn", "say", "rejected", "rejectedf", "misused", "misusedf", "Blamed", "phrasef"}

// What is said to people names no key of the JSON output and no function, type or field of the source: those are for programs.
func TestMessagesNameNoKeysAndNoFunctions(t *testing.T) {
	key := regexp.MustCompile(`\b[a-z]+(_[a-z0-9]+)+\b`)
	code := regexp.MustCompile(`\b[a-z]+\.[A-Z][a-zA-Z]+\b|\b[a-z]+[A-Z][a-z]+[A-Z]?[a-zA-Z]*\(|\b[A-Z][a-z]+[A-Z]\w*`)
	names := regexp.MustCompile(`PostgreSQL|DerSimonian|DejaVu`)
	statement := regexp.MustCompile(`\b(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|PRAGMA|SET)\b`)
	seen := 0
	eachProgramSource(t, codeRooms, func(s source) {
		for _, text := range messagesOf(s) {
			seen++
			if bad := slices.Concat(key.FindAllString(text, -1), code.FindAllString(names.ReplaceAllString(text, ""), -1)); bad != nil && !statement.MatchString(text) {
				t.Errorf("%s says %v: %q", s.path, bad, text)
			}
		}
	})
	if seen < 1000 {
		t.Errorf("only %d messages were seen", seen)
	}
}

// messagesOf returns the constant texts in a file that are handed to a writer.
func messagesOf(s source) (texts []string) {
	ast.Inspect(s.File, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		name := ""
		switch f := call.Fun.(type) {
		case *ast.Ident:
			name = f.Name
		case *ast.SelectorExpr:
			name = f.Sel.Name
		}
		if !slices.Contains(speakers, name) {
			return true
		}
		for _, arg := range call.Args {
			if text, ok := constantText(arg); ok {
				texts = append(texts, text)
			}
		}
		return true
	})
	return texts
}
