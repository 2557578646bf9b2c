package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// speakers are the functions that make text for people.
var speakers = []string{"Sprintf", "Sprint", "Errorf", "New", "Fprintf", "Fprintln", "Fprint", "Newf", "warn", "say", "rejected", "rejectedf", "misused", "misusedf", "Blamed", "phrasef"}

// What is said to people names no key of the JSON output and no function, type or field of the source: those are for programs.
func TestMessagesNameNoKeysAndNoFunctions(t *testing.T) {
	key := regexp.MustCompile(`\b[a-z]+(_[a-z0-9]+)+\b`)
	source := regexp.MustCompile(`\b[a-z]+\.[A-Z][a-zA-Z]+\b|\b[a-z]+[A-Z][a-z]+[A-Z]?[a-zA-Z]*\(|\b[A-Z][a-z]+[A-Z]\w*`)
	names := regexp.MustCompile(`PostgreSQL|DerSimonian|DejaVu`)
	statement := regexp.MustCompile(`\b(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|PRAGMA|SET)\b`)
	seen := 0
	for _, room := range []string{"cmd", "trials", "measure", "playback", "stats"} {
		err := filepath.WalkDir(filepath.Join("..", "..", room), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "storetest") {
				return err
			}
			for _, text := range messagesOf(t, path) {
				seen++
				if bad := slices.Concat(key.FindAllString(text, -1), source.FindAllString(names.ReplaceAllString(text, ""), -1)); bad != nil && !statement.MatchString(text) {
					t.Errorf("%s says %v: %q", path, bad, text)
				}
			}
			return nil
		})
		must(t, err)
	}
	if seen < 1000 {
		t.Errorf("only %d messages were seen", seen)
	}
}

// messagesOf returns the constant texts in a file that are handed to a writer.
func messagesOf(t *testing.T, path string) (texts []string) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	must(t, err)
	ast.Inspect(file, func(n ast.Node) bool {
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
			if lit, ok := arg.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				text, err := strconv.Unquote(lit.Value)
				must(t, err)
				texts = append(texts, text)
			}
		}
		return true
	})
	return texts
}
