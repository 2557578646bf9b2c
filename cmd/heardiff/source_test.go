package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// codeRooms are the folders that hold the program's code.
var codeRooms = []string{"cmd", "measure", "playback", "stats", "trials"}

// source is a file of the program's code, with its comments.
type source struct {
	*ast.File
	path string
	set  *token.FileSet
}

// at returns the place of a position.
func (s source) at(p token.Pos) token.Position { return s.set.Position(p) }

// eachSource visits the files of rooms, tests included.
func eachSource(t *testing.T, rooms []string, visit func(s source)) {
	t.Helper()
	for _, room := range rooms {
		must(t, filepath.WalkDir(filepath.Join("..", "..", room), func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() && strings.HasSuffix(path, ".go") {
				visit(parsed(t, path))
			}
			return err
		}))
	}
}

// eachProgramSource visits the files of rooms of which the program consists: neither tests, nor packages that only tests use.
func eachProgramSource(t *testing.T, rooms []string, visit func(s source)) {
	t.Helper()
	eachSource(t, rooms, func(s source) {
		if !strings.HasSuffix(s.path, "_test.go") && !strings.HasSuffix(filepath.Dir(s.path), "test") {
			visit(s)
		}
	})
}

func parsed(t *testing.T, path string) source {
	t.Helper()
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, nil, parser.ParseComments)
	must(t, err)
	return source{file, path, set}
}

// constantText returns the text of an expression that is a text in quotation marks.
func constantText(e ast.Node) (text string, ok bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(lit.Value)
	return text, err == nil
}
